import type { Plan } from '../plan/index.js'
import type { Ending, State } from '../sequencer/index.js'
import type { ChargeReading, RunEnding } from './types.js'

/**
 * Volts left at the plate and screen supply nodes of the set, each by the meter on a line that stands at the node, with the age
 * of the reading; a node without one is "not measured", and so is one whose meter has said nothing since OFF or has gone quiet.
 * A supply's own read-back never counts: behind a fuse or a fallen lead it sees nothing.
 */
export function storedCharge(plan: Plan, state: State): RunEnding['stored_charge'] {
  const charge: Record<string, ChargeReading | 'not measured'> = {}
  for (const rail of Object.values(plan.rails)) {
    if (rail.role !== 'HT' && rail.role !== 'screen') continue
    const meter = Object.values(plan.meters).find(
      (candidate) => candidate.at === rail.positive && candidate.measures === 'V' && candidate.port !== null,
    )
    const sample = meter === undefined ? undefined : state.meters[meter.name]
    const off_us = state.off?.given_us[rail.name]
    const age_s = sample ? (state.t_us - sample.t_us) / 1e6 : Infinity
    const holds = off_us !== undefined && sample && sample.t_us > off_us && age_s <= plan.stale_s
    charge[rail.positive] =
      meter !== undefined && holds ? { volts: sample.value, meter: meter.name, age_s } : 'not measured'
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
