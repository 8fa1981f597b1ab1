import { tungstenResistivity } from './tungsten.js'

/** The thermal balance of a heater: heat in, less radiation, over its heat content. */

export const ambient_K = 295

export interface ThermalHeater {
  readonly hot_V: number
  readonly hot_A: number
  readonly hot_K: number
  /** Heat content of the hot heater over its hot power, s. */
  readonly content_s: number
}

/**
 * Heat content over hot power: a small heater on constant volts takes 6.7 s to 90 % of its final temperature (published:
 * measurement and model of an electronics group); 11.9 s reproduces that with the tungsten table and radiation. Filaments
 * and lamps have a tenth of it (common practice, no source).
 */
export function heatContent_s(cathode: 'indirect' | 'direct'): number {
  return cathode === 'direct' ? 1.19 : 11.9
}

/** Ohms at `kelvin`, by the tungsten table. */
export function warmOhm({ hot_V, hot_A, hot_K }: ThermalHeater, kelvin: number): number {
  return ((hot_V / hot_A) * tungstenResistivity(kelvin)) / tungstenResistivity(hot_K)
}

/** K/s at `kelvin` with `volts` across it: heat in, less radiation ∝ T⁴ (Stefan–Boltzmann), over heat content. */
export function heatingRate_K_per_s(heater: ThermalHeater, volts: number, kelvin: number): number {
  const { hot_V, hot_A, hot_K, content_s } = heater
  const power = (volts * volts) / warmOhm(heater, kelvin) / (hot_V * hot_A)
  const radiated = (fourth(kelvin) - fourth(ambient_K)) / (fourth(hot_K) - fourth(ambient_K))
  return ((power - radiated) * (hot_K - ambient_K)) / content_s
}

const fourth = (x: number): number => x * x * x * x
