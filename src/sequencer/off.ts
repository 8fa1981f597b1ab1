import type { RailPlan, RuleCode } from '../plan/index.js'
import { outcomeOf } from './breach.js'
import { ask, closePrompt, readingOf } from './prompts.js'
import { record, send, warn } from './send.js'
import type { Draft, Off, Sample } from './state.js'
import { accuracy, isHot, resolution, us } from './state.js'
import type { Ending, ReasonRecord } from './types.js'
import { volts } from './words.js'

/**
 * Everything off, in order, and confirmed by measurement. One machine serves the urgent OFF (all HT, screen and drive at
 * once, beside every queue) and the run-down (the same order, each OFF read back). Heaters and bias follow by rule:
 * heaters when HT is low, or 30 s later; bias at the first of (a) plates and screens measured below 60 V, (b) the computed
 * discharge time, (c) cathodes cold. While HT does not fall only (a) lets the bias go.
 */

/** Terminal volts that count as off. */
const off_V = 5
/** Where HT counts as low: touch limit of IEC/EN 61010-1 6.3.1 (60 V DC). */
const low_V = 60
const fallWithin_s = 10
const escalateEvery_s = 3
/** After the alarm the run waits this long for the mains to be cut before it ends unconfirmed. */
const giveUp_s = 60
/** Where this run never switched anything on, a line that stays quiet is given up sooner. */
const nothingOn_s = 15
/** A person turns a knob slower than a relay opens. */
const personWithin_s = 600

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
    bias_released_by: null,
    escalations: 0,
    escalated_us: d.s.t_us,
    alarmed: false,
    hand: {},
  }
  // What lowers energy never waits for the record: OFF first, then why.
  give(d, rails(d, isHot), how)
  record(d, reason ? 'trip' : 'off', reason?.text ?? 'All steps are done: running down.', {
    rail: reason?.rail ?? null,
    data: reason ? { ...reason, how } : { how },
  })
  for (const rail of rails(d, isHot)) {
    if (rail.class !== 'programmed' && d.s.rails[rail.name]?.energised) {
      d.out.push({ kind: 'alarm', text: `Turn ${rail.name} down to zero by its knob now, one hand.` })
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
    give(d, rails(d, isHot), 'urgent')
  }
}

export function trip(d: Draft, reason: ReasonRecord): void {
  const outcome = outcomeOf[reason.code as RuleCode]
  makeOff(d, outcome === 'stopped' ? 'run down' : 'urgent', outcome, reason)
}

const isHeater = (rail: RailPlan): boolean => rail.role === 'heater'
const isBias = (rail: RailPlan): boolean => rail.role === 'bias'

function rails(d: Draft, which: (rail: RailPlan) => boolean): RailPlan[] {
  // Drive, then screen, then HT.
  const order = ['drive', 'screen', 'other', 'HT', 'heater', 'bias']
  return Object.values(d.s.plan.rails)
    .filter(which)
    .sort((a, b) => order.indexOf(a.role) - order.indexOf(b.role))
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
  const quiet = rail.channels.length === 0 || (off.quiet[rail.name] ?? 0) >= 3
  if (!readBack || !quiet) return
  const how =
    Math.abs(fresh.value) < off_V
      ? `measured ${volts(fresh.value)} at the supply's terminals`
      : fallsAsPredicted(d, off, rail, fresh)
  if (how === null) return
  off.confirmed = { ...off.confirmed, [rail.name]: how }
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
  if (!sample || !path || Math.abs(sample.value) < off_V) return false
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
    `${rail.name}: no longer confirmed off, it reads ${volts(state?.V?.value ?? 0)}; told again.`,
    { rail: rail.name },
  )
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

function isLow(d: Draft, rail: RailPlan): boolean {
  const off = d.s.off
  const state = d.s.rails[rail.name]
  if (rail.class === 'hand') {
    const said = off?.hand[rail.name]
    return !state?.energised || (typeof said === 'number' && said < low_V)
  }
  // Only a reading taken after OFF counts: the last one before a line went quiet may be older than the last raise.
  const since_us = off?.given_us[rail.name] ?? d.s.t_us
  const sample = state?.V ?? null
  return (
    sample !== null &&
    sample.t_us > since_us &&
    d.s.t_us - sample.t_us <= us(2 * d.s.plan.stale_s) &&
    Math.abs(sample.value) < low_V
  )
}

function heaters(d: Draft, off: Off): void {
  if (off.heaters_off_us !== null) return
  const low = rails(d, isHot).every((rail) => isLow(d, rail))
  const waited_s = (d.s.t_us - off.since_us) / 1e6
  if (!low && waited_s < d.s.plan.off.heaters_off_after_s) return
  off.heaters_off_us = d.s.t_us
  const list = rails(d, isHeater)
  give(d, list, 'run down')
  const why = low ? `HT is below ${low_V} V` : `HT is not low after ${Math.round(waited_s)} s`
  record(d, 'off', `Heaters off: ${why}.`, { data: { ht_low: low } })
  for (const rail of list) {
    if (rail.class !== 'programmed' && d.s.rails[rail.name]?.energised)
      d.out.push({ kind: 'alarm', text: `Turn ${rail.name} down to zero by its knob.` })
  }
}

/** Which rule lets the bias go, in words for the record; null while it must stay. */
function biasRule(d: Draft, off: Off): string | null {
  const hot = rails(d, isHot)
  if (!d.s.ht_was_up && hot.every((rail) => isLow(d, rail)))
    return `plates and screens were never above ${low_V} V in this run`
  const release = d.s.plan.off.bias_release
  if (release.only_wire_between && hot.every((rail) => isLow(d, rail))) {
    return `(a) plates and screens below ${release.below_V} V, measured at the supply with only wire between`
  }
  const falling = hot.every((rail) =>
    rail.class === 'hand' ? isLow(d, rail) : typeof off.confirmed[rail.name] === 'string',
  )
  if (!falling) return null
  if (release.discharge_s !== null && d.s.t_us - off.since_us >= us(release.discharge_s)) {
    return `(b) the computed discharge time of ${Math.round(release.discharge_s)} s is over`
  }
  const heatersOff = rails(d, isHeater).every(
    (rail) => rail.class === 'hand' || typeof off.confirmed[rail.name] === 'string',
  )
  if (
    off.heaters_off_us !== null &&
    heatersOff &&
    d.s.t_us - off.heaters_off_us >= us(release.cathodes_cold_s)
  ) {
    return `(c) heaters off for ${Math.round(release.cathodes_cold_s)} s: cathodes cold (common practice, no source)`
  }
  return null
}

function bias(d: Draft, off: Off): void {
  const list = rails(d, isBias)
  if (off.bias_released_by !== null || list.length === 0 || off.heaters_off_us === null) return
  const rule = biasRule(d, off)
  if (rule === null) return
  off.bias_released_by = rule
  give(d, list, 'run down')
  record(d, 'off', `Bias off: ${rule}.`, { data: { rule } })
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

/** Hand rails: only the person can say. */
function askHands(d: Draft, off: Off): void {
  if (d.s.prompt) return
  // In the order of going off: heaters and bias only when their own rule lets them go.
  for (const rail of rails(d, () => true)) {
    if (isHeater(rail) && off.heaters_off_us === null) continue
    if (isBias(rail) && off.bias_released_by === null) continue
    if (rail.class !== 'hand' || !d.s.rails[rail.name]?.energised || off.hand[rail.name] !== undefined)
      continue
    const wanted = readingOf(
      `Turn ${rail.name} down to zero by its knob and switch it off, one hand; then read its volts at the supply and type them.`,
      `hand off ${rail.name}`,
      'V',
      -off_V,
      off_V,
      { rail: rail.name },
    )
    ask(d, { kind: 'hand off', rail: rail.name }, { ...wanted, timeout_s: personWithin_s })
    return
  }
}

export function answerHandOff(d: Draft, rail: string, value: number | string): void {
  const state = d.s.rails[rail]
  const open = d.s.prompt
  if (!d.s.off || !open || typeof value !== 'number' || !state) return
  if (Math.abs(value) >= off_V) {
    const again = `${volts(value)} is not zero. `
    d.out.push({
      kind: 'prompt',
      prompt: open.id,
      ask: { ...open.ask, text: again + open.ask.text },
      until_us: open.until_us,
    })
    return
  }
  d.s.off.hand = { ...d.s.off.hand, [rail]: value }
  state.energised = false
  closePrompt(d, 'answered')
}

function finish(d: Draft, off: Off): void {
  const prompt = d.s.prompt
  if (prompt?.purpose.kind === 'hand off' && d.s.t_us >= prompt.until_us) {
    off.hand = { ...off.hand, [prompt.purpose.rail]: 'not confirmed by you' }
    closePrompt(d, 'ran out')
  }
  const judged = Object.values(d.s.plan.rails).filter((rail) => rail.class !== 'hand')
  const open = judged.filter((rail) => typeof off.confirmed[rail.name] !== 'string')
  const handsOpen = Object.values(d.s.plan.rails).some(
    (rail) => rail.class === 'hand' && d.s.rails[rail.name]?.energised && off.hand[rail.name] === undefined,
  )
  if (open.length === 0) {
    if (!handsOpen) end(d, off, true)
    return
  }
  const waited_s = (d.s.t_us - off.since_us) / 1e6
  const onPerson = open.every((rail) => rail.class === 'watched')
  // Rules (b) and (c) take their time; nothing is given up while they are running on a rail that falls.
  const release = d.s.plan.off.bias_release
  const onRule = open.every((rail) => !isHot(rail)) && !off.alarmed
  const patience_s = !d.s.ever_energised
    ? nothingOn_s
    : onPerson
      ? personWithin_s
      : onRule
        ? release.cathodes_cold_s + 2 * personWithin_s
        : fallWithin_s + d.s.plan.off.heaters_off_after_s + giveUp_s
  if (waited_s >= patience_s) end(d, off, false)
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
      how: how ?? (given ? 'OFF was given and did not confirm' : 'left on: HT did not fall'),
    }
  }
  const ending: Ending = {
    outcome: off.outcome,
    reason: off.reason,
    outputs_off: confirmed ? 'confirmed' : 'not confirmed',
    off: list,
    hand_rails: off.hand,
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
