import type { Plan, RailLimits, Step } from '../plan/index.js'
import type { StepTime } from './step-times.js'
import type { RailStory } from './story.js'

/* What a rail drew when a step ended, held against what was in force then: `sequencer/in-force.ts` has it moment by moment. */

/**
 * Near enough to its volts for its current to be held against the band there, where the run itself did not judge it. Where no volts
 * were read it is taken as there.
 */
export const isAt = (volts: number | null, at_V: number): boolean =>
  volts === null || Math.abs(volts - at_V) <= 0.05 * at_V + 0.5

/** Below the least that passes unasked is not near the band, and is not said to be. Too much is too much at any volts. */
export function verdictOf(amps: number, limits: RailLimits, reached: boolean): RailStory['verdict'] {
  if (!reached && amps <= limits.upper_A) return 'volts not reached'
  if (amps < limits.lower_A) return amps < limits.ask_A ? 'far below band' : 'below band'
  if (amps > limits.upper_A) return amps > limits.trip_A ? 'above trip' : 'above band'
  return 'in band'
}

/** As `besides` of `sequencer/in-force.ts`: a rail that stood while another rose may draw what it did, what it will, or between. */
export function besides(plan: Plan, step: Step, rail: string, now: RailLimits): RailLimits {
  const before = plan.steps[plan.steps.indexOf(step) - 1]?.limits[rail]
  if (step.do !== 'raise' || before === undefined || before.at_V !== now.at_V) return now
  return {
    ...now,
    lower_A: Math.min(before.lower_A, now.lower_A),
    ask_A: Math.min(before.ask_A, now.ask_A),
    upper_A: Math.max(before.upper_A, now.upper_A),
    trip_A: Math.max(before.trip_A, now.trip_A),
  }
}

/**
 * The most that a rail could draw while it rose: what charges its capacitors came on top, the trip was never less than before, and
 * cold heaters were held by the supply's own limit alone.
 */
export function onItsWay(
  plan: Plan,
  { step, from_us, to_us }: StepTime,
  rail: string,
  limits: RailLimits,
): RailLimits {
  if (step.do !== 'raise' || step.rail !== rail) return limits
  if (to_us - from_us <= step.soft_start_s * 1e6) return { ...limits, upper_A: Infinity, trip_A: Infinity }
  const before = plan.steps.slice(0, plan.steps.indexOf(step)).findLast(({ limits: own }) => own[rail])
  const { upper_A, trip_A, charge_A } = limits
  return {
    ...limits,
    upper_A: Math.max(upper_A, before?.limits[rail]?.upper_A ?? 0) + charge_A,
    trip_A: Math.max(trip_A, before?.limits[rail]?.trip_A ?? 0) + charge_A,
  }
}
