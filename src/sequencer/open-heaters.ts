import type { RailLimits } from '../plan/index.js'
import { broke } from './breach.js'
import { heaterFits } from './heater-fits.js'
import type { Draft } from './state.js'
import { resolution } from './state.js'
import { amps } from './words.js'

/** Part of what is expected below which heaters are not weak but gone, as plate current is; nobody may accept that. Our choice. */
const openBelow = 0.25

/** True, and found broken, where a heater rail draws so little that there is nothing for a person to accept: HT does not come up to cold cathodes. */
export function heatersOpen(d: Draft, name: string, measured_A: number, limits: RailLimits): boolean {
  const rail = d.s.plan.rails[name]
  const { expected_A } = limits
  const limit = openBelow * expected_A
  if (rail?.role !== 'heater' || expected_A < 5 * resolution(d.s, rail).A || measured_A >= limit) return false
  const fits = heaterFits(d, name, measured_A - expected_A)
  broke(d, {
    code: 'heater-lost',
    rail: name,
    measured: measured_A,
    limit,
    unit: 'A',
    text: `${name} draws ${amps(measured_A)} where ${amps(expected_A)} is expected. That is no weak chain but an open one, and HT is not brought up to cold cathodes.${fits === '' ? '' : ` ${fits}.`}`,
  })
  return true
}
