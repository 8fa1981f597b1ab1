import type { RailPlan } from '../plan/index.js'
import type { Draft } from './state.js'
import { touch_V, us } from './state.js'

/** Rails in the order of going off, and which of them are low. */

/** A person turns a knob slower than a relay opens. */
export const personWithin_s = 600

export const isHeater = (rail: RailPlan): boolean => rail.role === 'heater'
export const isBias = (rail: RailPlan): boolean => rail.role === 'bias'

/** Drive, then screen, then HT, heaters, bias. */
export function inOffOrder(d: Draft, which: (rail: RailPlan) => boolean): RailPlan[] {
  const order = ['drive', 'screen', 'other', 'HT', 'heater', 'bias']
  return Object.values(d.s.plan.rails)
    .filter(which)
    .sort((a, b) => order.indexOf(a.role) - order.indexOf(b.role))
}

/** Below the touch limit by what was measured or typed since OFF was given. */
export function isLow(d: Draft, rail: RailPlan): boolean {
  const off = d.s.off
  const state = d.s.rails[rail.name]
  if (rail.class === 'hand') {
    const said = off?.hand[rail.name]
    return !state?.energised || (typeof said === 'number' && said < touch_V)
  }
  // Only a reading taken after OFF counts: the last one before a line went quiet may be older than the last raise.
  const since_us = off?.given_us[rail.name] ?? d.s.t_us
  const sample = state?.V ?? null
  return (
    sample !== null &&
    sample.t_us > since_us &&
    d.s.t_us - sample.t_us <= us(2 * d.s.plan.stale_s) &&
    Math.abs(sample.value) < touch_V
  )
}
