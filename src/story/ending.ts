import type { MeterPlan, Plan, RailPlan } from '../plan/index.js'
import { type Ending, fallOf, off_V, type State } from '../sequencer/index.js'
import type { ChargeReading, RunEnding } from './types.js'

/**
 * Volts left at the plate and screen supply nodes of the set, and wherever else a voltmeter on a line stands, each by that meter
 * with the age of the reading; a node without one is "not measured", and so is one whose meter has said nothing since OFF or has
 * gone quiet. A supply's own read-back never counts: behind a fuse or a fallen lead it sees nothing.
 */
export function storedCharge(plan: Plan, state: State): RunEnding['stored_charge'] {
  const charge: Record<string, ChargeReading | 'not measured'> = {}
  const rails = Object.values(plan.rails)
  const hot = rails.filter(({ role }) => role === 'HT' || role === 'screen')
  const meters = Object.values(plan.meters).filter(({ measures, port }) => measures === 'V' && port !== null)
  for (const rail of hot) {
    const off_us = offSince_us(state, rail)
    for (const node of [rail.positive, ...(rail.charged_at === undefined ? [] : [rail.charged_at])]) {
      const meter = meters.find(({ at }) => at === node)
      charge[node] = meter === undefined ? 'not measured' : chargeBy(plan, state, meter, off_us)
    }
  }
  const ends = rails.flatMap(({ positive, negative, bias }) => [
    positive,
    negative,
    ...(bias ? [bias.node] : []),
  ])
  const given = hot.flatMap((rail) => offSince_us(state, rail) ?? [])
  const all_us = given.length < hot.length || given.length === 0 ? null : Math.max(...given)
  for (const meter of meters) {
    // A meter at a bias node or at a rail's other end says nothing of the plates' reservoirs.
    if (meter.at === null || ends.includes(meter.at)) continue
    charge[meter.at] = chargeBy(plan, state, meter, all_us)
  }
  return charge
}

/**
 * Since when nothing feeds it: its OFF was given, or its own knob was said or read to be at nothing. To call for a knob to be turned
 * down is not to turn it.
 */
function offSince_us(state: State, { name, class: by }: Pick<RailPlan, 'name' | 'class'>): number | null {
  if (by !== 'hand') return state.off?.rails[name]?.given_us ?? null
  const said_us = state.off?.said_us[name]
  if (said_us !== undefined) return said_us
  const rail = state.rails[name]
  return rail?.V && !rail.energised && Math.abs(rail.V.value) <= off_V ? rail.V.t_us : null
}

function chargeBy(
  plan: Plan,
  state: State,
  meter: MeterPlan,
  off_us: number | null,
): ChargeReading | 'not measured' {
  const sample = state.meters[meter.name]
  if (!sample || off_us === null || sample.t_us <= off_us) return 'not measured'
  const age_s = (state.t_us - sample.t_us) / 1e6
  if (age_s > (meter.watch?.stale_s ?? plan.stale_s)) return 'not measured'
  const fell = fallOf(state, meter)?.text
  return { volts: sample.value, meter: meter.name, age_s, ...(fell !== undefined && { fell }) }
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
