import type { RailPlan, Step } from '../plan/index.js'
import type { RailState, State } from './state.js'

/** How far a rail may rise now. The ramp asks here before it sends, and the door to the line asks again. */

/** A ramp rises at most this often. */
export const raiseEvery_s = 0.1

/** What a channel's digits are worth: set-points are whole multiples of 1/scale. */
export function scale(digits: number): number {
  let value = 1
  for (let i = 0; i < digits; i++) value *= 10
  return value
}

/** Never faster than the slew since the last rise, never past the target. */
export function riseAllowed_V(s: State, step: Step, rail: RailPlan, state: RailState): number {
  const since_us = s.t_us - Math.max(state.set_us, s.part_us)
  // A loop that was held up may not catch up at once; a slow slew may save up for one step of the supply.
  const finest_V = Math.max(...rail.channels.map((part) => 1 / (part.share * scale(part.set_digits_V))))
  const most_us = Math.max(1_000_000, (1.5e6 * finest_V) / step.slew_V_per_s)
  return Math.min(step.target_V, state.set_V + (step.slew_V_per_s * Math.min(since_us, most_us)) / 1e6)
}
