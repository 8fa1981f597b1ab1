import { decimalValue } from '../exchange/index.js'
import {
  handsMissing,
  handToAsk,
  type OffAct,
  offBegin,
  type OffInput,
  type OffResult,
  type OffState,
  offStep,
} from '../off/index.js'
import type { RailPlan, RuleCode } from '../plan/index.js'
import { inWords, outcomeOf } from './breach.js'
import { noteFall, sayFalls } from './charge-fall.js'
import { ask, closePrompt, readingOf } from './prompts.js'
import { sayLeftToRelay } from './relay.js'
import { rest, restOver } from './rest.js'
import { record, send, warn } from './send.js'
import type { Draft, Off } from './state.js'
import { isHot, offBelow_V, us } from './state.js'
import type { Broken, Ending, Event, ReasonRecord } from './types.js'
import { volts } from './words.js'

/**
 * A run going off. What goes off when, what confirms it and what is called out is decided in `src/off`, the same for a run,
 * for `safe-off` and for a take-over; here it is fed what the run reads, its acts are carried out, and people are asked
 * about the rails on their knobs.
 */

/** A person turns a knob slower than a relay opens. */
const personWithin_s = 600

export function makeOff(d: Draft, how: Off['how'], outcome: Off['outcome'], broken: Broken | null): void {
  if (d.s.phase === 'ended') return
  if (d.s.off) {
    moreUrgent(d, how, outcome, broken)
    return
  }
  closePrompt(d, 'the run is going off')
  d.s.phase = 'making off'
  const { state, acts } = offBegin(d.s.plan.off, {
    t_us: d.s.t_us,
    how,
    ht_was_up: d.s.ht_was_up,
    live: d.s.ever_energised || d.s.found_on.length > 0 ? 'yes' : 'no',
    outputs: Object.fromEntries(Object.entries(d.s.channels).map(([name, { output }]) => [name, output])),
    volts: lastVolts(d),
    knobs: knobsOf(d),
    asks: true,
    // At the end of a run that did as planned the question is enough.
    calls_hands: broken !== null,
    look_first: false,
  })
  // What lowers energy waits for no words and no record: OFF first, then why.
  const first = acts.filter((act) => act.do === 'urgent off' || act.do === 'off')
  for (const act of first) carry(d, act)
  const reason = worded(broken)
  d.s.off = { ...state, outcome, reason, amps: lastAmps(d), rests: null }
  record(d, reason ? 'trip' : 'off', reason?.text ?? 'All steps are done: running down.', {
    rail: reason?.rail ?? null,
    data: reason ? { ...reason, how } : { how },
  })
  for (const act of acts) if (!first.includes(act)) carry(d, act)
}

const worded = (broken: Broken | null): ReasonRecord | null =>
  broken === null ? null : { ...broken, text: inWords(broken.text) }

/** A second cause while already going off: the first reason stays, the means may only get stronger. */
function moreUrgent(d: Draft, how: Off['how'], outcome: Off['outcome'], broken: Broken | null): void {
  const off = d.s.off
  if (!off || how === 'run down') return
  if (off.how === 'run down') feed(d, { kind: 'urgent', t_us: d.s.t_us })
  const reason = worded(broken)
  if (off.outcome === 'completed' && reason) {
    if (d.s.off) d.s.off = { ...d.s.off, outcome, reason }
    record(d, 'trip', reason.text, { rail: reason.rail, data: { ...reason, how } })
  } else if (reason) {
    // Where nothing was ever switched on, nothing goes off.
    warn(d, `${d.s.ever_energised ? 'While going off' : 'Also'}: ${reason.text}`, reason.rail)
  }
}

export function trip(d: Draft, reason: Broken): void {
  const outcome = outcomeOf[reason.code as RuleCode]
  makeOff(d, outcome === 'stopped' && !d.off_given ? 'run down' : 'urgent', outcome, reason)
}

function lastVolts(d: Draft): Record<string, { value: number; t_us: number }> {
  return Object.fromEntries(
    Object.entries(d.s.rails).flatMap(([name, { V }]) => (V === null ? [] : [[name, V] as const])),
  )
}

function lastAmps(d: Draft): Record<string, number> {
  return Object.fromEntries(
    Object.entries(d.s.rails).flatMap(([name, { A }]) => (A === null ? [] : [[name, A.value] as const])),
  )
}

function knobsOf(d: Draft): OffState['knobs'] {
  const state = (rail: RailPlan): 'up' | 'down' | 'unknown' => {
    if (d.s.rails[rail.name]?.energised) return 'up'
    return rail.class === 'hand' ? 'down' : 'unknown'
  }
  return Object.fromEntries(
    Object.values(d.s.plan.rails)
      .filter((rail) => rail.class !== 'programmed')
      .map((rail) => [rail.name, state(rail)]),
  )
}

/** Hears what the run hears while it goes off. */
export function offHears(d: Draft, event: Event): void {
  if (d.s.phase !== 'making off' || !d.s.off) return
  // While dead-men are put to rest an output may come back: then nothing was confirmed, and it goes off once more.
  const { rests } = d.s.off
  const confirmed = rests?.result.outputs_off === 'confirmed'
  if (confirmed && Object.values(d.s.channels).some(({ output }) => output === 'on'))
    d.s.off = { ...d.s.off, result: null, rests: null }
  for (const [channel, { output }] of Object.entries(d.s.channels)) {
    if (output !== 'unknown' && d.s.off.outputs[channel] !== output)
      feed(d, { kind: 'output', t_us: d.s.t_us, channel, on: output === 'on' })
  }
  switch (event.kind) {
    case 'reading':
      feed(d, {
        kind: 'reading',
        t_us: d.s.t_us,
        channel: event.channel,
        quantity: event.quantity,
        value: decimalValue(event.value),
      })
      return
    case 'meter':
      noteFall(d, event.meter)
      feed(d, { kind: 'meter', t_us: d.s.t_us, meter: event.meter, value: decimalValue(event.value) })
      return
    case 'line trouble':
      feed(d, { kind: 'doubt', t_us: d.s.t_us, port: event.port })
      return
    case 'tick':
      if (d.s.off.rests !== null) {
        if (restOver(d)) end(d, d.s.off.rests.result)
        return
      }
      handQuestions(d)
      sayLeftToRelay(d)
      feed(d, { kind: 'tick', t_us: d.s.t_us })
      return
    default:
      return
  }
}

function feed(d: Draft, input: OffInput): void {
  const before = d.s.off
  if (!before || d.s.phase !== 'making off') return
  const { state, acts } = offStep(d.s.plan.off, before, input)
  d.s.off = { ...before, ...state }
  for (const [name, how] of Object.entries(state.confirmed)) {
    const rail = d.s.rails[name]
    if (!rail || how === before.confirmed[name]) continue
    rail.energised = how === null
    if (how !== null) rail.set_V = 0
  }
  for (const act of acts) carry(d, act)
}

function carry(d: Draft, act: OffAct): void {
  switch (act.do) {
    case 'urgent off':
      // Whatever else was asked of the lines is dropped there; its answers mean nothing any more.
      if (!d.off_given) d.off_now(act.channels)
      d.off_given = false
      d.s.pending = {}
      d.out.push({ kind: 'urgent off', channels: act.channels })
      for (const channel of act.channels) settingDropped(d, channel)
      return
    case 'off':
    case 'zero':
      request(d, act.channel, act.do)
      return
    case 'record':
      record(d, 'off', act.text, { rail: act.rail, data: act.data })
      return
    case 'alarm':
      d.out.push({
        kind: 'alarm',
        text: act.text,
        ...(act.turn_down && act.rail !== null ? { turn_down: act.rail } : {}),
      })
      record(d, 'alarm', act.text, { rail: act.rail })
      return
    case 'end':
      if (!rest(d, act.result)) end(d, act.result)
      return
  }
}

/** One of a kind at a time on its way to a channel; one that never came back must not keep it from being told again. */
function request(d: Draft, channel: string, what: 'off' | 'zero'): void {
  const same = Object.entries(d.s.pending).filter(
    ([, pending]) => pending.channel === channel && pending.request.do === what,
  )
  if (same.some(([, pending]) => d.s.t_us - pending.t_us < us(10))) return
  for (const [id] of same)
    d.s.pending = Object.fromEntries(Object.entries(d.s.pending).filter(([n]) => n !== id))
  send(d, channel, { do: what })
  settingDropped(d, channel)
}

function settingDropped(d: Draft, channel: string): void {
  const state = d.s.channels[channel]
  if (state) state.setting = null
}

/** Hand rails: nobody but the person can turn them down, or say that they are. */
function handQuestions(d: Draft): void {
  handRanOut(d)
  if (d.s.prompt || !d.s.off) return
  const rail = handToAsk(d.s.plan.off, d.s.off)
  if (rail === null) return
  const wanted = readingOf(
    `Turn ${rail} down to zero by its knob and switch it off, one hand; then type the volts that its own meter shows, or one that was clipped on before. Measure before touching.`,
    `hand off ${rail}`,
    'V',
    -offBelow_V(d.s, rail),
    offBelow_V(d.s, rail),
    { rail },
  )
  ask(d, { kind: 'hand off', rail }, { ...wanted, timeout_s: personWithin_s })
}

export function answerHandOff(d: Draft, rail: string, value: number | string): void {
  const state = d.s.rails[rail]
  const open = d.s.prompt
  if (!d.s.off || !open || !state) return
  if (typeof value !== 'number' || Math.abs(value) > offBelow_V(d.s, rail)) {
    const again =
      typeof value === 'number'
        ? `${volts(value)} is not off (at most ${volts(offBelow_V(d.s, rail))}). `
        : 'A number of volts is wanted here. '
    d.out.push({
      kind: 'prompt',
      prompt: open.id,
      ask: { ...open.ask, text: again + open.ask.text },
      until_us: open.until_us,
    })
    return
  }
  state.energised = false
  feed(d, { kind: 'said', t_us: d.s.t_us, rail, volts: value })
  record(d, 'off', `${rail}: turned down by hand, ${volts(value)} typed.`, { rail, data: { volts: value } })
  closePrompt(d, 'answered')
}

/** The question ran out: the rail counts as up, and what must not go off before it stays. */
function handRanOut(d: Draft): void {
  const { prompt } = d.s
  if (prompt?.purpose.kind !== 'hand off' || d.s.t_us < prompt.until_us) return
  const { rail } = prompt.purpose
  feed(d, { kind: 'said', t_us: d.s.t_us, rail, volts: null })
  closePrompt(d, 'ran out')
  const minutes = Math.round((prompt.until_us - prompt.opened_us) / us(60))
  const plans = Object.values(d.s.plan.rails)
  const waits = plans.some((each) => each.name === rail && isHot(each)) && d.s.off?.bias_released_by === null
  const kept = waits ? plans.filter(({ role }) => role === 'bias').map(({ name }) => name) : []
  const stays =
    kept.length === 0 ? '' : ` ${kept.join(', ')} stays on: take ${rail} down first, the bias last.`
  const text = `${rail} was not confirmed off by you in ${minutes} min: take it as on.${stays} Measure before touching.`
  d.out.push({ kind: 'alarm', text })
  record(d, 'alarm', text, { rail })
}

/**
 * Told again, by a signal, to put outputs off now: nobody need be there to answer. What only a person could say stays
 * unsaid, and the run may end as soon as everything else is off. False where nothing of a person's is waited for.
 */
export function handsGivenUp(d: Draft, by: string): boolean {
  const { off } = d.s
  if (off?.how !== 'urgent' || d.s.prompt?.purpose.kind !== 'hand off') return false
  const names = handsMissing(d.s.plan.off, off)
  for (const rail of names) feed(d, { kind: 'said', t_us: d.s.t_us, rail, volts: null })
  closePrompt(d, `given up by ${by}`)
  const text = `${names.join(', ')} not confirmed off by you, and no longer asked for (${by}): take it as on. HT mains off first, bias last. Measure before touching.`
  d.out.push({ kind: 'alarm', text })
  record(d, 'alarm', text)
  return true
}

function end(d: Draft, result: OffResult): void {
  const { off } = d.s
  if (!off) return
  sayFalls(d)
  const ending: Ending = {
    outcome: off.outcome,
    reason: off.reason,
    outputs_off: result.outputs_off,
    off: result.rails,
    hand_rails: result.hand_rails,
    bias_released_by: result.bias_released_by,
    warnings: d.s.warnings,
    ...(d.s.plan.by_hand !== undefined && { by_hand: d.s.plan.by_hand.map(({ text }) => text) }),
    steps_done: d.s.done.length,
    ever_energised: d.s.ever_energised,
  }
  d.s.phase = 'ended'
  const confirmed = result.outputs_off === 'confirmed'
  record(d, 'ending', `${off.outcome}; outputs ${confirmed ? 'confirmed off' : 'NOT confirmed off'}.`, {
    data: { ...ending },
  })
  d.out.push({ kind: 'end', ending })
}
