import type { LineFault, LineRequestBody } from '../exchange/index.js'
import { type OffResult, type OffState, off_V } from '../off/index.js'
import {
  type Ask,
  type ChannelPlan,
  isHotRole,
  type Plan,
  type RailPlan,
  type ReformJudgement,
  type Step,
  type TakenOutput,
} from '../plan/index.js'
import type { Broken, Command, ReasonRecord } from './types.js'

/**
 * All that the sequencer knows. Plain JSON, so that it is stored, sent and given back as it is.
 * `step` copies what it changes (see `draftOf`) and never touches the state it was given.
 */
export interface State {
  plan: Plan
  phase: 'waiting' | 'running' | 'making off' | 'ended'
  t_us: number
  tick_us: number
  begun_us: number | null
  /** Place of the step under way in the list, from 0; its number is its `index`. */
  step: number
  /** When that step began. */
  step_us: number
  part: StepPart
  /** When `part` was entered. */
  part_us: number
  rails: Record<string, RailState>
  channels: Record<string, ChannelState>
  meters: Readonly<Record<string, Sample | null>>
  /** Meters on a line as watched inputs. */
  inputs: Readonly<Record<string, InputState>>
  /** Readings typed by a person, by node or rail: `node:grid`, `rail:HT:V`. */
  typed: Record<string, Sample>
  pending: Readonly<Record<number, Pending>>
  /** What was last wrong on each port, as it told it: only for the sentence about readings that stay away. */
  line_troubles: Readonly<Record<string, LineTrouble>>
  /** How many of them came in each step. */
  line_errors: Readonly<Record<number, number>>
  /** The step before which they were last counted and told. */
  lines_counted: number | null
  next_id: number
  next_intent: number
  /** Intent of the segment under way: raises wait until it is recorded. */
  intent: { id: number; recorded: boolean } | null
  prompt: Prompt | null
  next_prompt: number
  /** A prompt was answered since hands were last known clear. */
  hands_in: boolean
  hands_clear_until_us: number | null
  off: Off | null
  /** Channels of the urgent OFF in their order, laid ready: a breach computes nothing before it. */
  off_first: readonly string[]
  /** What came of the proof under way. */
  proof: ProofState | null
  /** A protection fired in its proof and nobody has said yet that it is cleared. */
  latched: boolean
  warnings: string[]
  /** Rails a person accepted as weak: fraction of expected below which they are asked again. */
  weak: Record<string, number>
  /** The step each was accepted in: what was said there holds for no other step's judgement. */
  weak_in: Record<string, number>
  /** Driven tubes whose grid current was seen, with the place of the step it was last seen in. */
  drive_seen: Record<string, number>
  /** Since when each time limit of the step counts. */
  timed: Record<string, number>
  /** Bias rails: what they drew over what was expected, when last judged with no grid current to be seen. */
  rest: Record<string, number>
  /** Rails a person let go on unsettled: the index of the step it was said for. */
  unsettled: Record<string, number>
  /** Tubes read over their bare rating at the end of a step, with the most it was, in parts of the rating. */
  over_rating: Record<string, number>
  /** Steps that came to their end, as places in the plan: each once, however often a run climbs again. */
  done: readonly number[]
  /** Every output was read back as off and its terminals were measured so, at the start of this run. */
  outputs_proved: boolean
  /** When limits were last read back: the next channel's wait for fresh readings, so that asking never starves judging. */
  limits_us: number
  ever_energised: boolean
  /** A plate, screen or drive rail stood or was set above the touch limit in this run. */
  ht_was_up: boolean
  hookup_done: string[]
  /** How many of the points where charge may be left were read as dead in this start. */
  proved_dead: number
  /** How many of the plan's connections the person has confirmed. */
  wires_done: number
  /** The set's last run, where it was hooked up like this; then one question stands for all. */
  wires_as_in: string | null
  /** What the person said of the plan's mercury-vapour rectifiers in this start. */
  mercury: 'not asked' | 'as it worked' | 'disturbed'
  /** Outputs that were on when first read back, before this run switched anything. */
  found_on: string[]
  /** What a rail drew while electrolytics are formed in the circuit, by means of a minute; null in every other run. */
  in_place: InPlaceState | null
  /** Lifted electrolytics under treatment, by part; empty in every other run. */
  reform: Readonly<Record<string, ReformState>>
}

interface InPlaceState {
  /** Of this step, at the set-point that stands since then. */
  readonly step: number
  readonly set_us: number
  /** The mean that is being taken. */
  readonly from_us: number
  readonly sum_A: number
  readonly count: number
  /** The last ones, the lowest of all, and how many in a row lay too far above it. */
  readonly means_A: readonly number[]
  readonly lowest_A: number | null
  readonly above: number
}

export interface ReformState {
  /** What the estimator said last of it, and of which step; 0 = nothing yet. */
  readonly act: 'wait' | 'go on' | 'give up'
  readonly step: number
  /** Volts up to which it may be taken, and those that it was held at to their end. */
  readonly reach_V: number
  readonly formed_V: number
  readonly verdict: ReformJudgement['verdict']
  /** Where it had come to at the last volts, and what it leaked there. */
  readonly top?: { readonly volts: number; readonly leak_A: number }
  /** Its smaller feed resistor is in. */
  readonly exchanged?: true
  /** Given up, and taken off its feed resistor. */
  readonly off: boolean
  /** Read by a person: again after this, s. */
  readonly again_s?: number
}

export type StepPart =
  | 'gate'
  | 'hands'
  | 'intent'
  | 'limits'
  | 'first set'
  | 'on'
  | 'ramp'
  | 'arrive'
  | 'hold'
  | 'settle'
  | 'asking'
  | 'hook-up least'
  | 'hook-up limits'
  | 'hook-up set'
  | 'hook-up on'
  | 'hook-up polarity'
  | 'hook-up ohms'
  | 'hook-up off'
  | 'hook-up fall'
  | 'prove tell'
  | 'prove watch'
  | 'prove back'
  | 'prove off'

export interface ProofState {
  told_us: number
  /** Volts that stood when it was told. */
  from_V: number
  /** What the supply said of its regulation before, and while it was at its limit. */
  said_before: string
  said_during: string
  /** First sign that it happened. */
  seen_us: number | null
  fired: string | null
  off: boolean
  refused: string | null
  result: string | null
  /** Its set-point was told to go to nothing. */
  zeroed: boolean
  /** Of a dead-man: outputs beside it, with the volts they stood at, their state as last read back, and what became of them. */
  others: Readonly<
    Record<
      string,
      {
        readonly from_V: number
        readonly read: { readonly on: boolean; readonly t_us: number } | null
        readonly did: TakenOutput['did'] | null
        readonly told_off: boolean
      }
    >
  >
}

export interface Sample {
  value: number
  t_us: number
}

export interface RailState {
  /** Set-point the rail stands at (last confirmed), V. */
  set_V: number
  /** When the set-point last changed, and when it last rose. */
  set_us: number
  /** When the set-point last fell: a charged reservoir may stand above it for a while. */
  lowered_us: number | null
  /** Volts and amps as combined from its channels or meters. */
  V: Sample | null
  A: Sample | null
  /** Currents of the last 20 s, at most five a second. */
  recent: Sample[]
  /** Volts of the last 5 s while rising. */
  rise: Sample[]
  /** Runs of consecutive samples that break a rule: code → count and since when. */
  breaking: Record<string, { count: number; since_us: number }>
  /** Hook-up check: readings in a row whose volts over amps lie in the window, and the time of the last one counted. */
  in_window: { count: number; at_us: number } | null
  /** Volts off the set-point beyond accuracy, integrated, in %·s. */
  error_pct_s: number
  /** Heater rails: since when volts and amps are in band. */
  good_since_us: number | null
  energised: boolean
  on_us: number | null
  /** When the outcome of its last ON came: until then its line had no time for readings. */
  on_known_us: number | null
}

export interface ChannelState {
  set_V: number | null
  limit_A: number | null
  over_V: number | null
  /** Step for which limits were last confirmed. */
  limits_step: number | null
  output: 'off' | 'on' | 'unknown'
  V: Sample | null
  A: Sample | null
  regulation: 'voltage' | 'current' | 'unknown'
  /** A set-point is on its way. */
  setting: number | null
  /** Samples in a row that show nothing at the terminals, counted from `begin`. */
  nothing: { V: number; A: number }
  /** Lowest volts seen before the first output was switched on, and when: a charge falls, a live output does not. */
  lowest: Sample | null
}

export interface InputState {
  /** Readings in a row beyond a trip limit. */
  beyond: number
  /** Its silence was said. */
  lost: boolean
  /** After OFF: where the fall at its node began, with the amps drawn then, and the newest reading. */
  fall: { from: Sample; amps: number; now: Sample } | null
}

export interface LineTrouble {
  readonly fault: LineFault
  readonly text: string
  readonly t_us: number
}

interface Pending {
  channel: string
  request: LineRequestBody
  t_us: number
}

export interface Prompt {
  id: number
  purpose:
    | { kind: 'charge' }
    | { kind: 'wire' }
    | { kind: 'nothing moved' }
    | { kind: 'mercury' }
    | { kind: 'step' }
    | { kind: 'polarity' }
    | { kind: 'hands clear' }
    | { kind: 'bias'; node: string; rail: string }
    | { kind: 'weak'; rail: string }
    | { kind: 'not settled'; rail: string }
    | { kind: 'knob'; rail: string; wants: 'V' | 'A' }
    | { kind: 'renew'; rail: string }
    | { kind: 'read'; part: string; node: string }
    | { kind: 'hand off'; rail: string }
  ask: Ask
  low: number | null
  high: number | null
  unit: string
  text: string
  opened_us: number
  until_us: number
  tries: number
}

/** Going off: what the machine of `src/off` knows, and why the run went off. */
export interface Off extends OffState {
  readonly outcome: 'completed' | 'tripped' | 'stopped' | 'failed'
  readonly reason: ReasonRecord | null
  /** What each rail drew when it began. */
  readonly amps: Readonly<Record<string, number>>
  /** All is decided, and dead-men of supplies are being put to rest before the run ends. */
  readonly rests: { readonly result: OffResult; readonly since_us: number } | null
}

/** A copy to work on plus what it gives out. */
export interface Draft {
  s: State
  out: Command[]
  /** Conditions that broke a rule in this event; the most severe wins. */
  broken: Broken[]
  /** Told of an urgent OFF in the moment in which it is decided. */
  off_now: OffNow
  /** It was told already of the OFF with which this step takes the run off. */
  off_given: boolean
}

export type OffNow = (channels: readonly string[]) => void

/** A copy without one entry. */
export function without<T>(entries: Readonly<Record<string, T>>, key: string): Record<string, T> {
  return Object.fromEntries(Object.entries(entries).filter(([name]) => name !== key))
}

/** Terminal volts that count as off. */
export { off_V }
/** Touch limit, IEC/EN 61010-1 6.3.1 (60 V DC). */
export const touch_V = 60
/** Volts of this rail above which what it feeds may stand above the touch limit. */
export const touchOf = (rail: RailPlan | undefined): number => rail?.touch_V ?? touch_V
/** What still counts as off: 5 V, and of a heater rail no more than a tenth of its volts, or a battery valve's would never be on. */
export function offBelow_V({ plan }: State, rail: string): number {
  const full_V = plan.heaters.filter((watch) => watch.rail === rail).map(({ volts }) => volts)
  return Math.min(off_V, ...full_V.map((each) => 0.1 * each))
}
/** A typed reading is valid for its step and this long at most. */
export const typedValid_s = 900
/** A typed bias is asked for again this long before it is too old, while HT is up (our choice). */
export const typedRenew_s = 180

export const us = (seconds: number): number => Math.round(seconds * 1e6)

/** Run time that is this long in real time: what line and computer may take. */
export const paced_s = (s: State, seconds: number): number => seconds * (s.plan.pace ?? 1)

/** Plates, screens and drive: what the urgent OFF takes at once. Never bias or heaters. */
export const isHot = (rail: RailPlan): boolean => isHotRole(rail.role)

/** In this start the set was read as dead and every connection was confirmed. */
export const hookedUp = (s: State): boolean =>
  s.proved_dead >= s.plan.prove_dead.length && s.wires_done >= s.plan.wires.length

/** Goes to a part of the step. */
export function enter(d: Draft, part: StepPart): void {
  d.s.part = part
  d.s.part_us = d.s.t_us
}

/** The rail a channel feeds, with that channel's plan. */
export function channelOf(
  s: State,
  channel: string,
): { rail: RailPlan; plan: ChannelPlan; state: ChannelState } | null {
  const state = s.channels[channel]
  if (!state) return null
  for (const name in s.plan.rails) {
    const rail = s.plan.rails[name]
    if (rail) for (const plan of rail.channels) if (plan.channel === channel) return { rail, plan, state }
  }
  return null
}

export function currentStep(s: State): Step | null {
  return s.plan.steps[s.step] ?? null
}

/** Worst resolution of a rail's read-back, volts and amps. */
export function resolution(s: State, rail: RailPlan): { V: number; A: number } {
  let V = 0
  let A = 0
  for (const channel of rail.channels) {
    V += channel.resolution_V
    A = Math.max(A, channel.resolution_A)
  }
  const volts = rail.volts_meter === null ? undefined : s.plan.meters[rail.volts_meter]
  const amps = rail.amps_meter === null ? undefined : s.plan.meters[rail.amps_meter]
  if (rail.channels.length === 0) {
    V = volts?.resolution ?? 0.1
    A = amps?.resolution ?? 0.001
  }
  return { V, A }
}

/** Whether amps come by themselves: from the rail's channels, or a meter on a line; not one that a person reads. */
export function ampsCome(s: State, rail: RailPlan): boolean {
  if (rail.class !== 'watched') return rail.class === 'programmed'
  const meter = rail.amps_meter === null ? undefined : s.plan.meters[rail.amps_meter]
  return meter !== undefined && meter.port !== null
}

/** Current that a read-back may show where none flows: its last digit, or its zero error. */
export function nothing_A(s: State, rail: RailPlan): number {
  return Math.max(resolution(s, rail).A, accuracy(s, rail, 0, 0).A)
}

/** Read-back error a reading of this size may have, volts and amps. */
export function accuracy(s: State, rail: RailPlan, volts: number, amps: number): { V: number; A: number } {
  let V = 0
  let A = 0
  for (const channel of rail.channels) {
    V += channel.accuracy_V.of_reading * Math.abs(volts * channel.share) + channel.accuracy_V.plus
    A = Math.max(A, channel.accuracy_A.of_reading * Math.abs(amps) + channel.accuracy_A.plus)
  }
  if (rail.channels.length === 0) {
    const v = rail.volts_meter === null ? undefined : s.plan.meters[rail.volts_meter]
    const a = rail.amps_meter === null ? undefined : s.plan.meters[rail.amps_meter]
    V = v ? v.accuracy.of_reading * Math.abs(volts) + v.accuracy.plus : 0.02 * Math.abs(volts)
    A = a ? a.accuracy.of_reading * Math.abs(amps) + a.accuracy.plus : 0.02 * Math.abs(amps)
  }
  return { V, A }
}
