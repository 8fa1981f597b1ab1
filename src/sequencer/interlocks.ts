import type { BiasPlan, HeaterWatch } from '../plan/index.js'
import type { State } from './state.js'
import { typedValid_s, us } from './state.js'

/** What must stand before anything hot rises, as plain questions: gates wait and ask by them, the door to the line refuses by them. */

/** How long a chain must have been in band before anything hot may rise, in this run. */
export function warmUp_s(s: State, watch: HeaterWatch): number {
  if (watch.mercury === undefined || s.mercury === 'as it worked') return watch.warm_up_s
  return Math.max(watch.warm_up_s, watch.mercury.first_use_s)
}

/** Every heater chain's rail in band for the chain's warm-up time. Hand rails count by their two typed readings (run.ts). */
export function heatersReady(s: State): boolean {
  return s.plan.heaters.every((watch) => {
    const since = s.rails[watch.rail]?.good_since_us ?? null
    return since !== null && s.t_us - since >= us(warmUp_s(s, watch))
  })
}

/** Bias at every grid return that needs it: by a fresh reading of its meter, or by one typed not too long ago. */
export function biasReady(s: State): boolean {
  return Object.values(s.plan.rails).every((rail) => rail.bias === null || biasStandsAt(s, rail.bias))
}

export function biasStandsAt(s: State, bias: BiasPlan): boolean {
  const sample = bias.meter === null ? s.typed[`node:${bias.node}`] : s.meters[bias.meter]
  const valid_s = bias.meter === null ? typedValid_s : (bias.stale_s ?? s.plan.stale_s)
  return (
    sample !== undefined &&
    sample !== null &&
    s.t_us - sample.t_us <= us(valid_s) &&
    bias.sign * sample.value >= bias.at_least_V
  )
}
