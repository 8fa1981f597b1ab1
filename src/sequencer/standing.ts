import type { RailPlan, Step } from '../plan/index.js'
import { record, send } from './send.js'
import type { Draft } from './state.js'
import { amps } from './words.js'

/**
 * The supply's own limits of rails that stand while another moves or a control is turned. They bound what happens when
 * everything else has failed, so they follow the step too: room is made before what needs it, and taken back in the hold.
 */

interface Wanted {
  readonly rail: RailPlan
  readonly channel: string
  readonly limit_A: number
  readonly over_voltage_V: number | null
}

/** Channels whose supply limit or over-voltage level is not as this step wants it. `room`: only what must be wider. */
function differing(d: Draft, step: Step, how: 'room' | 'step'): Wanted[] {
  const list: Wanted[] = []
  // Asked at every reading: no list of rails is made for it.
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const limits = step.limits[name]
    const state = d.s.rails[name]
    if (
      !rail ||
      !limits ||
      !state?.energised ||
      limits.at_V <= 0 ||
      (how === 'room' && rail.name === step.rail)
    )
      continue
    for (const part of rail.channels) {
      const channel = d.s.channels[part.channel]
      if (channel?.output !== 'on' || channel.limit_A === null) continue
      const own = limitsFor(part, limits)
      const limit_A = wider(channel.limit_A, own.limit_A, how) ?? own.limit_A
      const over_voltage_V = wider(channel.over_V, own.over_voltage_V, how)
      if (limit_A === channel.limit_A && over_voltage_V === channel.over_V) continue
      list.push({ rail, channel: part.channel, limit_A, over_voltage_V })
    }
  }
  return list
}

const wider = (now: number | null, next: number | null, how: 'room' | 'step'): number | null =>
  now === null || next === null || how === 'step' ? next : Math.max(now, next)

/** What a step's limits mean for one channel of its rail. */
export function limitsFor(
  part: RailPlan['channels'][number],
  limits: Step['limits'][string],
): { readonly limit_A: number; readonly over_voltage_V: number | null } {
  return {
    limit_A: Math.max(limits.supply_limit_A, part.min_A),
    over_voltage_V:
      part.over_voltage && limits.over_voltage_V > 0
        ? Math.min(part.max_V, limits.over_voltage_V * part.share)
        : null,
  }
}

/** Sets them one channel after another, with fresh readings between. True when all are as wanted. */
export function limitsStand(d: Draft, step: Step, how: 'room' | 'step'): boolean {
  const next = differing(d, step, how)[0]
  if (!next) return true
  const busy = Object.values(d.s.pending).some((pending) => pending.request.do === 'limits')
  if (busy || !readSince(d, d.s.limits_us)) return false
  send(d, next.channel, { do: 'limits', limit_A: next.limit_A, over_voltage_V: next.over_voltage_V })
  return false
}

/** In a step that raises nothing: its intent first, as for a raise, where a limit must widen. */
export function roomMade(d: Draft, step: Step): boolean {
  const open = differing(d, step, 'room')
  if (open.length === 0) return true
  if (d.s.intent === null) {
    const intent = d.s.next_intent++
    d.s.intent = { id: intent, recorded: false }
    const told = open.map((each) => `${each.rail.name} (${each.channel}) ${amps(each.limit_A)}`)
    record(d, 'intent', `Widen supply limits for ${step.stage}: ${told.join(', ')}.`, {
      intent,
      data: {
        channels: open.map(({ channel, limit_A, over_voltage_V }) => ({ channel, limit_A, over_voltage_V })),
      },
    })
  }
  return d.s.intent.recorded && limitsStand(d, step, 'room')
}

function readSince(d: Draft, t_us: number): boolean {
  return Object.values(d.s.plan.rails).every((rail) => {
    const state = d.s.rails[rail.name]
    if (rail.class !== 'programmed' || !state?.energised) return true
    return (state.V?.t_us ?? 0) > t_us && (state.A?.t_us ?? 0) > t_us
  })
}
