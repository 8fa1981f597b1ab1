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
    const off_us = state.off?.rails[rail.name]?.given_us ?? null
    const age_s = sample ? (state.t_us - sample.t_us) / 1e6 : Infinity
    const holds = off_us !== null && sample && sample.t_us > off_us && age_s <= plan.stale_s
    charge[rail.positive] =
      meter !== undefined && holds ? { volts: sample.value, meter: meter.name, age_s } : 'not measured'
  }
  return charge
}

/** Volts last typed for each rail on a person's own knob: all that is known of one that was not said to be off. */
export function lastTyped(plan: Plan, state: State): Readonly<Record<string, number>> {
  const typed: Record<string, number> = {}
  for (const rail of Object.values(plan.rails)) {
    const sample = state.rails[rail.name]?.V
    if (rail.class === 'hand' && sample) typed[rail.name] = sample.value
  }
  return typed
}

/**
 * The sequencer's ending as the record keeps it. `outputs_off` speaks of what was measured: where no rail was slowglow's to
 * switch or measure, nothing is confirmed.
 */
export function runEnding(
  ending: Ending,
  stored_charge: RunEnding['stored_charge'],
  duration_s: number,
  hand_last_V: Readonly<Record<string, number>> = {},
): RunEnding {
  const { outcome, outputs_off, reason, hand_rails, warnings, steps_done, ...details } = ending
  // Every one of no rails was confirmed: that is true and says nothing.
  const nothing_to_confirm = outputs_off === 'confirmed' && Object.keys(ending.off).length === 0
  return {
    outcome,
    outputs_off: nothing_to_confirm ? 'not confirmed' : outputs_off,
    reason,
    stored_charge,
    hand_rails,
    warnings,
    steps_done,
    duration_s,
    details: { ...details, hand_last_V, nothing_to_confirm },
  }
}
