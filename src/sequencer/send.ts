import type { LineRequestBody } from '../exchange/index.js'
import { broke } from './breach.js'
import type { Draft, State } from './state.js'
import { channelOf, currentStep, hookedUp } from './state.js'
import type { RecordedEvent } from './types.js'
import { volts } from './words.js'

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
  d.s.pending[id] = { channel, request, t_us: d.s.t_us }
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
  if (request.do === 'set' && state.set_V !== null && request.volts <= state.set_V && s.phase !== 'waiting')
    return null

  const step = currentStep(s)
  if (s.begun_us === null) return 'cautions were not acknowledged in this start.'
  if (s.phase !== 'running' || !step)
    return `the run is over, so ${channel} may not be raised or switched on.`
  if (request.do === 'limits') return null

  if (!hookedUp(s)) return 'the hook-up was not confirmed in this start.'
  if (s.intent?.recorded !== true) return `the intent of this segment is not in the record yet.`
  if (state.limits_step !== step.index) return `limits of ${channel} were not read back for this segment.`
  if (request.do === 'on') {
    if (s.prompt && s.prompt.purpose.kind !== 'polarity') return 'a question is open.'
    return null
  }

  const rail_V = request.volts / plan.share
  const top_V = step.hookup ? Math.min(5, step.hookup.test_V) : Math.min(step.target_V, rail.max_V, 600)
  if (rail_V > top_V + plan.resolution_V) return `${volts(rail_V)} on ${rail.name} is above ${volts(top_V)}.`
  if (request.volts > plan.max_V) return `${volts(request.volts)} is above what ${channel} is rated for.`
  if (s.prompt) return 'a question is open, so nothing rises.'
  if (rail_V > 60 && s.hands_in) return 'hands are not clear since the last question.'
  if (step.needs_heaters && !heatersReady(s)) return 'heaters have not been in band for their warm-up time.'
  return null
}

/** Every heater chain's rail in band for the chain's warm-up time. Hand rails count by their two typed readings (run.ts). */
export function heatersReady(s: State): boolean {
  return s.plan.heaters.every((watch) => {
    const since = s.rails[watch.rail]?.good_since_us ?? null
    return since !== null && s.t_us - since >= watch.warm_up_s * 1e6
  })
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
