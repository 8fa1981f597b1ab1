import type { Plan } from '../plan/index.js'
import type { Ending, State } from '../sequencer/index.js'
import type { RunEnding } from './types.js'

/**
 * Volts left at the plate and screen supply nodes of the set, each by the meter on a line that stands at the node; a node
 * without one is "not measured". A supply's own read-back never counts: behind a fuse or a fallen lead it sees nothing.
 */
export function storedCharge(plan: Plan, state: State): RunEnding['stored_charge'] {
  const charge: Record<string, { volts: number; meter: string } | 'not measured'> = {}
  for (const rail of Object.values(plan.rails)) {
    if (rail.role !== 'HT' && rail.role !== 'screen') continue
    const meter = Object.values(plan.meters).find(
      (candidate) => candidate.at === rail.positive && candidate.measures === 'V' && candidate.port !== null,
    )
    const sample = meter === undefined ? null : state.meters[meter.name]
    charge[rail.positive] =
      meter !== undefined && sample ? { volts: sample.value, meter: meter.name } : 'not measured'
  }
  return charge
}

/** The sequencer's ending as the record keeps it. */
export function runEnding(
  ending: Ending,
  stored_charge: RunEnding['stored_charge'],
  duration_s: number,
): RunEnding {
  const { outcome, outputs_off, reason, hand_rails, warnings, steps_done, ...details } = ending
  return {
    outcome,
    outputs_off,
    reason,
    stored_charge,
    hand_rails,
    warnings,
    steps_done,
    duration_s,
    details: { ...details },
  }
}
