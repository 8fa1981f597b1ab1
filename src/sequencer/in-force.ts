import type { RailLimits, RailPlan, Step } from '../plan/index.js'
import type { RailState, State } from './state.js'
import { currentStep, resolution, us } from './state.js'
import { volts } from './words.js'

/** What is in force now: limits of the moment, and the states that change what a reading means. */

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

export function isRising(s: State, step: Step): boolean {
  return step.do === 'raise' && (s.part === 'on' || s.part === 'ramp' || s.part === 'arrive')
}

export function inSoftStart(s: State, step: Step, rail: string, state: RailState): boolean {
  return (
    step.soft_start_s > 0 &&
    step.rail === rail &&
    s.t_us - Math.max(state.on_us ?? 0, s.step_us) <= us(step.soft_start_s) &&
    isRising(s, step)
  )
}

/** The supply holds its current limit: as it says itself, or by a current at the limit. */
export function isLimiting(s: State, rail: RailPlan, measured_A: number, limits: RailLimits): boolean {
  if (rail.class !== 'programmed') return false
  const told = rail.channels.some((part) => s.channels[part.channel]?.regulation === 'current')
  const near =
    measured_A >= limits.supply_limit_A - Math.max(2 * resolution(s, rail).A, 0.01 * limits.supply_limit_A)
  return told || near
}

/** A charged reservoir stands above a set-point that was lowered until its bleeder has drained it. */
export function comesDown(s: State, state: RailState): boolean {
  return (
    state.lowered_us !== null && (state.V?.value ?? 0) > state.set_V && s.t_us - state.lowered_us < us(120)
  )
}

/** Any HT or screen rail energised above the touch limit, or set to be. */
export function htIsOn(s: State): boolean {
  return Object.values(s.plan.rails).some((rail) => {
    const state = s.rails[rail.name]
    if ((rail.role !== 'HT' && rail.role !== 'screen') || !state?.energised) return false
    return (state.V?.value ?? 0) > 60 || state.set_V > 60
  })
}

export function reasonText(limits: RailLimits, limit: 'trip' | 'ceiling'): string {
  const text = limits.because.find((reason) => reason.limit === limit)?.text
  return text === undefined ? '' : `At ${volts(limits.at_V)}: ${text}.`
}
