import type { Equipment, RailName } from '../equipment/index.js'
import {
  ambient_K,
  heatContent_s,
  heatingRate_K_per_s,
  type ThermalHeater,
  tungstenKelvin,
  warmOhm,
} from '../tubes/index.js'
import { heaterPoint, layHeaters } from './heater-chains.js'
import { type HeaterElement, ratioOf, softStart_s } from './heaters.js'

/** How long the heaters of a rail take to warm behind a supply that holds its current limit. */

/** The raise whose warm-up is asked for. */
export interface Warming {
  readonly from_V: number
  readonly to_V: number
  readonly slew_V_per_s: number
  /** The supply's current limit; Infinity where there is none. */
  readonly limit_A: number
  /** Current at and below which the rail counts as warm. */
  readonly warm_A: number
  readonly lead_ohm: number
}

export interface WarmingTime {
  /** Until the supply holds its volts and the current has come down to `warm_A`. */
  readonly predicted_s: number
  /** After this the run gives up. */
  readonly allowed_s: number
  readonly text: string
  readonly source: string
}

const most_s = 600
/** Short against a filament's 1.2 s; the balance of a heater is slower still. */
const step_s = 0.1

export function heaterWarming(equipment: Equipment, rail: RailName, raise: Warming): WarmingTime {
  const published = softStart_s(raise.to_V, raise.slew_V_per_s)
  const predicted_s = Math.min(most_s, simulate(equipment, rail, raise))
  // Real heaters differ in mass: a set that warms no slower than the published one must never be called slow.
  const allowed_s = 2 * Math.max(predicted_s, published.predicted_s)
  return {
    predicted_s,
    allowed_s,
    text: `thermal balance of its heaters${Number.isFinite(raise.limit_A) ? ' behind the current limit of the supply' : ''}`,
    source:
      'tungsten table of Forsythe and Worthing (1925), radiation, and a heat content that meets the published 6.7 s of a small heater at constant volts to 90 %; allowed: twice that, or twice the published 31.6 s at constant current and the rise, whichever is more',
  }
}

interface Warm {
  readonly heater: ThermalHeater
  kelvin: number
}

/** Heaters of every chain warmed together, in steps of a tenth of a second. */
function simulate(equipment: Equipment, rail: RailName, raise: Warming): number {
  const { from_V, to_V, slew_V_per_s, limit_A, warm_A, lead_ohm } = raise
  const chains = layHeaters(equipment, rail).chains
  const before = from_V > 0 ? heaterPoint(equipment, rail, from_V, lead_ohm) : null
  const rows = chains.map(({ name, lead_ohm: own_ohm, groups }) => {
    const point = before?.chains.find((each) => each.chain === name)
    return {
      own_ohm,
      groups: groups.map((group) =>
        group.map((element): Warm | number =>
          element.kind === 'resistor'
            ? element.ohm
            : warmOf(element, point?.elements.find(({ part }) => part === element.part)?.volts ?? 0),
        ),
      ),
    }
  })
  const rise_s = (to_V - from_V) / slew_V_per_s
  for (let t_s = 0; t_s < most_s; t_s += step_s) {
    const asked_V = t_s >= rise_s ? to_V : from_V + slew_V_per_s * t_s
    let siemens = 0
    const ohms = rows.map(({ own_ohm, groups }) => {
      const each = groups.map(groupOhm)
      const ohm = each.reduce((sum, one) => sum + one, own_ohm)
      siemens += 1 / ohm
      return { each, ohm }
    })
    const wanted_A = asked_V / (1 / siemens + lead_ohm)
    const amps = Math.min(wanted_A, limit_A)
    if (t_s >= rise_s && wanted_A <= Math.min(limit_A, warm_A)) return t_s
    const set_V = amps / siemens
    for (const [at, { each, ohm }] of ohms.entries())
      for (const [g, group] of (rows[at]?.groups ?? []).entries()) warm(group, (set_V / ohm) * (each[g] ?? 0))
  }
  return most_s
}

function warmOf(element: HeaterElement, volts: number): Warm {
  const ratio = ratioOf(element)
  const heater = {
    hot_V: element.hot_V,
    hot_A: element.hot_A,
    hot_K: tungstenKelvin(ratio),
    content_s: heatContent_s(element.cathode),
  }
  return { heater, kelvin: volts > 0 ? balance_K(heater, volts) : ambient_K }
}

/** Where heat in and radiation balance, by halving. */
function balance_K(heater: ThermalHeater, volts: number): number {
  let [low, high] = [ambient_K, 2 * heater.hot_K]
  for (let i = 0; i < 40; i++) {
    const middle = (low + high) / 2
    if (heatingRate_K_per_s(heater, volts, middle) > 0) low = middle
    else high = middle
  }
  return low
}

function groupOhm(group: readonly (Warm | number)[]): number {
  let siemens = 0
  for (const each of group)
    siemens += 1 / (typeof each === 'number' ? each : warmOhm(each.heater, each.kelvin))
  return siemens > 0 ? 1 / siemens : 1e9
}

function warm(group: readonly (Warm | number)[], volts: number): void {
  for (const each of group) {
    if (typeof each === 'number') continue
    const rate = heatingRate_K_per_s(each.heater, volts, each.kelvin)
    const middle = heatingRate_K_per_s(each.heater, volts, each.kelvin + (rate * step_s) / 2)
    each.kelvin = Math.max(ambient_K, each.kelvin + middle * step_s)
  }
}
