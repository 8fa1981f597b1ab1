import { leastOf, limitsNow } from './in-force.js'
import type { Draft } from './state.js'
import { currentStep } from './state.js'

/** Heater rails: since when volts and amps are in band. Called for every reading of a heater rail. */
export function noteHeater(d: Draft, name: string): void {
  const watches = d.s.plan.heaters.filter((watch) => watch.rail === name)
  const state = d.s.rails[name]
  const step = currentStep(d.s)
  if (watches.length === 0 || !state || !step || d.s.plan.rails[name]?.class === 'hand') return
  const limits = limitsNow(d.s, name)
  const full_V = Math.max(...watches.map((watch) => watch.volts))
  const V = state.V?.value ?? 0
  const A = state.A?.value ?? null
  const least_A = limits === null ? Infinity : leastOf(d.s, name, limits)
  const inBand =
    state.energised &&
    Math.abs(V - full_V) <= 0.1 * full_V &&
    (A === null || (limits !== null && A >= least_A && A <= limits.trip_A))
  if (!inBand) state.good_since_us = null
  else state.good_since_us ??= d.s.t_us
}
