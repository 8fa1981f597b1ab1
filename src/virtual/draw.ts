import type { Chance } from '../chance/index.js'
import type { Capacitor, Resistor } from '../equipment/index.js'

/**
 * How one real set and bench differ from their files. Every part draws from its own named generator, so that adding a
 * part moves no other.
 */

/** Between −1 and 1, most near 0: a normal of half width, cut. */
function within(chance: Chance): number {
  return Math.max(-1, Math.min(1, chance.normal() / 2))
}

/**
 * Factor on a resistor's nominal value: within its tolerance, and old carbon composition drifted high. Drift of
 * 10-50 % is common (common practice, no source); a set worth energising has most of its resistors below 25 %.
 */
export function resistorFactor(chance: Chance, tolerance: number, make: Resistor['make']): number {
  const made = 1 + tolerance * within(chance)
  if (make !== 'carbon composition') return made
  const u = chance.next()
  return made * (1 + 0.25 * u * u)
}

/** Factor on a capacitor's marked value: electrolytics −20/+50 % (period tolerance, from memory), others by dielectric. */
export function capacitorFactor(chance: Chance, dielectric: Capacitor['dielectric']): number {
  const u = within(chance)
  if (dielectric === 'electrolytic') return u < 0 ? 1 + 0.2 * u : 1 + 0.4 * u
  const spread = { paper: 0.15, film: 0.05, mica: 0.05, ceramic: 0.2 }[dielectric]
  return 1 + spread * u
}

/**
 * Emission of a used tube over the published type: log-normal with new good tubes' spread of 0.66..1.33
 * (published spread of good tubes), used ones a little low.
 */
export function emissionFactor(chance: Chance): number {
  return Math.max(0.66, Math.min(1.33, Math.exp(-0.06 + 0.16 * chance.normal())))
}

/** Hot over cold resistance of a heater, inside the published 2.7..7.2. */
export function coldRatioOf(chance: Chance, typical: number): number {
  return Math.max(2.8, Math.min(7.1, typical * Math.exp(0.12 * chance.normal())))
}

/** Heater current of one tube over its type's: ±3 % (common practice, no source). */
export function heaterFactor(chance: Chance): number {
  return 1 + 0.03 * within(chance)
}

/** A fixed share of a supply's or meter's stated accuracy, −0.6..0.6, that this one has. */
export function calibration(chance: Chance): number {
  return 0.6 * within(chance)
}
