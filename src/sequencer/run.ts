import type { RailPlan, Step } from '../plan/index.js'
import { forgetTypedBias, renewsTypedBias } from './bias-gate.js'
import { gateOpen, handsAreClear } from './gates.js'
import { holdAndSettle, nextStep } from './hold.js'
import { advanceHookup } from './hookup.js'
import { broke } from './breach.js'
import { htIsOn, isLimiting, mayNotBeTouched } from './in-force.js'
import { inputsAllow } from './inputs.js'
import { askToTurn, renewHandReadings } from './knob.js'
import { mercuryAnswered } from './mercury.js'
import { makeOff } from './off.js'
import { heatersLow } from './low-heaters.js'
import { ask } from './prompts.js'
import { advanceProof } from './prove.js'
import { biasReady, heatersReady } from './interlocks.js'
import { asideAsk, turnsAside } from './reform.js'
import { record, send } from './send.js'
import { riseAllowed_V, raiseEvery_s, scale } from './slew.js'
import { limitsFor, limitsStand, roomMade } from './standing.js'
import { outputsProved } from './start.js'
import type { Draft, RailState, StepPart } from './state.js'
import { accuracy, currentStep, enter, resolution, touch_V, touchOf, us } from './state.js'
import { wiresConfirmed } from './wires.js'
import { amps, volts } from './words.js'

/** How a step goes forward: gate, hands clear, intent on disk, limits read back, on, ramp, arrive, hold, settle, judge. */

/** Heaters count as out of the current limit once all readings of this long, or the last few of a slow line, say so. Our choice. */
const easedFor_s = 2
const easedReadings = 3

export function advance(d: Draft): void {
  // One event may finish several parts; a bound keeps it total.
  for (let i = 0; i < 12; i++) {
    const { step, part } = d.s
    advanceOnce(d)
    const stands = d.s.step === step && d.s.part === part
    if (stands || d.broken.length > 0 || !isRunning(d)) return
  }
}

/** An event may have ended it meanwhile. */
const isRunning = (d: Draft): boolean => d.s.phase === 'running'

/** Where a step can stand still for a question under HT. */
const mayPause: ReadonlySet<StepPart> = new Set(['gate', 'ramp', 'hold', 'settle'])

/** True while a reading that a person typed is asked for again: a slow ramp outlives its fifteen minutes as a hold does. */
function renewsReadings(d: Draft, step: Step): boolean {
  if (d.s.prompt) return d.s.prompt.purpose.kind === 'bias' || d.s.prompt.purpose.kind === 'renew'
  return renewsTypedBias(d) || renewHandReadings(d, step)
}

function advanceOnce(d: Draft): void {
  const step = currentStep(d.s)
  if (!step) {
    makeOff(d, 'run down', 'completed', null)
    return
  }
  if (!outputsProved(d) || !wiresConfirmed(d) || !mercuryAnswered(d)) return
  if (turnsAside(d)) return
  if (mayPause.has(d.s.part) && step.do !== 'lower' && renewsReadings(d, step)) return
  if (step.do === 'hook-up check') {
    if (step.hookup?.method === 'low volts' && !intentRecorded(d, step)) return
    advanceHookup(
      d,
      step,
      (part) => {
        enter(d, part)
      },
      () => {
        nextStep(d, step)
      },
    )
    return
  }
  if (step.do === 'prove') {
    if (intentRecorded(d, step)) advanceProof(d, step)
    return
  }
  if (d.s.part === 'gate' && (step.do === 'ask' || step.do === 'hold') && !roomMade(d, step)) return
  if (step.do === 'ask') {
    if (d.s.part === 'gate' && step.ask) {
      if (step.ask.about.startsWith('clear ') && !d.s.latched) {
        nextStep(d, step)
        return
      }
      if (step.ask.inside) {
        const stands = Object.values(d.s.plan.rails).find((rail) => mayNotBeTouched(d.s, rail))
        if (stands !== undefined || htIsOn(d.s)) {
          broke(d, {
            code: 'invariant',
            text: `Step ${step.index} asks for a hand inside the set while ${stands?.name ?? 'HT'} stands above ${touch_V} V.`,
          })
          return
        }
      }
      ask(d, { kind: 'step' }, asideAsk(d.s, step) ?? step.ask)
      enter(d, 'asking')
    }
    return
  }
  if (step.do === 'hold' || step.rail === null) {
    if (d.s.part === 'gate') {
      enter(d, 'hold')
      record(d, 'step', `${step.stage}: holding ${Math.round(step.hold_s)} s.`)
    }
    holdAndSettle(d, step)
    return
  }
  const rail = d.s.plan.rails[step.rail]
  const state = d.s.rails[step.rail]
  if (!rail || !state) {
    broke(d, { code: 'invariant', text: `Step ${step.index} moves a rail that is not in the plan.` })
    return
  }
  if (step.do === 'lower') {
    forgetTypedBias(d, rail)
    lower(d, step, rail, state)
  } else if (rail.class === 'programmed') raiseProgrammed(d, step, rail, state)
  else turnByKnob(d, step, rail)
}

function intentRecorded(d: Draft, step: Step): boolean {
  if (d.s.part !== 'gate' && d.s.part !== 'hands' && d.s.part !== 'intent') return true
  if (d.s.part !== 'intent') {
    const intent = d.s.next_intent++
    d.s.intent = { id: intent, recorded: false }
    const rail = step.rail ?? step.hookup?.rail ?? null
    const limits = rail === null ? null : (step.limits[rail] ?? null)
    record(
      d,
      'intent',
      step.proof
        ? `Prove on ${step.proof.channel}: ${step.proof.of}. ${step.proof.because}`
        : step.hookup
          ? `Prove the hook-up of ${step.hookup.channel} at ${volts(step.hookup.test_V)}, limit ${amps(step.hookup.limit_A)}.`
          : `${step.do === 'lower' ? 'Lower' : 'Raise'} ${rail ?? ''} from ${volts(rail === null ? 0 : (d.s.rails[rail]?.set_V ?? 0))} to ${volts(step.target_V)} ${
              rail !== null && d.s.plan.rails[rail]?.class !== 'programmed'
                ? 'by its knob; slowglow does not limit it'
                : `at ${step.slew_V_per_s} V/s, supply limit ${amps(limits?.supply_limit_A ?? 0)}`
            }.`,
      { rail, intent, data: { target_V: step.target_V, slew_V_per_s: step.slew_V_per_s, limits } },
    )
    enter(d, 'intent')
  }
  return d.s.intent?.recorded === true
}

function raiseProgrammed(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  const limits = step.limits[rail.name]
  if (!limits) {
    broke(d, { code: 'invariant', text: `Step ${step.index} would raise ${rail.name} without limits.` })
    return
  }
  switch (d.s.part) {
    case 'gate':
      if (!gateOpen(d, step, rail)) return
      enter(d, 'hands')
      return
    case 'hands':
      if (handsAreClear(d, step)) intentRecorded(d, step)
      return
    case 'intent':
      // Hands and record may have taken minutes: the interlocks are looked at once more.
      if (d.s.intent?.recorded && gateOpen(d, step, rail)) enter(d, isOn(d, rail) ? 'limits' : 'first set')
      return
    case 'first set': {
      // Before the limits: many supplies refuse an over-voltage level below a set-point left from another run.
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.set_V !== part.min_V)
      if (open.length === 0) enter(d, 'limits')
      else if (isIdle(d, rail))
        for (const part of open) send(d, part.channel, { do: 'set', volts: part.min_V })
      return
    }
    case 'limits': {
      if (!limitsStand(d, step, 'room')) return
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.limits_step !== step.index)
      if (open.length === 0) enter(d, isOn(d, rail) ? 'ramp' : 'on')
      else if (isIdle(d, rail))
        for (const part of open) send(d, part.channel, { do: 'limits', ...limitsFor(part, limits) })
      return
    }
    case 'on': {
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.output !== 'on')
      if (open.length === 0) {
        enter(d, 'ramp')
      } else if (isIdle(d, rail) && gateOpen(d, step, rail)) {
        state.on_us = d.s.t_us
        for (const part of open) send(d, part.channel, { do: 'on' })
      }
      return
    }
    case 'ramp':
      // A question came in mid-ramp: interlocks, "hands clear" and intent once more before the rest of the rise.
      if (d.s.hands_in && step.target_V > touch_V) {
        enter(d, 'gate')
        return
      }
      if (isIdle(d, rail)) ramp(d, step, rail, state)
      return
    case 'arrive':
      arrive(d, step, rail, state)
      return
    default:
      holdAndSettle(d, step)
  }
}

/** Nothing asked of its channels is still on its way. */
const isIdle = (d: Draft, rail: RailPlan): boolean =>
  !Object.values(d.s.pending).some((pending) =>
    rail.channels.some((part) => part.channel === pending.channel),
  )

const isOn = (d: Draft, rail: RailPlan): boolean =>
  rail.channels.every((part) => d.s.channels[part.channel]?.output === 'on')

/** One raise, as far as the slew allows, rounded down to what can be set. */
function ramp(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  // Heaters or bias that leave their band hold the rise; whether they are lost is judged by their own rules.
  if (step.needs_heaters && !heatersReady(d.s)) {
    heatersLow(d, step)
    return
  }
  if (step.needs_bias && !biasReady(d.s)) return
  if (!inputsAllow(d, step)) return
  if (d.s.t_us - Math.max(state.set_us, d.s.part_us) < us(raiseEvery_s) && state.set_V > 0) return
  const wanted = riseAllowed_V(d.s, step, rail, state)
  const sets: { channel: string; volts: number }[] = []
  for (const part of rail.channels) {
    const digits = scale(part.set_digits_V)
    const down = Math.floor(wanted * part.share * digits + 1e-6) / digits
    const before = d.s.channels[part.channel]?.set_V ?? 0
    if (down > before) sets.push({ channel: part.channel, volts: down })
  }
  if (sets.length > 0) {
    for (const set of sets) send(d, set.channel, { do: 'set', volts: set.volts })
    return
  }
  const atTarget = rail.channels.every((part) => {
    const digits = scale(part.set_digits_V)
    return (
      (d.s.channels[part.channel]?.set_V ?? 0) >=
      Math.floor(step.target_V * part.share * digits + 1e-6) / digits
    )
  })
  if (atTarget) enter(d, 'arrive')
}

function arrive(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  const tolerance = Math.max(
    3 * accuracy(d.s, rail, step.target_V, 0).V,
    0.015 * step.target_V,
    2 * resolution(d.s, rail).V,
  )
  const sample = state.V
  const eased = step.soft_start_s === 0 || hasEased(d, step, rail, state)
  if (sample && sample.t_us > d.s.part_us && Math.abs(sample.value - state.set_V) <= tolerance && eased) {
    state.breaking = {}
    enter(d, 'hold')
    return
  }
  if (step.soft_start_s > 0) {
    const since_us = d.s.t_us - Math.max(state.on_us ?? 0, d.s.step_us)
    if (since_us > us(step.soft_start_s)) {
      broke(d, {
        code: 'soft-start',
        rail: rail.name,
        measured: since_us / 1e6,
        limit: step.soft_start_s,
        unit: 's',
        text: `${rail.name} stands at ${volts(sample?.value ?? 0)} and ${amps(state.A?.value ?? 0)}, ${Math.round(since_us / 1e6)} s after its heaters were switched on or raised; they should have warmed within ${step.soft_start_s.toFixed(0)} s. A short, or a heater of another rating.`,
      })
    }
    return
  }
  // A reading from before the set-point says nothing of where it stands now: silence is judged by its own rule.
  if (sample && sample.t_us > d.s.part_us && d.s.t_us - d.s.part_us > us(10)) {
    broke(d, {
      code: 'off-set-point',
      rail: rail.name,
      measured: sample.value,
      limit: state.set_V,
      unit: 'V',
      text: `${rail.name} was set to ${volts(state.set_V)} and stands at ${volts(sample.value)} after 10 s.`,
    })
  }
}

/**
 * Heaters that reach their volts in current limit are still cooler than hot: not there yet. Their current leaves the limit
 * slowly, and the noise of one reading must not pass for it: the hold that follows would then trip on the next.
 */
function hasEased(d: Draft, step: Step, rail: RailPlan, state: RailState): boolean {
  const limits = step.limits[rail.name]
  if (limits === undefined) return false
  const within = state.recent.filter(({ t_us }) => t_us > d.s.t_us - us(easedFor_s))
  const late = within.length < easedReadings ? state.recent.slice(-easedReadings) : within
  return (
    state.A !== null &&
    late.length >= easedReadings &&
    [...late, state.A].every(
      ({ value }) => value <= limits.trip_A && !isLimiting(d.s, rail, value, limits, false),
    )
  )
}

function lower(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  if (rail.class !== 'programmed') {
    turnByKnob(d, step, rail)
    return
  }
  if (d.s.part === 'gate') {
    for (const part of rail.channels) send(d, part.channel, { do: 'set', volts: step.target_V * part.share })
    enter(d, 'arrive')
    return
  }
  if (d.s.part !== 'arrive') {
    holdAndSettle(d, step)
    return
  }
  const sample = state.V
  const near = 0.02 * step.target_V + 2 * resolution(d.s, rail).V
  if (sample && sample.t_us > d.s.part_us && sample.value <= step.target_V + near) enter(d, 'hold')
  else if (d.s.t_us - d.s.part_us > us(120)) {
    broke(d, {
      code: 'off-set-point',
      rail: rail.name,
      measured: sample?.value ?? 0,
      limit: step.target_V,
      unit: 'V',
      text: `${rail.name} was lowered to ${volts(step.target_V)} and still stands at ${volts(sample?.value ?? 0)} two minutes later.`,
    })
  }
}

/** Watched and hand rails: a person turns the knob, slowglow judges what is measured or typed. */
function turnByKnob(d: Draft, step: Step, rail: RailPlan): void {
  switch (d.s.part) {
    case 'gate':
      if (!gateOpen(d, step, rail)) return
      enter(d, 'hands')
      return
    case 'hands':
      if (handsAreClear(d, step)) intentRecorded(d, step)
      return
    case 'intent':
      // Hands and record may have taken minutes: the interlocks are looked at once more.
      if (!d.s.intent?.recorded || !gateOpen(d, step, rail)) return
      if (d.s.hands_in && step.target_V > touchOf(rail)) {
        enter(d, 'gate')
        return
      }
      if (!limitsStand(d, step, 'room')) return
      askToTurn(d, step, rail)
      enter(d, 'asking')
      return
    case 'asking':
      return
    default:
      holdAndSettle(d, step)
  }
}
