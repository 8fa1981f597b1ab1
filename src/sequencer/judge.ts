import type { RailLimits, RailPlan, Step } from '../plan/index.js'
import { broke, for_us, lasting, trip } from './breach.js'
import {
  comesDown,
  htIsOn,
  inSoftStart,
  isLimiting,
  isRising,
  leastOf,
  limitsNow,
  reasonText,
} from './in-force.js'
import type { Draft, RailState } from './state.js'
import { accuracy, currentStep, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/** The trip rules that a reading can break. */

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
  const turned = rail.class === 'watched' && step.rail === rail.name && d.s.part === 'asking'
  const charging = rising || turned || d.s.t_us - state.set_us < us(2)
  const charge_A = charging ? limits.charge_A : 0
  const at = `${rail.name} drew ${amps(measured)} at ${volts(state.V?.value ?? 0)}`
  const why = reasonText(d.s, rail.name, 'trip', charge_A)

  // Cold heaters draw what the supply allows, and the supply's own limit is that ceiling.
  const cold_A = soft ? limits.supply_limit_A * 1.02 : 0
  const ceiling_A = soft ? Math.max(limits.ceiling_A, cold_A) : limits.ceiling_A + charge_A
  if (measured > ceiling_A) {
    broke(d, {
      code: 'over-ceiling',
      rail: rail.name,
      measured,
      limit: ceiling_A,
      unit: 'A',
      text: `${at}, above the ceiling of ${amps(ceiling_A)}. ${
        ceiling_A === cold_A
          ? `While its heaters are cold that is the supply's own limit of ${amps(limits.supply_limit_A)}, and 2 %.`
          : reasonText(d.s, rail.name, 'ceiling', soft ? 0 : charge_A)
      }`,
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

function judgeVolts(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const measured = state.V?.value ?? 0
  const error = accuracy(d.s, rail, state.set_V, 0).V
  const step_V = resolution(d.s, rail).V
  const top_V =
    Math.max(limits.over_voltage_V, state.set_V + limits.over_voltage_V - limits.at_V) + 3 * error + step_V
  if (rail.class === 'watched') {
    judgeKnob(d, rail, state, limits, error + step_V)
    return
  }
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

/** A knob turned further than the step's limits were computed for: as far beyond its target as the question allows, at most. */
function judgeKnob(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits, error_V: number): void {
  const measured = state.V?.value ?? 0
  const top_V = limits.at_V * 1.05 + 0.5 + error_V
  if (lasting(d, state, 'over-ceiling', measured > top_V, ' by knob')) {
    broke(d, {
      code: 'over-ceiling',
      rail: rail.name,
      measured,
      limit: top_V,
      unit: 'V',
      text: `${rail.name} stands at ${volts(measured)}; this step allows ${volts(limits.at_V)} and 5 % beyond it at most: its knob was turned too far.`,
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
