/* Cathodes below their rated heater volts. */

/** Heat goes by radiation with the fourth power of temperature, heater watts with volts to some 1.58 (I ∝ V^0.58): T ∝ V^0.4. */
const warmth = 1.58 / 4
/** Work function over k·T of a hot oxide cathode, 1.0 eV at 1050 K (from memory). */
const steep = 11
/** Emission that a healthy cathode has in reserve over what is drawn, and one long in store (common practice, no source). */
export const emissionReserve = { healthy: 12, stored: 3 } as const

/**
 * Share of its space current that a cathode gives at this part of its rated heater volts: saturation by Richardson's law,
 * T²·exp(−φ/kT), passing smoothly into the space-charge limit; 1 at rated volts.
 */
export function emissionAt(part: number, reserve: number = emissionReserve.healthy): number {
  if (part >= 1) return 1
  if (part <= 0.05) return 0
  const t = Math.exp(warmth * Math.log(part))
  const can = reserve * t * t * Math.exp(-steep * (1 / t - 1))
  return Math.min(1, (can / (1 + can)) * (1 + 1 / reserve))
}
