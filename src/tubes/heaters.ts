/**
 * Hot heaters draw I ∝ V^0.58. Published: lamps I ∝ V^0.55 (Standard Handbook for Electrical Engineers, 11th ed.,
 * p. 22-8, as cited by a public encyclopedia); for heaters 0.55..0.6 is common practice, no source.
 */
const exponent = 0.58

/** Hot over cold resistance. Published range: cold inrush measured on many types, 2.7 to 7.2 times nominal. */
export interface ColdRatio {
  readonly typical: number
  readonly low: number
  readonly high: number
}

/**
 * How many times its hot resistance a heater has when hot, against cold; equals the inrush at rated volts.
 * `typical` for an indirect heater is the geometric middle of the published 2.7..7.2; directly heated types
 * of low mass lie at the high end (published remark). A cold-cathode tube has no heater: ratio 1.
 */
export function coldRatio(cathode: 'indirect' | 'direct' | 'cold'): ColdRatio {
  if (cathode === 'cold') return { typical: 1, low: 1, high: 1 }
  return cathode === 'direct' ? { typical: 6.5, low: 2.7, high: 7.2 } : { typical: 4.4, low: 2.7, high: 7.2 }
}

/**
 * Current in amps of a heater at its thermal equilibrium with `volts` across it, odd in volts. Follows V^0.58 near
 * its rating and falls back to its cold resistance (`ratio` times lower than hot) towards zero volts.
 */
export function heaterCurrent(
  hot_V: number,
  hot_A: number,
  volts: number,
  ratio = coldRatio('indirect').typical,
): number {
  return heaterWithSlope(hot_V, hot_A, volts, ratio).I
}

/** The same current with its slope over volts, siemens. */
export function heaterWithSlope(
  hot_V: number,
  hot_A: number,
  volts: number,
  ratio: number,
): { readonly I: number; readonly slope_S: number } {
  if (!(hot_V > 0)) return { I: 0, slope_S: 0 }
  if (volts === 0) return { I: 0, slope_S: (ratio * hot_A) / hot_V }
  const b = 1 / (ratio * ratio - 1)
  const power = 2 * (1 - exponent) * (1 + b)
  const rising = Math.exp(power * Math.log(Math.abs(volts) / hot_V))
  const siemens = (hot_A / hot_V) * Math.sqrt((1 + b) / (rising + b))
  return { I: siemens * volts, slope_S: siemens * (1 - (0.5 * power * rising) / (rising + b)) }
}

/** Ohms of a heater stone cold. */
export function coldResistance(hot_V: number, hot_A: number, ratio: number): number {
  return hot_V / hot_A / ratio
}

/**
 * What is left of a lamp's life where it stands away from its rated volts, as parts of it: V^-12 to V^-16 (Standard Handbook
 * for Electrical Engineers, 11th ed., p. 22-8, as cited by a public encyclopedia).
 */
export function lampLife(of_rated: number): { readonly least: number; readonly most: number } {
  const parts = [12, 16].map((power) => Math.exp(-power * Math.log(of_rated)))
  return { least: Math.min(...parts), most: Math.max(...parts) }
}
