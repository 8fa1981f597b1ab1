import type { RailPlan, RuleCode } from '../plan/index.js'
import { outcomeOf } from './breach.js'
import { askHands, handRanOut, handsMissing, keepsBias } from './off-hand.js'
import { inOffOrder, isBias, isHeater, isLow, personWithin_s } from './off-rails.js'
import { closePrompt } from './prompts.js'
import { record, send, warn } from './send.js'
import type { Draft, Off, Sample } from './state.js'
import { accuracy, ampsCome, isHot, off_V, paced_s, resolution, touch_V, us } from './state.js'
import type { Ending, ReasonRecord } from './types.js'
import { volts } from './words.js'

/**
 * Everything off, in order, and confirmed by measurement. One machine serves the urgent OFF (all HT, screen and drive at
 * once, beside every queue) and the run-down (the same order, each OFF read back). Heaters and bias follow by rule:
 * heaters when HT is low, or 30 s later; bias at the first of (a) plates and screens measured below 60 V, (b) the computed
 * discharge time, (c) cathodes cold. While HT does not fall only (a) lets the bias go.
 */

const fallWithin_s = 10
const escalateEvery_s = 3
/** After the alarm the run waits this long for the mains to be cut before it ends unconfirmed. */
const giveUp_s = 60
/** Where this run never switched anything on, a line that stays quiet is given up sooner. */
const nothingOn_s = 15

export function makeOff(
  d: Draft,
  how: Off['how'],
  outcome: Off['outcome'],
  reason: ReasonRecord | null,
): void {
  if (d.s.phase === 'ended') return
  if (d.s.off) {
    moreUrgent(d, how, outcome, reason)
    return
  }
  closePrompt(d, 'the run is going off')
  d.s.phase = 'making off'
  d.s.off = {
    how,
    outcome,
    reason,
    since_us: d.s.t_us,
    from_V: {},
    given_us: {},
    quiet: {},
    fall: {},
    confirmed: {},
    heaters_off_us: null,
    heaters_cold_us: null,
    down_us: {},
    bias_released_by: null,
    escalations: 0,
    escalated_us: d.s.t_us,
    alarmed: false,
    hand: {},
  }
  // What lowers energy never waits for the record: OFF first, then why.
  give(d, inOffOrder(d, isHot), how)
  record(d, reason ? 'trip' : 'off', reason?.text ?? 'All steps are done: running down.', {
    rail: reason?.rail ?? null,
    data: reason ? { ...reason, how } : { how },
  })
  for (const rail of inOffOrder(d, isHot)) {
    if ((rail.class === 'watched' || (rail.class === 'hand' && reason)) && d.s.rails[rail.name]?.energised) {
      d.out.push({
        kind: 'alarm',
        text: `Turn ${rail.name} down to zero by its knob now, one hand.`,
        turn_down: rail.name,
      })
    }
  }
}

/** A second cause while already going off: the first reason stays, the means may only get stronger. */
function moreUrgent(d: Draft, how: Off['how'], outcome: Off['outcome'], reason: ReasonRecord | null): void {
  const off = d.s.off
  if (!off || how === 'run down') return
  if (off.outcome === 'completed' && reason) {
    off.outcome = outcome
    off.reason = reason
    record(d, 'trip', reason.text, { rail: reason.rail, data: { ...reason, how } })
  } else if (reason) {
    warn(d, `While going off: ${reason.text}`, reason.rail)
  }
  if (off.how === 'run down') {
    off.how = 'urgent'
    give(d, inOffOrder(d, isHot), 'urgent')
  }
}

export function trip(d: Draft, reason: ReasonRecord): void {
  const outcome = outcomeOf[reason.code as RuleCode]
  makeOff(d, outcome === 'stopped' ? 'run down' : 'urgent', outcome, reason)
}

/** Gives OFF to rails, and remembers when and from what volts. */
function give(d: Draft, which: readonly RailPlan[], how: Off['how']): void {
  const off = d.s.off
  if (!off) return
  const channels: string[] = []
  for (const rail of which) {
    off.given_us = { ...off.given_us, [rail.name]: d.s.t_us }
    off.from_V = { ...off.from_V, [rail.name]: off.from_V[rail.name] ?? d.s.rails[rail.name]?.V?.value ?? 0 }
    for (const part of rail.channels) channels.push(part.channel)
  }
  if (channels.length === 0) return
  if (how === 'urgent') {
    // Whatever else was asked of the lines is dropped there; its answers mean nothing any more.
    d.s.pending = {}
    d.out.push({ kind: 'urgent off', channels })
  } else for (const channel of channels) send(d, channel, { do: 'off' })
  for (const channel of channels) {
    const state = d.s.channels[channel]
    if (state) state.setting = null
  }
}

/** Called for every reading while going off: counts quiet samples and keeps the fall. */
export function noteFall(d: Draft, name: string, quantity: 'V' | 'A'): void {
  const off = d.s.off
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!off || !rail || !state || off.given_us[name] === undefined) return
  if (quantity === 'A' && state.A) {
    const least = Math.max(resolution(d.s, rail).A, accuracy(d.s, rail, 0, 0).A)
    off.quiet = { ...off.quiet, [name]: Math.abs(state.A.value) <= least ? (off.quiet[name] ?? 0) + 1 : 0 }
  }
  if (quantity === 'V' && state.V) {
    const list = off.fall[name] ?? []
    const last = list[list.length - 1]
    if (!last || state.V.t_us - last.t_us >= us(0.5))
      off.fall = { ...off.fall, [name]: [...list.slice(-39), state.V] }
  }
}

export function offTick(d: Draft): void {
  const off = d.s.off
  if (!off || d.s.phase !== 'making off') return
  for (const rail of Object.values(d.s.plan.rails)) confirm(d, off, rail)
  heaters(d, off)
  noteCold(d, off)
  bias(d, off)
  escalate(d, off)
  askHands(d, off)
  finish(d, off)
}

/** Off read back, no current, and terminals below 5 V or falling as their discharge path predicts. */
function confirm(d: Draft, off: Off, rail: RailPlan): void {
  if (rail.class === 'hand') return
  if (typeof off.confirmed[rail.name] === 'string') {
    if (cameBack(d, off, rail)) retract(d, off, rail)
    return
  }
  const given_us = off.given_us[rail.name]
  const state = d.s.rails[rail.name]
  if (given_us === undefined || !state) return
  const fresh = state.V && state.V.t_us > given_us ? state.V : null
  if (!fresh) return
  const readBack = rail.channels.every((part) => d.s.channels[part.channel]?.output === 'off')
  const quiet = !ampsCome(d.s, rail) || (off.quiet[rail.name] ?? 0) >= 3
  if (!readBack || !quiet) return
  const how =
    Math.abs(fresh.value) < off_V
      ? `measured ${volts(fresh.value)} at the supply's terminals`
      : fallsAsPredicted(d, off, rail, fresh)
  if (how === null) return
  off.confirmed = { ...off.confirmed, [rail.name]: how }
  off.down_us = { ...off.down_us, [rail.name]: rail.class === 'programmed' ? given_us : d.s.t_us }
  state.energised = false
  state.set_V = 0
  record(d, 'off', `${rail.name}: output confirmed off (${how}).`, {
    rail: rail.name,
    data: { volts: fresh.value, after_s: (d.s.t_us - given_us) / 1e6 },
  })
}

/** An output that reads as on again, or volts that stopped falling: what was confirmed no longer is. */
function cameBack(d: Draft, off: Off, rail: RailPlan): boolean {
  if (rail.channels.some((part) => d.s.channels[part.channel]?.output === 'on')) return true
  const sample = d.s.rails[rail.name]?.V
  const path = rail.discharge
  if (!sample || Math.abs(sample.value) < off_V) return false
  // Nothing was falling there: it was confirmed by standing below this.
  if (!path) return Math.abs(sample.value) > off_V + 3 * resolution(d.s, rail).V
  const t_s = (sample.t_us - (off.given_us[rail.name] ?? sample.t_us)) / 1e6
  const allowed_V =
    slowDecay(off.from_V[rail.name] ?? 0, t_s / (3 * path.ohm * path.F)) + 3 * resolution(d.s, rail).V
  return sample.value > Math.max(off_V, allowed_V)
}

function retract(d: Draft, off: Off, rail: RailPlan): void {
  off.confirmed = { ...off.confirmed, [rail.name]: null }
  const state = d.s.rails[rail.name]
  if (state) state.energised = true
  record(
    d,
    'off',
    `${rail.name}: no longer confirmed off, it reads ${volts(state?.V?.value ?? 0)}${rail.class === 'watched' ? '' : '; told again'}.`,
    { rail: rail.name },
  )
  if (rail.class === 'watched')
    d.out.push({
      kind: 'alarm',
      text: `${rail.name} reads ${volts(state?.V?.value ?? 0)} again: turn it down to zero by its knob now, one hand.`,
      turn_down: rail.name,
    })
  give(d, [rail], isHot(rail) ? 'urgent' : 'run down')
}

function fallsAsPredicted(d: Draft, off: Off, rail: RailPlan, now: Sample): string | null {
  const from = off.from_V[rail.name] ?? 0
  const step_V = resolution(d.s, rail).V
  const list = off.fall[rail.name] ?? []
  const earlier = list[list.length - 2]
  if (from - now.value < 3 * step_V || !earlier || now.value >= earlier.value) return null
  const path = rail.discharge
  if (!path) return null
  // Three times slower than the stated path is another path: parts spread less than that. Euler steps, no exponential:
  // a decision must come out the same on every machine.
  const t_s = (d.s.t_us - (off.given_us[rail.name] ?? d.s.t_us)) / 1e6
  if (now.value > slowDecay(from, t_s / (3 * path.ohm * path.F)) + 3 * step_V) return null
  return `falling from ${volts(from)} to ${volts(now.value)} through ${path.through}`
}

/** V·exp(−x), by (1 + x/64)^−64: never below the exponential, and only multiplications. */
function slowDecay(from: number, x: number): number {
  let factor = 1 + x / 64
  for (let i = 0; i < 6; i++) factor *= factor
  return from / factor
}

function heaters(d: Draft, off: Off): void {
  if (off.heaters_off_us !== null) return
  const low = inOffOrder(d, isHot).every((rail) => isLow(d, rail))
  const waited_s = (d.s.t_us - off.since_us) / 1e6
  if (!low && waited_s < d.s.plan.off.heaters_off_after_s) return
  off.heaters_off_us = d.s.t_us
  const list = inOffOrder(d, isHeater)
  give(d, list, 'run down')
  const why = low ? `HT is below ${touch_V} V` : `HT is not low after ${Math.round(waited_s)} s`
  record(d, 'off', `Heaters off: ${why}.`, { data: { ht_low: low } })
  for (const rail of list) {
    // A hand rail is asked for in its turn, which may be long in coming while HT is not low.
    if ((rail.class === 'watched' || (rail.class === 'hand' && !low)) && d.s.rails[rail.name]?.energised)
      d.out.push({
        kind: 'alarm',
        text: `Turn ${rail.name} down to zero by its knob now.`,
        turn_down: rail.name,
      })
  }
}

/** Cathodes cool from when every heater rail is confirmed off: measured, or said by the person at its knob. */
function noteCold(d: Draft, off: Off): void {
  const all = inOffOrder(d, isHeater).every((rail) =>
    rail.class === 'hand'
      ? !d.s.rails[rail.name]?.energised || typeof off.hand[rail.name] === 'number'
      : typeof off.confirmed[rail.name] === 'string',
  )
  if (!all || off.heaters_off_us === null) off.heaters_cold_us = null
  else off.heaters_cold_us ??= d.s.t_us
}

/** Which rule lets the bias go, in words for the record; null while it must stay. */
function biasRule(d: Draft, off: Off): string | null {
  const hot = inOffOrder(d, isHot)
  if (!d.s.ht_was_up && hot.every((rail) => isLow(d, rail)))
    return `plates and screens were never above ${touch_V} V in this run`
  const release = d.s.plan.off.bias_release
  if (release.only_wire_between && hot.every((rail) => isLow(d, rail))) {
    return `(a) plates and screens below ${release.below_V} V, measured at the supply with only wire between`
  }
  const falling = hot.every((rail) =>
    rail.class === 'hand' ? isLow(d, rail) : typeof off.confirmed[rail.name] === 'string',
  )
  if (!falling) return null
  // From when the last of them went down: a person may have turned a knob long after OFF was given to the others.
  const down_us = Math.max(off.since_us, ...hot.map((rail) => off.down_us[rail.name] ?? off.since_us))
  if (release.discharge_s !== null && d.s.t_us - down_us >= us(release.discharge_s)) {
    return `(b) the computed discharge time of ${Math.round(release.discharge_s)} s is over`
  }
  if (off.heaters_cold_us !== null && d.s.t_us - off.heaters_cold_us >= us(release.cathodes_cold_s)) {
    return `(c) heaters off for ${Math.round(release.cathodes_cold_s)} s: cathodes cold (common practice, no source)`
  }
  return null
}

function bias(d: Draft, off: Off): void {
  const list = inOffOrder(d, isBias)
  if (off.bias_released_by !== null || list.length === 0 || off.heaters_off_us === null) return
  const rule = biasRule(d, off)
  if (rule === null) return
  off.bias_released_by = rule
  give(d, list, 'run down')
  record(d, 'off', `Bias off: ${rule}.`, { data: { rule } })
  for (const rail of list) {
    if (rail.class === 'watched' && d.s.rails[rail.name]?.energised)
      d.out.push({
        kind: 'alarm',
        text: `Turn ${rail.name} down to zero by its knob now; HT is low.`,
        turn_down: rail.name,
      })
  }
}

/** What will not fall is told again by every means, then a person is told to cut the mains of the HT sources. */
function escalate(d: Draft, off: Off): void {
  if (d.s.t_us - off.escalated_us < us(escalateEvery_s)) return
  const open = Object.values(d.s.plan.rails).filter(
    (rail) =>
      rail.class === 'programmed' &&
      d.s.t_us - (off.given_us[rail.name] ?? d.s.t_us) >= us(escalateEvery_s) &&
      typeof off.confirmed[rail.name] !== 'string',
  )
  if (open.length === 0) return
  off.escalated_us = d.s.t_us
  off.escalations += 1
  // Outcomes that never came must not keep a channel from being told again.
  d.s.pending = Object.fromEntries(
    Object.entries(d.s.pending).filter(([, pending]) => d.s.t_us - pending.t_us < us(fallWithin_s)),
  )
  const hot = open.filter(isHot)
  const rest = open.filter((rail) => !isHot(rail))
  if (off.escalations <= 8) {
    for (const rail of hot) for (const part of rail.channels) send(d, part.channel, { do: 'zero' })
    if (hot.length > 0)
      d.out.push({
        kind: 'urgent off',
        channels: hot.flatMap((rail) => rail.channels.map((part) => part.channel)),
      })
    const busy = new Set(Object.values(d.s.pending).map((pending) => pending.channel))
    for (const rail of rest)
      for (const part of rail.channels) if (!busy.has(part.channel)) send(d, part.channel, { do: 'off' })
  }
  const late = open.filter((rail) => d.s.t_us - (off.given_us[rail.name] ?? d.s.t_us) >= us(fallWithin_s))
  if (late.length > 0 && !off.alarmed) {
    off.alarmed = true
    const names = late.map((rail) => rail.name).join(', ')
    const hotNames = late
      .filter(isHot)
      .map((rail) => rail.name)
      .join(', ')
    const text = hotNames
      ? `OUTPUTS NOT CONFIRMED OFF: ${hotNames} does not fall after OFF. Cut the mains of the supply that feeds ${hotNames} now. Do not cut the bias supply. Then measure before touching.`
      : `OUTPUTS NOT CONFIRMED OFF: ${names} does not confirm. Switch that supply off by hand, HT first, bias last. Measure before touching.`
    d.out.push({ kind: 'alarm', text })
    record(d, 'alarm', text, { data: { rails: names } })
  }
}

function finish(d: Draft, off: Off): void {
  handRanOut(d, off)
  const judged = Object.values(d.s.plan.rails).filter((rail) => rail.class !== 'hand')
  const open = judged.filter((rail) => typeof off.confirmed[rail.name] !== 'string')
  const asking = d.s.prompt?.purpose.kind === 'hand off'
  const waited_s = (d.s.t_us - off.since_us) / 1e6
  const release = d.s.plan.off.bias_release
  const onRule_s = release.cathodes_cold_s + 2 * personWithin_s
  const biasKept = keepsBias(d, off)
  if (open.length === 0) {
    const missing = handsMissing(d, off)
    // A hand rail whose turn will never come is not waited for: its bias stays, and the person was told so.
    if (missing.length === 0 || (!asking && (biasKept || waited_s >= onRule_s))) end(d, off, true)
    return
  }
  const onPerson = open.some((rail) => rail.class === 'watched')
  // Rules (b) and (c) take their time; nothing is given up while they are running on a rail that falls.
  const onRule = open.every((rail) => !isHot(rail)) && !off.alarmed && !biasKept
  const patience_s = !d.s.ever_energised
    ? paced_s(d.s, nothingOn_s)
    : onRule
      ? onRule_s
      : onPerson
        ? personWithin_s
        : fallWithin_s + d.s.plan.off.heaters_off_after_s + giveUp_s
  // What was told late, after a person or a rule, has its full time from then on.
  const told_us = Math.max(off.since_us, ...open.map((rail) => off.given_us[rail.name] ?? 0))
  const since_s = waited_s < 2 * onRule_s ? (d.s.t_us - told_us) / 1e6 : waited_s
  if (since_s >= patience_s && !asking) end(d, off, false)
}

function end(d: Draft, off: Off, confirmed: boolean): void {
  const list: Record<string, { confirmed: boolean; volts: number | null; how: string }> = {}
  for (const rail of Object.values(d.s.plan.rails)) {
    if (rail.class === 'hand') continue
    const how = off.confirmed[rail.name]
    const given = off.given_us[rail.name] !== undefined
    list[rail.name] = {
      confirmed: typeof how === 'string',
      volts: d.s.rails[rail.name]?.V?.value ?? null,
      how:
        how ??
        (!given
          ? keepsBias(d, off)
            ? 'left on: HT is not known to be low'
            : 'left on: HT did not fall'
          : rail.class === 'watched'
            ? 'you were asked to turn it down, and it does not read as off'
            : 'OFF was given and did not confirm'),
    }
  }
  const hand_rails = { ...off.hand }
  for (const rail of handsMissing(d, off)) hand_rails[rail.name] = 'not confirmed by you'
  const ending: Ending = {
    outcome: off.outcome,
    reason: off.reason,
    outputs_off: confirmed ? 'confirmed' : 'not confirmed',
    off: list,
    hand_rails,
    bias_released_by: off.bias_released_by,
    warnings: d.s.warnings,
    steps_done: d.s.step,
    ever_energised: d.s.ever_energised,
  }
  d.s.phase = 'ended'
  record(d, 'ending', `${off.outcome}; outputs ${confirmed ? 'confirmed off' : 'NOT confirmed off'}.`, {
    data: { ...ending },
  })
  d.out.push({ kind: 'end', ending })
}
