import type { RailLimits } from '../../plan/index.js'
import type { RailView } from '../../sequencer/index.js'

export type Held = Pick<RailLimits, 'lower_A' | 'upper_A' | 'trip_A' | 'ceiling_A'>

/**
 * What a rail's current is held against at this moment, as it is judged: trip and ceiling are wider by what charges its capacitors,
 * and while cold heaters may draw what the supply allows, none of the step's own limits is in force.
 */
export function inForce<L extends Held>(
  limits: L | null,
  { charging_A = 0, soft_start }: Pick<RailView, 'charging_A' | 'soft_start'>,
): L | null {
  if (limits === null || soft_start === true) return null
  if (charging_A === 0) return limits
  return { ...limits, trip_A: limits.trip_A + charging_A, ceiling_A: limits.ceiling_A + charging_A }
}
