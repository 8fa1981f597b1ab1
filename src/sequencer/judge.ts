import type { RailLimits, RailPlan, RuleCode, Step } from '../plan/index.js'
import { amps, volts } from './words.js'
import type { Draft, RailState, State } from './state.js'
import { accuracy, currentStep, resolution, us, without } from './state.js'
import type { ReasonRecord } from './types.js'

/**
 * The trip rules. Each test that can end a run calls `broke` once, with its code: that call is the mark which a minimal test
 * asserts. Nothing here acts; `worst` picks the most severe and the sequencer makes off.
 */

/** The written order: when several conditions are active the one further up is the reason. */
const severity: readonly RuleCode[] = [
  'invariant',
  'bias-low',
  'over-ceiling',
  'plate-lost',
  'protection',
  'over-trip',
  'hook-up',
  'current-limit',
  'rising',
  'heater-lost',
  'drive-lost',
  'off-set-point',
  'slow-rise',
  'error-integral',
  'soft-start',
  'watched-input',
  'line-lost',
  'read-back',
  'bad-reply',
  'stale',
  'parent-lost',
  'slept',
  'late-tick',
  'recorder-lost',
  'operator',
  'prompt-timeout',
  'time-budget',
  'wont-fall',
  'below-ask',
]

export const outcomeOf: Readonly<Record<RuleCode, 'tripped' | 'failed' | 'stopped'>> = {
  'over-ceiling': 'tripped',
  'over-trip': 'tripped',
  rising: 'tripped',
  'current-limit': 'tripped',
  'off-set-point': 'tripped',
  'slow-rise': 'tripped',
  'error-integral': 'tripped',
  protection: 'tripped',
  'heater-lost': 'tripped',
  'bias-low': 'tripped',
  'drive-lost': 'tripped',
  'plate-lost': 'tripped',
  'watched-input': 'tripped',
  'hook-up': 'tripped',
  'soft-start': 'tripped',
  stale: 'failed',
  'bad-reply': 'failed',
  'read-back': 'failed',
  'line-lost': 'failed',
  'recorder-lost': 'failed',
  slept: 'failed',
  'late-tick': 'failed',
  'parent-lost': 'failed',
  invariant: 'failed',
  'wont-fall': 'failed',
  'time-budget': 'stopped',
  'prompt-timeout': 'stopped',
  operator: 'stopped',
  'below-ask': 'stopped',
}

export interface Breach {
  readonly code: RuleCode
  readonly rail?: string
  readonly measured?: number
  readonly limit?: number
  readonly unit?: string
  readonly text: string
}

export function broke(d: Draft, breach: Breach): void {
  const step = currentStep(d.s)
  d.broken.push({
    code: breach.code,
    rail: breach.rail ?? null,
    step: step ? step.index : null,
    measured: breach.measured ?? null,
    limit: breach.limit ?? null,
    unit: breach.unit ?? '',
    text: breach.text,
  })
}

export function worst(reasons: readonly ReasonRecord[]): ReasonRecord | null {
  const rank = (reason: ReasonRecord): number => (severity as readonly string[]).indexOf(reason.code)
  return reasons.reduce<ReasonRecord | null>(
    (best, next) => (best === null || rank(next) < rank(best) ? next : best),
    null,
  )
}

/** Threshold in force, from the plan. */
function trip(s: State, code: RuleCode, otherwise: number): number {
  return s.plan.rules.find((rule) => rule.code === code)?.trip ?? otherwise
}
function for_us(s: State, code: RuleCode, otherwise_s: number): number {
  return us(s.plan.rules.find((rule) => rule.code === code)?.for_s ?? otherwise_s)
}

/** Three samples and the rule's time in a row; `bad` false clears. One sample counts once (call on readings only). */
function lasting(d: Draft, rail: RailState, code: RuleCode, bad: boolean, seenBy = ''): boolean {
  const key = `${code}${seenBy}`
  if (!bad) {
    if (rail.breaking[key]) rail.breaking = without(rail.breaking, key)
    return false
  }
  const before = rail.breaking[key] ?? { count: 0, since_us: d.s.t_us }
  rail.breaking = { ...rail.breaking, [key]: { count: before.count + 1, since_us: before.since_us } }
  return before.count + 1 >= 3 && d.s.t_us - before.since_us >= for_us(d.s, code, 0.3)
}

/** Limits a rail is held to now: those of the step, or, while it is being raised, between the last step's and these. */
export function limitsNow(s: State, rail: string): RailLimits | null {
  const step = currentStep(s)
  if (!step) return null
  const now = step.limits[rail] ?? null
  const state = s.rails[rail]
  if (!now || !state || step.rail !== rail || !isRising(s, step)) return now
  const before = s.plan.steps
    .slice(0, s.step)
    .reverse()
    .find((earlier) => earlier.limits[rail] !== undefined && earlier.do !== 'hook-up check')?.limits[rail]
  if (!before || before.at_V >= now.at_V) return now
  const part = Math.min(1, Math.max(0, (state.set_V - before.at_V) / (now.at_V - before.at_V)))
  const between = (a: number, b: number): number => a + (b - a) * part
  return {
    ...now,
    expected_A: between(before.expected_A, now.expected_A),
    trip_A: Math.max(before.trip_A, between(before.trip_A, now.trip_A)),
    ceiling_A: Math.max(before.ceiling_A, between(before.ceiling_A, now.ceiling_A)),
  }
}

/** Least current a rail may draw unasked: its ask, or nine tenths of what a person accepted as weak. */
export function leastOf(s: State, rail: string, limits: RailLimits): number {
  const accepted = s.weak[rail]
  return accepted === undefined ? limits.ask_A : Math.min(limits.ask_A, 0.9 * accepted * limits.expected_A)
}

function isRising(s: State, step: Step): boolean {
  return step.do === 'raise' && (s.part === 'on' || s.part === 'ramp' || s.part === 'arrive')
}

function inSoftStart(s: State, step: Step, rail: string, state: RailState): boolean {
  return (
    step.soft_start_s > 0 &&
    step.rail === rail &&
    s.t_us - Math.max(state.on_us ?? 0, s.step_us) <= us(step.soft_start_s) &&
    isRising(s, step)
  )
}

/** Judged when a rail's own current or volts arrived. Hook-up checks have their own judgement (run.ts). */
export function judgeReading(d: Draft, name: string, quantity: 'V' | 'A'): void {
  const step = currentStep(d.s)
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!step || !rail || !state?.energised) return
  if (step.do === 'hook-up check') return
  const limits = limitsNow(d.s, name)
  if (!limits) return
  if (quantity === 'A') judgeCurrent(d, step, rail, state, limits)
  else judgeVolts(d, step, rail, state, limits)
}

function judgeCurrent(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const measured = state.A?.value ?? 0
  const rising = step.rail === rail.name && isRising(d.s, step)
  const soft = inSoftStart(d.s, step, rail.name, state)
  // Charge for reservoirs does not pass the tubes, so it is allowed on top while (and just after) the rail rises.
  const charging = rising || d.s.t_us - state.set_us < us(2)
  const charge_A = charging ? limits.charge_A : 0
  const at = `${rail.name} drew ${amps(measured)} at ${volts(state.V?.value ?? 0)}`
  const why = reasonText(limits, 'trip')

  // Cold heaters draw what the supply allows, and the supply's own limit is that ceiling.
  const ceiling_A = soft
    ? Math.max(limits.ceiling_A, limits.supply_limit_A * 1.02)
    : limits.ceiling_A + charge_A
  if (measured > ceiling_A) {
    broke(d, {
      code: 'over-ceiling',
      rail: rail.name,
      measured,
      limit: ceiling_A,
      unit: 'A',
      text: `${at}, above the ceiling of ${amps(ceiling_A)}. ${reasonText(limits, 'ceiling')}`,
    })
  }
  if (
    lasting(d, state, 'over-trip', !soft && measured > (limits.trip_A + charge_A) * trip(d.s, 'over-trip', 1))
  ) {
    broke(d, {
      code: 'over-trip',
      rail: rail.name,
      measured,
      limit: limits.trip_A + charge_A,
      unit: 'A',
      text: `${at}, above the trip of ${amps(limits.trip_A + charge_A)}. ${why}`,
    })
  }

  const limiting = isLimiting(d.s, rail, measured, limits)
  if (lasting(d, state, 'current-limit', limiting && !soft)) {
    broke(d, {
      code: 'current-limit',
      rail: rail.name,
      measured,
      limit: limits.supply_limit_A,
      unit: 'A',
      text: `The supply of ${rail.name} is holding the current at its limit (${amps(limits.supply_limit_A)}): the set wants more than this step allows. ${why}`,
    })
  }
  const oldest = state.recent[0]
  if (
    oldest &&
    !soft &&
    d.s.t_us - state.set_us >= for_us(d.s, 'rising', 20) &&
    oldest.t_us >= state.set_us
  ) {
    const margin = Math.max(3 * resolution(d.s, rail).A, trip(d.s, 'rising', 0.03) * limits.expected_A)
    if (measured - oldest.value > margin && measured > limits.upper_A) {
      broke(d, {
        code: 'rising',
        rail: rail.name,
        measured,
        limit: limits.upper_A,
        unit: 'A',
        text: `${rail.name} rose from ${amps(oldest.value)} to ${amps(measured)} in ${Math.round((d.s.t_us - oldest.t_us) / 1e6)} s with its set-point unchanged, and stands above its band (${amps(limits.upper_A)}): a tube running away by heat or gas, or a part breaking down.`,
      })
    }
  }

  if (rail.role === 'heater' && htIsOn(d.s)) {
    const least_A = leastOf(d.s, rail.name, limits)
    const low = measured < least_A || (state.V?.value ?? 0) < 0.9 * limits.at_V
    if (lasting(d, state, 'heater-lost', low)) {
      broke(d, {
        code: 'heater-lost',
        rail: rail.name,
        measured,
        limit: least_A,
        unit: 'A',
        text: `${at} while HT is on, below ${amps(least_A)}: a heater or a chain has opened.`,
      })
    }
  }
  if (rail.role === 'bias' && htIsOn(d.s)) {
    const preload_A = rail.bias?.preload_A ?? null
    const least_A = limits.expected_A - (preload_A ?? 0) / 2
    if (preload_A !== null && lasting(d, state, 'bias-low', measured < least_A)) {
      broke(d, {
        code: 'bias-low',
        rail: rail.name,
        measured,
        limit: least_A,
        unit: 'A',
        text: `${at}; with its preload of ${amps(preload_A)} at the grid return it should draw ${amps(limits.expected_A)}. The bias lead is off or open, so the grids may have no bias.`,
      })
    }
  }
  if (rail.role === 'drive' && htIsOn(d.s)) {
    const wanted_A = limits.expected_A
    if (
      wanted_A >= 5 * resolution(d.s, rail).A &&
      lasting(d, state, 'drive-lost', measured < trip(d.s, 'drive-lost', 0.5) * wanted_A)
    ) {
      broke(d, {
        code: 'drive-lost',
        rail: rail.name,
        measured,
        limit: trip(d.s, 'drive-lost', 0.5) * wanted_A,
        unit: 'A',
        text: `${at}; drive should be ${amps(wanted_A)}. A driven stage without drive has no bias of its own.`,
      })
    }
  }
  if (rail.role === 'HT') judgePlate(d, rail, state, limits)
}

/** Screen volts without plate volts or plate current: the whole cathode current lands on the screen. */
function judgePlate(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const screenOn = Object.values(d.s.plan.rails).some(
    (other) => other.role === 'screen' && d.s.rails[other.name]?.energised,
  )
  if (!screenOn) return
  const measured = state.A?.value ?? 0
  const visible = limits.expected_A >= 5 * resolution(d.s, rail).A
  const missing =
    (state.V?.value ?? 0) < 0.5 * limits.at_V ||
    (visible && measured < trip(d.s, 'plate-lost', 0.25) * limits.expected_A)
  if (lasting(d, state, 'plate-lost', missing)) {
    broke(d, {
      code: 'plate-lost',
      rail: rail.name,
      measured,
      limit: trip(d.s, 'plate-lost', 0.25) * limits.expected_A,
      unit: 'A',
      text: `${rail.name} has lost its plate volts or plate current (${volts(state.V?.value ?? 0)}, ${amps(measured)}) while the screen is on: the screen would carry the whole cathode current.`,
    })
  }
}

/** The supply holds its current limit: as it says itself, or by a current at the limit. */
export function isLimiting(s: State, rail: RailPlan, measured_A: number, limits: RailLimits): boolean {
  if (rail.class !== 'programmed') return false
  const told = rail.channels.some((part) => s.channels[part.channel]?.regulation === 'current')
  const near =
    measured_A >= limits.supply_limit_A - Math.max(2 * resolution(s, rail).A, 0.01 * limits.supply_limit_A)
  return told || near
}

function judgeVolts(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const measured = state.V?.value ?? 0
  const error = accuracy(d.s, rail, state.set_V, 0).V
  const step_V = resolution(d.s, rail).V
  const top_V =
    Math.max(limits.over_voltage_V, state.set_V + limits.over_voltage_V - limits.at_V) + 3 * error + step_V
  if (limits.over_voltage_V > 0 && measured > top_V) {
    broke(d, {
      code: 'over-ceiling',
      rail: rail.name,
      measured,
      limit: top_V,
      unit: 'V',
      text: `${rail.name} stands at ${volts(measured)}, above its over-voltage level of ${volts(limits.over_voltage_V)}: the supply is not holding its set-point.`,
    })
  }
  if (rail.class !== 'programmed') return

  const rising = step.rail === rail.name && isRising(d.s, step)
  const soft = inSoftStart(d.s, step, rail.name, state)
  const lowering = comesDown(d.s, state)
  if (!rising && !soft && !lowering) {
    const tolerance = Math.max(3 * error, trip(d.s, 'off-set-point', 0.02) * state.set_V, step_V)
    const settledIn = d.s.t_us - state.set_us > us(1)
    if (lasting(d, state, 'off-set-point', settledIn && Math.abs(measured - state.set_V) > tolerance)) {
      broke(d, {
        code: 'off-set-point',
        rail: rail.name,
        measured,
        limit: state.set_V,
        unit: 'V',
        text: `${rail.name} stands at ${volts(measured)} though it is set to ${volts(state.set_V)}: a supply that dropped out, a lead, or a load it cannot hold.`,
      })
    }
  }
  if (rising && d.s.part === 'ramp' && !soft) {
    const first = state.rise[0]
    const span_s = first ? (d.s.t_us - first.t_us) / 1e6 : 0
    const wanted = trip(d.s, 'slow-rise', 0.5) * step.slew_V_per_s * span_s
    const behind = state.set_V - measured > Math.max(3 * error + step_V, 0.02 * state.set_V)
    const slow =
      first !== undefined &&
      span_s >= 4.5 &&
      first.t_us >= d.s.part_us &&
      behind &&
      measured - first.value < wanted
    // Where the current is being judged already it tells more: what draws it, not only that something does.
    const told = ['over-trip', 'current-limit'].some((code) => state.breaking[code] !== undefined)
    if (lasting(d, state, 'slow-rise', slow) && first !== undefined && !told) {
      broke(d, {
        code: 'slow-rise',
        rail: rail.name,
        measured: (measured - first.value) / span_s,
        limit: wanted / span_s,
        unit: 'V/s',
        text: `${rail.name} rises at ${((measured - first.value) / span_s).toFixed(2)} V/s instead of ${step.slew_V_per_s.toFixed(2)} V/s: something holds it down.`,
      })
    }
  }
}

/** An intent that never reaches the disk. */
function judgeIntent(d: Draft): void {
  const limit_s = trip(d.s, 'recorder-lost', 10)
  if (d.s.part !== 'intent' || d.s.intent?.recorded !== false || d.s.t_us - d.s.part_us <= us(limit_s)) return
  broke(d, {
    code: 'recorder-lost',
    measured: (d.s.t_us - d.s.part_us) / 1e6,
    limit: limit_s,
    unit: 's',
    text: `The record did not confirm the intent of this segment within ${limit_s} s, so nothing was raised.`,
  })
}

/** A request whose outcome never came is a line that cannot be trusted, whatever the line thinks of itself. */
const outcomeWithin_s = 10
function judgePending(d: Draft): void {
  for (const pending of Object.values(d.s.pending)) {
    if (d.s.t_us - pending.t_us <= us(outcomeWithin_s)) continue
    broke(d, {
      code: 'line-lost',
      text: `${pending.channel} was told "${pending.request.do}" and no outcome came in ${outcomeWithin_s} s. It may have happened.`,
    })
  }
}

/** A charged reservoir stands above a set-point that was lowered until its bleeder has drained it. */
function comesDown(s: State, state: RailState): boolean {
  return (
    state.lowered_us !== null && (state.V?.value ?? 0) > state.set_V && s.t_us - state.lowered_us < us(120)
  )
}

/** Judged at every tick: what the clock alone can break. `dt_s` is the time since the last tick. */
export function judgeTick(d: Draft, dt_s: number): void {
  const step = currentStep(d.s)
  if (!step) return
  for (const rail of Object.values(d.s.plan.rails)) {
    const state = d.s.rails[rail.name]
    if (!state?.energised || rail.class === 'hand') continue
    judgeFreshness(d, rail, state)
    if (rail.class === 'programmed' && step.do !== 'hook-up check') judgeIntegral(d, step, rail, state, dt_s)
  }
  judgeBiasFreshness(d)
  judgePending(d)
  judgeIntent(d)
  if (d.s.begun_us !== null && d.s.t_us - d.s.begun_us > us(d.s.plan.time_budget_s)) {
    broke(d, {
      code: 'time-budget',
      measured: (d.s.t_us - d.s.begun_us) / 1e6,
      limit: d.s.plan.time_budget_s,
      unit: 's',
      text: `The run has used its time budget of ${Math.round(d.s.plan.time_budget_s)} s.`,
    })
  }
}

function judgeFreshness(d: Draft, rail: RailPlan, state: RailState): void {
  const since_us = state.on_us ?? d.s.t_us
  const age = (sample: { t_us: number } | null): number => d.s.t_us - Math.max(sample?.t_us ?? 0, since_us)
  const seen = rail.class === 'programmed' || rail.amps_meter !== null ? [state.V, state.A] : [state.V]
  const age_us = Math.max(...seen.map(age))
  if (age_us > us(d.s.plan.stale_s)) {
    broke(d, {
      code: 'stale',
      rail: rail.name,
      measured: age_us / 1e6,
      limit: d.s.plan.stale_s,
      unit: 's',
      text: `The newest reading of ${rail.name} is ${(age_us / 1e6).toFixed(2)} s old (limit ${d.s.plan.stale_s.toFixed(2)} s): the line or its supply has gone quiet.`,
    })
  }
}

function judgeIntegral(d: Draft, step: Step, rail: RailPlan, state: RailState, dt_s: number): void {
  const rising = step.rail === rail.name && isRising(d.s, step)
  if (rising || comesDown(d.s, state) || state.set_V <= 0 || d.s.t_us - state.set_us < us(2)) {
    state.error_pct_s = 0
    return
  }
  // What is set and what is read each have the supply's error, so together they may differ by twice that.
  const allowed = Math.max(2 * accuracy(d.s, rail, state.set_V, 0).V, resolution(d.s, rail).V)
  const beyond = Math.abs((state.V?.value ?? state.set_V) - state.set_V) - allowed
  if (beyond > 0) state.error_pct_s += (100 * beyond * dt_s) / state.set_V
  const limit = 100 * trip(d.s, 'error-integral', 0.1)
  if (state.error_pct_s > limit) {
    broke(d, {
      code: 'error-integral',
      rail: rail.name,
      measured: state.error_pct_s,
      limit,
      unit: '%·s',
      text: `${rail.name} has stood off its set-point of ${volts(state.set_V)} for too long (${state.error_pct_s.toFixed(1)} %·s, limit ${limit.toFixed(0)} %·s).`,
    })
  }
}

/** Judged when the meter at a grid return answered. */
export function judgeBiasMeter(d: Draft, meter: string): void {
  if (!htIsOn(d.s)) return
  for (const rail of Object.values(d.s.plan.rails)) {
    const bias = rail.bias
    const state = d.s.rails[rail.name]
    const sample = d.s.meters[meter]
    if (bias?.meter !== meter || !state || !sample) continue
    if (lasting(d, state, 'bias-low', bias.sign * sample.value < bias.at_least_V, ' by meter')) {
      broke(d, {
        code: 'bias-low',
        rail: rail.name,
        measured: sample.value,
        limit: bias.sign * bias.at_least_V,
        unit: 'V',
        text: `Bias at ${bias.node} is ${volts(sample.value)}; the set needs at least ${volts(bias.sign * bias.at_least_V)} there while HT is on. ${bias.source}`,
      })
    }
  }
}

/** A bias meter that went quiet while HT is on. */
function judgeBiasFreshness(d: Draft): void {
  if (!htIsOn(d.s)) return
  for (const rail of Object.values(d.s.plan.rails)) {
    const bias = rail.bias
    if (!bias || bias.meter === null) continue
    const age_us = d.s.t_us - (d.s.meters[bias.meter]?.t_us ?? 0)
    if (age_us > us(d.s.plan.stale_s)) {
      broke(d, {
        code: 'stale',
        rail: rail.name,
        measured: age_us / 1e6,
        limit: d.s.plan.stale_s,
        unit: 's',
        text: `The bias meter at ${bias.node} has not answered for ${(age_us / 1e6).toFixed(2)} s while HT is on.`,
      })
    }
  }
}

/** Any HT or screen rail energised above the touch limit, or set to be. */
export function htIsOn(s: State): boolean {
  return Object.values(s.plan.rails).some((rail) => {
    const state = s.rails[rail.name]
    if ((rail.role !== 'HT' && rail.role !== 'screen') || !state?.energised) return false
    return (state.V?.value ?? 0) > 60 || state.set_V > 60
  })
}

function reasonText(limits: RailLimits, limit: 'trip' | 'ceiling'): string {
  const text = limits.because.find((reason) => reason.limit === limit)?.text
  return text === undefined ? '' : `At ${volts(limits.at_V)}: ${text}.`
}
