import type { RailRole } from '../equipment/index.js'
import { isHotRole, type OffPlan } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import type { Draft, OffRail, OffState, RailOff, Sample } from './types.js'

/** Drive, then screen, then HT; heaters and bias by rule. */
const order: readonly RailRole[] = ['drive', 'screen', 'other', 'HT', 'heater', 'bias']

/** The plan's channels joined to rails (stacked channels add up), and the rails on knobs, in the order of going off. */
export function railsOf(plan: OffPlan): readonly OffRail[] {
  const rails = new Map<string, OffRail>()
  for (const channel of plan.channels) {
    const known = rails.get(channel.rail)
    rails.set(channel.rail, {
      name: channel.rail,
      role: channel.role,
      class: 'programmed',
      channels: [...(known?.channels ?? []), channel],
      volts_meter: null,
      amps_meter: null,
      resolution_V: (known?.resolution_V ?? 0) + channel.resolution_V,
      no_A: Math.max(known?.no_A ?? 0, channel.resolution_A, channel.zero_A),
      expected_fall: channel.expected_fall,
      stale_s:
        channel.stale_s === undefined ? null : Math.max(known?.stale_s ?? channel.stale_s, channel.stale_s),
    })
  }
  for (const knob of plan.knobs ?? []) {
    rails.set(knob.rail, {
      name: knob.rail,
      role: knob.role,
      class: knob.class,
      channels: [],
      volts_meter: knob.volts_meter,
      amps_meter: knob.amps_meter,
      resolution_V: 0.1,
      no_A: knob.no_A,
      expected_fall: null,
      stale_s: knob.stale_s ?? null,
    })
  }
  return [...rails.values()].sort((a, b) => order.indexOf(a.role) - order.indexOf(b.role))
}

export const isHot = (rail: OffRail): boolean => isHotRole(rail.role)
export const isHeater = (rail: OffRail): boolean => rail.role === 'heater'
export const isBias = (rail: OffRail): boolean => rail.role === 'bias'
/** Before HT in a run-down. */
export const isFirst = (rail: OffRail): boolean => rail.role === 'drive' || rail.role === 'screen'

/** Terminal volts that count as off (invariant 8). */
export const off_V = 5
/** In a row, before anything is believed. */
export const samples = 3
/** Times the stale limit: an older reading says nothing about now. */
export const fresh = 2

/** Whether its volts were read so lately that they say something about now. */
export function isFresh(d: Draft, plan: OffPlan, rail: OffRail, V: Sample): boolean {
  return d.s.t_us - V.t_us <= us(fresh * (rail.stale_s ?? plan.stale_s))
}

export const us = (seconds: number): number => Math.round(seconds * 1e6)

export const volts = (value: number): string => formatShort(value, 'V')

export const untold: RailOff = {
  first_us: null,
  given_us: null,
  V: null,
  from: null,
  down_us: null,
  quiet: 0,
  loud: 0,
  low: 0,
  gone: 0,
  fall: [],
  lowest_V: null,
  confirmed_us: null,
  retracted: 0,
  escalations: 0,
  escalated_us: null,
  alarmed_us: null,
}

export function of(s: OffState, rail: OffRail): RailOff {
  return s.rails[rail.name] ?? untold
}

export function change(d: Draft, rail: OffRail, to: Partial<RailOff>): void {
  d.s.rails = { ...d.s.rails, [rail.name]: { ...of(d.s, rail), ...to } }
}

export function isConfirmed(s: OffState, rail: OffRail): boolean {
  return rail.class === 'hand' ? isDownByHand(s, rail) : typeof s.confirmed[rail.name] === 'string'
}

/** Never turned up as far as anybody knows, or read as off by a person. */
export function isDownByHand(s: OffState, rail: OffRail): boolean {
  return (s.knobs[rail.name] ?? 'unknown') === 'down' || typeof s.hand[rail.name] === 'number'
}

/** Hands are asked for in the order of going off: heaters and bias only when their own rule lets them go. */
export function nextHand(s: OffState, rails: readonly OffRail[]): string | null {
  if (!s.asks) return null
  for (const rail of rails) {
    if (rail.class !== 'hand' || isDownByHand(s, rail) || s.hand[rail.name] !== undefined) continue
    if (isHeater(rail) && s.heaters_off_us === null) continue
    if (isBias(rail) && s.bias_released_by === null) continue
    return rail.name
  }
  return null
}

export function record(
  d: Draft,
  rail: string | null,
  text: string,
  data: Readonly<Record<string, unknown>> = {},
): void {
  d.out.push({ do: 'record', rail, text, data })
}

/** Whether its current comes by itself: from its channels, or from an ammeter on a line. */
export const hasAmps = (rail: OffRail): boolean => rail.channels.length > 0 || rail.amps_meter !== null

/** Gives OFF to programmed rails; for one on a knob a person is called. */
export function give(d: Draft, which: readonly OffRail[], how: 'urgent' | 'run down'): void {
  const channels: string[] = []
  for (const rail of which) {
    const known = of(d.s, rail)
    change(d, rail, { first_us: known.first_us ?? d.s.t_us, given_us: known.given_us ?? d.s.t_us })
    for (const { channel } of rail.channels) channels.push(channel)
  }
  if (how === 'urgent' && channels.length > 0) d.out.push({ do: 'urgent off', channels })
  else for (const channel of channels) d.out.push({ do: 'off', channel })
}
