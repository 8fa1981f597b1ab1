import type { RailLimits, RailPlan, Step } from '../plan/index.js'
import { broke, for_us, lasting, tripAt } from './breach.js'
import { heaterFits } from './heater-fits.js'
import { judgeHookup } from './hookup.js'
import {
  asked_V,
  ceilingNow_A,
  coldCeiling_A,
  comesDown,
  inSoftStart,
  isCharging,
  isLimiting,
  isRising,
  isUp,
  limitsNow,
  reasonText,
} from './in-force.js'
import { seeInPlace } from './in-place.js'
import { judgeDriveBias, tellsDrive } from './judge-drive.js'
import { judgeLost } from './judge-lost.js'
import { proofUnderWay } from './prove.js'
import { raiseEvery_s } from './slew.js'
import type { Draft, RailState } from './state.js'
import { accuracy, currentStep, nothing_A, off_V, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/** The trip rules that a reading can break. */

/** Judged when a rail's own current or volts arrived. Hook-up checks have their own judgement (hookup.ts). */
export function judgeReading(d: Draft, name: string, quantity: 'V' | 'A'): void {
  const step = currentStep(d.s)
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!step || !rail || !state) return
  if (rail.class === 'programmed' && !state.energised) {
    if (d.s.outputs_proved) judgeOff(d, rail, state, quantity)
    return
  }
  if (!isUp(d.s, rail)) return
  if (step.do === 'hook-up check') {
    judgeHookup(d, step, rail, state, quantity)
    return
  }
  const limits = limitsNow(d.s, name)
  if (!limits) return
  if (proofUnderWay(d.s, name) !== null) {
    // What is provoked there is expected; what no proof makes is not.
    if (quantity === 'A') judgeCeiling(d, step, rail, state, limits)
    else judgeOverVolts(d, rail, state, limits)
    return
  }
  if (quantity === 'A') {
    judgeCurrent(d, step, rail, state, limits)
    seeInPlace(d, step, rail, state)
    if (rail.role === 'bias') judgeDriveBias(d, name)
  } else judgeVolts(d, step, rail, state, limits)
  judgeLost(d, step, rail, state, limits, quantity)
}

/**
 * A run-down takes its time, so what may not wait is judged on the way: it makes the OFF urgent. Only until then: once it is
 * urgent there is nothing stronger, and OFF is told again until it confirms.
 */
export function judgeRunDown(d: Draft, name: string, quantity: 'V' | 'A'): void {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  // All steps done: the last one's limits are what the rail came down from.
  const step = currentStep(d.s) ?? d.s.plan.steps[d.s.plan.steps.length - 1]
  if (d.s.off?.how !== 'run down' || !step || !rail || !state?.energised) return
  if (step.do === 'hook-up check') {
    judgeHookup(d, step, rail, state, quantity)
    return
  }
  const limits = limitsNow(d.s, name) ?? step.limits[name]
  if (!limits) return
  if (quantity === 'A') judgeCeiling(d, step, rail, state, limits)
  else judgeOverVolts(d, rail, state, limits)
}

/** An output that is off carries nothing: volts or amps there come from elsewhere, or it is not off. */
function judgeOff(d: Draft, rail: RailPlan, state: RailState, quantity: 'V' | 'A'): void {
  const measured = state[quantity]?.value ?? 0
  const limit =
    quantity === 'V'
      ? off_V + accuracy(d.s, rail, off_V, 0).V
      : nothing_A(d.s, rail) + 3 * resolution(d.s, rail).A
  if (!lasting(d, state, 'read-back', Math.abs(measured) > limit, ` ${quantity} while off`)) return
  broke(d, {
    code: 'read-back',
    rail: rail.name,
    measured,
    limit,
    unit: quantity,
    text: () =>
      `${rail.name} is off, and its supply measures ${quantity === 'V' ? volts(measured) : amps(measured)} there: the output did not obey OFF, or something else feeds its leads.`,
  })
}

/** Charge for reservoirs does not pass the tubes, so it is allowed on top. */
const chargeNow_A = (d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): number =>
  isCharging(d.s, step, rail, state) ? limits.charge_A : 0

const drew = (rail: RailPlan, state: RailState): string =>
  `${rail.name} drew ${amps(state.A?.value ?? 0)} at ${volts(state.V?.value ?? 0)}`

/** Volts gone with the supply at its limit: the limit is what is read then, and says nothing of what the set would draw. */
function collapsed(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits): string | null {
  const now_V = state.V?.value ?? 0
  if (rail.class !== 'programmed' || state.set_V < off_V || now_V > 0.3 * state.set_V) return null
  if (!isLimiting(d.s, rail, state.A?.value ?? 0, limits, false)) return null
  const set_A = rail.channels.map((part) => d.s.channels[part.channel]?.limit_A ?? limits.supply_limit_A)
  return `${rail.name} fell from ${volts(state.set_V)} to ${volts(now_V)} with the supply at its ${amps(Math.min(...set_A))} limit: a short, or near it, from ${rail.name} to chassis.`
}

/** Heaters that draw too much: which fault would. */
function fitsToo(d: Draft, rail: RailPlan, measured: number, limits: RailLimits): string {
  const fits = heaterFits(d, rail.name, measured - limits.expected_A)
  return fits === '' ? '' : ` ${fits}.`
}

function judgeCeiling(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const measured = state.A?.value ?? 0
  const ceiling_A = ceilingNow_A(d.s, step, rail, state, limits)
  if (measured <= ceiling_A) return
  const soft = inSoftStart(d.s, step, rail.name, state)
  const charge_A = soft ? 0 : chargeNow_A(d, step, rail, state, limits)
  broke(d, {
    code: 'over-ceiling',
    rail: rail.name,
    measured,
    limit: ceiling_A,
    unit: 'A',
    text: () =>
      `${collapsed(d, rail, state, limits) ?? `${drew(rail, state)}, above the ceiling of ${amps(ceiling_A)}.`} ${
        soft && ceiling_A === coldCeiling_A(limits)
          ? `While its heaters are cold that is the supply's own limit of ${amps(limits.supply_limit_A)}, and 2 %.`
          : reasonText(d.s, rail.name, 'ceiling', charge_A)
      }`,
  })
}

function judgeCurrent(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  judgeCeiling(d, step, rail, state, limits)
  const measured = state.A?.value ?? 0
  const soft = inSoftStart(d.s, step, rail.name, state)
  const charge_A = chargeNow_A(d, step, rail, state, limits)
  // Words only once something is wrong: this runs for every reading, and on the way to an OFF.
  const at = (): string => drew(rail, state)
  const why = (): string => reasonText(d.s, rail.name, 'trip', charge_A)

  if (
    lasting(
      d,
      state,
      'over-trip',
      !soft && measured > (limits.trip_A + charge_A) * tripAt(d.s, 'over-trip', 1),
    )
  ) {
    broke(d, {
      code: 'over-trip',
      rail: rail.name,
      measured,
      limit: limits.trip_A + charge_A,
      unit: 'A',
      text: () =>
        `${collapsed(d, rail, state, limits) ?? `${at()}, above the trip of ${amps(limits.trip_A + charge_A)}.`} ${why()}${fitsToo(d, rail, measured, limits)}`,
    })
  }

  const limiting = isLimiting(d.s, rail, measured, limits, isCharging(d.s, step, rail, state))
  if (lasting(d, state, 'current-limit', limiting && !soft)) {
    broke(d, {
      code: 'current-limit',
      rail: rail.name,
      measured,
      limit: limits.supply_limit_A,
      unit: 'A',
      text: () =>
        collapsed(d, rail, state, limits) ??
        `The supply of ${rail.name} is holding the current at its limit (${amps(limits.supply_limit_A)}) at ${volts(state.V?.value ?? 0)}, set to ${volts(state.set_V)}: the set wants more than this step allows. ${why()}`,
    })
  }
  const oldest = state.recent[0]
  if (
    oldest &&
    !soft &&
    !tellsDrive(d, rail.name, measured) &&
    d.s.t_us - state.set_us >= for_us(d.s, 'rising', 20) &&
    oldest.t_us >= state.set_us
  ) {
    const margin = Math.max(3 * resolution(d.s, rail).A, tripAt(d.s, 'rising', 0.03) * limits.expected_A)
    if (measured - oldest.value > margin && measured > limits.upper_A) {
      broke(d, {
        code: 'rising',
        rail: rail.name,
        measured,
        limit: limits.upper_A,
        unit: 'A',
        text: () =>
          `${rail.name} rose from ${amps(oldest.value)} to ${amps(measured)} in ${Math.round((d.s.t_us - oldest.t_us) / 1e6)} s with its set-point unchanged, and stands above its band (${amps(limits.upper_A)}): a tube running away by heat or gas, or a part breaking down.`,
      })
    }
  }
}

function judgeOverVolts(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits): void {
  const measured = state.V?.value ?? 0
  const slack = 3 * accuracy(d.s, rail, state.set_V, 0).V + resolution(d.s, rail).V
  const top_V = Math.max(limits.over_voltage_V, state.set_V + limits.over_voltage_V - limits.at_V) + slack
  // A knob has its own window (judgeKnob): no supply of ours holds it.
  if (rail.class !== 'programmed' || limits.over_voltage_V <= 0 || measured <= top_V) return
  broke(d, {
    code: 'over-ceiling',
    rail: rail.name,
    measured,
    limit: top_V,
    unit: 'V',
    text: () =>
      `${rail.name} stands at ${volts(measured)}, above its over-voltage level of ${volts(limits.over_voltage_V)}: the supply is not holding its set-point.`,
  })
}

function judgeVolts(d: Draft, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): void {
  judgeOverVolts(d, rail, state, limits)
  const measured = state.V?.value ?? 0
  const error = accuracy(d.s, rail, state.set_V, 0).V
  const step_V = resolution(d.s, rail).V
  if (rail.class === 'watched') {
    judgeKnob(d, rail, state, limits, error + step_V)
    return
  }
  const rising = step.rail === rail.name && isRising(d.s, step)
  const soft = inSoftStart(d.s, step, rail.name, state)
  const lowering = comesDown(d.s, state)
  if (!rising && !soft && !lowering) {
    const tolerance = Math.max(3 * error, tripAt(d.s, 'off-set-point', 0.02) * state.set_V, step_V)
    const settledIn = d.s.t_us - state.set_us > us(1)
    if (lasting(d, state, 'off-set-point', settledIn && Math.abs(measured - state.set_V) > tolerance)) {
      broke(d, {
        code: 'off-set-point',
        rail: rail.name,
        measured,
        limit: state.set_V,
        unit: 'V',
        text: () =>
          `${rail.name} stands at ${volts(measured)} though it is set to ${volts(state.set_V)}: a supply that dropped out, a lead, or a load it cannot hold.`,
      })
    }
  }
  if (rising && !lowering) {
    // A set-point on its way may have arrived already; above that and one step of the ramp nothing may stand.
    const top_V = asked_V(d.s, rail, state) + 3 * error + Math.max(step_V, step.slew_V_per_s * raiseEvery_s)
    if (lasting(d, state, 'off-set-point', measured > top_V, ' on the way up')) {
      broke(d, {
        code: 'off-set-point',
        rail: rail.name,
        measured,
        limit: top_V,
        unit: 'V',
        text: () =>
          `${rail.name} stands at ${volts(measured)} on its way up though it is set to ${volts(state.set_V)} so far: the supply is not holding its set-point, or something else feeds its leads.`,
      })
    }
  }
  if (rising && d.s.part === 'ramp' && !soft) {
    const first = state.rise[0]
    const span_s = first ? (d.s.t_us - first.t_us) / 1e6 : 0
    const wanted = tripAt(d.s, 'slow-rise', 0.5) * step.slew_V_per_s * span_s
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
        text: () =>
          `${rail.name} rises at ${((measured - first.value) / span_s).toFixed(2)} V/s instead of ${step.slew_V_per_s.toFixed(2)} V/s: something holds it down.`,
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
      text: () =>
        `${rail.name} stands at ${volts(measured)}; this step allows ${volts(limits.at_V)} and 5 % beyond it at most: its knob was turned too far.`,
    })
  }
}
