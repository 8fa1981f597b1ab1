import { ambient_K, heatContent_s, heatingRate_K_per_s, tungstenKelvin, warmOhm } from '../tubes/index.js'

/** One heater, filament or lamp as it is, with its state. */
export interface Heater {
  readonly name: string
  readonly hot_V: number
  readonly hot_A: number
  readonly hot_K: number
  /** Heat content of the hot heater over its hot power, s. */
  readonly content_s: number
  /** Cathode behind heater, s; 0 = directly heated. */
  readonly lag_s: number
  /** ln-slope of emission over reciprocal temperature at the hot cathode: work function / (k·T). */
  readonly steep: number
  open: boolean
  kelvin: number
  /** Cathode temperature over its own hot temperature. */
  cathode: number
  /** Time spent emitting, s: a cathode from a shelf comes up slowly. */
  active_s: number
}

export interface HeaterMake {
  readonly name: string
  readonly hot_V: number
  readonly hot_A: number
  readonly cathode: 'indirect' | 'direct' | 'lamp'
  /** Hot over cold resistance. Published range for tubes 2.7..7.2: cold inrush measured on many types. */
  readonly ratio: number
  /** Relative size of heat content: 1 = a small receiving tube. */
  readonly mass: number
}

/** Cathode behind heater 3 s (common practice, no source). */
export function makeHeater(make: HeaterMake): Heater {
  const direct = make.cathode !== 'indirect'
  return {
    name: make.name,
    hot_V: make.hot_V,
    hot_A: make.hot_A,
    hot_K: tungstenKelvin(make.ratio),
    content_s: make.mass * heatContent_s(direct ? 'direct' : 'indirect'),
    lag_s: direct ? 0 : 3 * make.mass,
    // 1.0 eV at 1050 K (oxide); 2.6 eV at 1900 K (thoriated): 11 and 16 (from memory). Filaments of either kind: between.
    steep: direct ? 13 : 11,
    open: false,
    kelvin: ambient_K,
    cathode: ambient_K / 1050,
    active_s: 0,
  }
}

/** Ohms now, by the tungsten table. */
export function heaterOhm(heater: Heater): number {
  return heater.open ? 1e9 : warmOhm(heater, heater.kelvin)
}

/** K/s now, with `volts` across it. */
export function heatingRate(heater: Heater, volts: number, kelvin = heater.kelvin): number {
  return heatingRate_K_per_s(heater, heater.open ? 0 : volts, kelvin)
}

/** Warms or cools by `dt_s` with `volts` held; steps inside are chosen so that none moves by more than a few kelvin. */
export function warm(heater: Heater, volts: number, dt_s: number): void {
  let left = dt_s
  while (left > 1e-9) {
    const rate = heatingRate(heater, volts)
    const step = Math.min(left, 0.1 * heater.content_s, Math.max(1e-3, 10 / (Math.abs(rate) + 1e-9)))
    const middle = heatingRate(heater, volts, heater.kelvin + (rate * step) / 2)
    heater.kelvin = Math.max(ambient_K, heater.kelvin + middle * step)
    const towards = heater.kelvin / heater.hot_K
    const follow = heater.lag_s > 0 ? 1 - Math.exp(-step / heater.lag_s) : 1
    heater.cathode += (towards - heater.cathode) * follow
    left -= step
  }
  if (heater.cathode > 0.8) heater.active_s += dt_s
}

/** Emission a hot cathode has in reserve, times its working current (common practice, no source). */
const reserve = 12

/**
 * Share of the space current that the cathode can give at its temperature: saturation by Richardson's law,
 * T²·exp(−φ/kT), passing smoothly into the space-charge limit. 1 when hot.
 */
export function emission(heater: Heater): number {
  const t = heater.cathode
  if (t < 0.3) return 0
  const can = reserve * t * t * Math.exp(-heater.steep * (1 / t - 1))
  return Math.min(1.05, (can / (1 + can)) * (1 + 1 / reserve))
}

/** A fixed resistor in a heater chain. */
export interface Dropper {
  readonly name: string
  readonly ohm: number
}

/** Heater elements of one chain, outer list in series, inner in parallel; fixed resistors take part. */
export interface Chain {
  readonly name: string
  readonly rail: string
  readonly lead_ohm: number
  readonly series: readonly (readonly (Heater | Dropper)[])[]
}

const isHeater = (element: Heater | Dropper): element is Heater => 'kelvin' in element
const ohmOf = (element: Heater | Dropper): number => (isHeater(element) ? heaterOhm(element) : element.ohm)

/** Ohms of a parallel group. */
function groupOhm(group: Chain['series'][number]): number {
  let conductance = 0
  for (const element of group) conductance += 1 / ohmOf(element)
  return conductance > 0 ? 1 / conductance : 1e9
}

/** Ohms of the whole chain as it is now. */
export function chainOhm(chain: Chain): number {
  let ohm = chain.lead_ohm
  for (const group of chain.series) ohm += groupOhm(group)
  return ohm
}

/** Warms every heater of a chain that has `volts` across it. */
export function warmChain(chain: Chain, volts: number, dt_s: number): void {
  const amps = volts / chainOhm(chain)
  for (const group of chain.series) {
    const across = amps * groupOhm(group)
    for (const element of group) if (isHeater(element)) warm(element, across, dt_s)
  }
}

/** Fastest relative change of temperature in the chain per second: how finely time must be cut. */
export function chainHaste(chain: Chain, volts: number): number {
  const amps = volts / chainOhm(chain)
  let fastest = 0
  for (const group of chain.series) {
    const across = amps * groupOhm(group)
    for (const element of group) {
      if (!isHeater(element)) continue
      const lagging =
        element.lag_s > 0 ? Math.abs(element.kelvin / element.hot_K - element.cathode) / element.lag_s : 0
      fastest = Math.max(fastest, Math.abs(heatingRate(element, across)) / element.hot_K, lagging)
    }
  }
  return fastest
}
