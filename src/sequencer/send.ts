import type { LineRequestBody } from '../exchange/index.js'
import type { ChannelPlan, RailPlan, Step } from '../plan/index.js'
import { broke } from './breach.js'
import { inputObjection } from './input-state.js'
import { biasReady, heatersReady } from './interlocks.js'
import { riseAllowed_V } from './slew.js'
import type { ChannelState, Draft, State } from './state.js'
import { channelOf, currentStep, hookedUp, off_V, touch_V } from './state.js'
import type { RecordedEvent } from './types.js'
import { amps, volts } from './words.js'

/**
 * The one door to the line. Every request passes the invariants here, whatever part of the sequencer made it; one that would
 * break them is not sent and the run makes safe.
 */
export function send(d: Draft, channel: string, request: LineRequestBody): void {
  const objection = objectionTo(d.s, channel, request)
  if (objection !== null) {
    broke(d, { code: 'invariant', text: `Not sent, because it must never be: ${objection}` })
    return
  }
  const id = d.s.next_id++
  d.s.pending = { ...d.s.pending, [id]: { channel, request, t_us: d.s.t_us } }
  const state = d.s.channels[channel]
  if (state && request.do === 'set') state.setting = request.volts
  if (state && request.do === 'on') {
    // It may happen from now on, whatever the reply.
    state.output = 'unknown'
    const found = channelOf(d.s, channel)
    const rail = found ? d.s.rails[found.rail.name] : undefined
    if (rail) {
      rail.energised = true
      rail.on_us = d.s.t_us
    }
    d.s.ever_energised = true
  }
  d.out.push({ kind: 'line', id, channel, ...request })
}

/** Why a request must never be sent now; null when it may. */
function objectionTo(s: State, channel: string, request: LineRequestBody): string | null {
  const found = channelOf(s, channel)
  if (!found) return `${channel} is not in the plan.`
  if (request.do === 'off' || request.do === 'zero') return null
  const { rail, plan, state } = found
  const railState = s.rails[rail.name]
  if (!railState) return `${rail.name} is not in the plan.`
  if (request.do === 'set' && s.phase !== 'waiting') {
    // Lowering, and the lowest there is: never more than what stands, whatever that was.
    if (request.volts <= (state.set_V ?? plan.min_V)) return null
  }

  const step = currentStep(s)
  if (request.do === 'starve') return starveObjection(s, step, channel)
  if (request.do === 'panel')
    return request.to === 'computer' || s.off?.rests?.result.outputs_off === 'confirmed'
      ? null
      : `the panel of ${channel} is given back only once every output is confirmed off.`
  if (request.do === 'disarm')
    return s.off?.rests
      ? null
      : `the dead-man of ${channel} rests only once every output is confirmed off, or where the bias stays on.`
  if (s.begun_us === null) return 'cautions were not acknowledged in this start.'
  if (s.phase !== 'running' || !step)
    return `the run is over, so ${channel} may not be raised or switched on.`
  if (request.do === 'limits' && narrows(request, state)) return null

  if (!hookedUp(s)) return 'the hook-up was not confirmed in this start.'
  if (s.intent?.recorded !== true) return `the intent of this segment is not in the record yet.`
  if (request.do === 'limits') return limitsObjection(step, found, request)
  if (state.limits_step !== step.index) return `limits of ${channel} were not read back for this segment.`
  if (request.do === 'on') {
    if (s.prompt && s.prompt.purpose.kind !== 'polarity') return 'a question is open.'
    return step.hookup ? null : interlockObjection(s, step)
  }

  const rail_V = request.volts / plan.share
  const top_V = step.hookup ? Math.min(5, step.hookup.test_V) : Math.min(step.target_V, rail.max_V, 600)
  if (rail_V > top_V + plan.resolution_V)
    return `${volts(rail_V)} on ${rail.name} is ${volts(rail_V - top_V)} above ${volts(top_V)}.`
  if (request.volts > plan.max_V) return `${volts(request.volts)} is above what ${channel} is rated for.`
  if (s.prompt) return 'a question is open, so nothing rises.'
  if (rail_V > 60 && s.hands_in) return 'hands are not clear since the last question.'
  // The hook-up check sets its few volts at once, with the output off.
  if (step.hookup) return state.output === 'off' ? null : `${channel} is not off.`
  // What is sent is rounded down to whole digits, so this leaves room for the arithmetic alone.
  if (request.volts > riseAllowed_V(s, step, rail, railState) * plan.share + 1e-5)
    return `${rail.name} would rise faster than ${step.slew_V_per_s} V/s.`
  return interlockObjection(s, step)
}

/**
 * A supply is left without food only to prove that it notices: at volts that may be touched with nothing but a load on it, at those
 * of a hook-up test with a set.
 */
function starveObjection(s: State, step: Step | null, channel: string): string | null {
  const { proof } = step ?? {}
  if (proof?.of !== 'dead-man' || proof.channel !== channel)
    return `the dead-man of ${channel} is left unfed in its own proof only.`
  if (s.intent?.recorded !== true) return 'the intent of this segment is not in the record yet.'
  const most_V = s.plan.kind === 'qualify' ? touch_V : off_V
  return (step?.target_V ?? 0) > most_V ? `the dead-man is proved below ${volts(most_V)} only.` : null
}

function interlockObjection(s: State, step: Step): string | null {
  if (step.needs_heaters && !heatersReady(s)) return 'heaters have not been in band for their warm-up time.'
  if (step.needs_bias && !biasReady(s)) return 'the bias does not stand where the set needs it.'
  if (inputObjection(s, step) !== null) return 'a watched input is beyond its limit, or not read.'
  return null
}

type Limits = Extract<LineRequestBody, { do: 'limits' }>

/** Neither current nor over-voltage level goes above what was read back before. */
function narrows(request: Limits, state: ChannelState): boolean {
  if (state.limit_A === null || request.limit_A > state.limit_A) return false
  return request.over_voltage_V === null
    ? state.over_V === null
    : state.over_V !== null && request.over_voltage_V <= state.over_V
}

/** A supply's own limit is what is left when all else has failed: never wider than the step says, or than it stood. */
function limitsObjection(
  step: Step,
  { rail, plan, state }: { rail: RailPlan; plan: ChannelPlan; state: ChannelState },
  request: Limits,
): string | null {
  const own = step.limits[rail.name]
  const step_A = step.hookup ? step.hookup.limit_A : own?.supply_limit_A
  if (step_A === undefined) return `step ${step.index} has no limits for ${rail.name}.`
  const most_A = Math.max(step_A, plan.min_A, state.limit_A ?? 0)
  if (request.limit_A > Math.min(most_A, plan.max_A))
    return `a supply limit of ${amps(request.limit_A)} on ${plan.channel} is above ${amps(Math.min(most_A, plan.max_A))}.`
  if ((request.over_voltage_V ?? 0) > plan.max_V)
    return `an over-voltage level of ${volts(request.over_voltage_V ?? 0)} is above what ${plan.channel} is rated for.`
  return null
}

export function record(
  d: Draft,
  what: RecordedEvent['what'],
  text: string,
  more: Partial<RecordedEvent> = {},
): void {
  const step = currentStep(d.s)
  d.out.push({
    kind: 'record',
    entry: { what, text, rail: null, step: step ? step.index : null, intent: null, data: {}, ...more },
  })
}

export function warn(d: Draft, text: string, rail: string | null): void {
  if (d.s.warnings.includes(text)) return
  d.s.warnings = [...d.s.warnings, text]
  record(d, 'warning', text, { rail })
  d.out.push({ kind: 'notice', text })
}
