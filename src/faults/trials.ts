import type { ModeName } from '../equipment/index.js'
import { choices } from './choices.js'
import { foresightOf } from './foresee.js'
import { type HandMeter, mostOff } from './hand-meter.js'
import { type Lab, ohmScale, type Spot, type Who } from './lab.js'
import { scaled, slope, unscaledBy } from './likelihood.js'
import { voltsBetween } from './place.js'
import type { Posterior } from './posterior.js'
import { errorOf, scaleOf, voltsDrawn } from './probe.js'
import type { Reading } from './seen.js'
import { type Expected, toldBy } from './tells.js'

/** A reading that might be asked for. */
export interface Trial {
  readonly place: string
  readonly unit: Reading['unit']
  /** What each cause reads there, as the set's file has it; and as it is expected of this set. */
  readonly values: readonly number[]
  readonly expected: readonly Expected[]
  /** What it is expected to tell, in nats. */
  readonly gain: number
}

/** Those between whom a reading is to part: each with its weight, and what it makes of what was read before. The last is a whole set. */
export interface Asked {
  readonly who: readonly Exclude<Who, { readonly drawn: number }>[]
  readonly stand: readonly number[]
  readonly rows: readonly (readonly number[])[]
}

function trialOf(
  place: string,
  unit: Reading['unit'],
  values: readonly number[],
  stand: readonly number[],
  meter: HandMeter,
  of: (value: number, i: number) => { readonly variance: number; readonly shift: number },
): Trial {
  const expected = values.map((value, i): Expected => {
    const error = errorOf(unit, value, mostOff(unit, value, meter))
    const { variance, shift } = of(value, i)
    return { y: scaled(value, scaleOf(unit)) + shift, variance: variance + error * error }
  })
  return { place, unit, values, expected, gain: toldBy(expected, stand) }
}

/** Ohms, set off: what leaks where a path is open, and what no run can tell of it, stand in their spread. */
export function coldTrials(
  lab: Lab,
  mode: ModeName,
  places: readonly string[],
  { who, stand }: Asked,
  meter: HandMeter,
): Trial[] {
  // So few sets are drawn that what they spread by is known no better than by half.
  const least = 0.25 * choices.coldSpread * choices.coldSpread
  return places.map((place) => {
    const drawn = who.map((each) =>
      lab.ohmDrawn(mode, place, each !== null && 'fault' in each ? each.fault : null),
    )
    const values = drawn.map(({ mean }) => unscaledBy(mean, ohmScale))
    return trialOf(place, 'Ω', values, stand, meter, (_, i) => ({
      variance: (drawn[i]?.variance ?? 0) + least,
      shift: 0,
    }))
  })
}

/** Part of all that weighs. */
const likely = 0.05

/** Volts where the rails stand: what the run has told of this set already is taken from them. */
export function hotTrials(
  lab: Lab,
  spot: Spot,
  places: readonly string[],
  { who, stand, rows }: Asked,
  posterior: Posterior,
  meter: HandMeter,
): Trial[] {
  const states = who.map((each) => spot.state(each))
  if (states.some((state) => state === null)) return []
  const foresee = foresightOf(posterior)
  const scale = scaleOf('V')
  // Sets are drawn with the few causes that weigh most: what others read decides little.
  const least = likely * stand.reduce((sum, p) => sum + p, 0)
  return places.flatMap((place) => {
    const ends = lab.ends(spot.point.mode, place)
    if (ends === null) return []
    const values = states.map((state) => (state === null ? 0 : voltsBetween(state, ends)))
    const whole = values.at(-1) ?? 0
    const { shift, variance } = foresee((drawn) => {
      const state = spot.state({ drawn })
      return state === null ? null : scaled(voltsBetween(state, ends), scale)
    })
    const usual = Math.max(slope(whole, scale), 0.05)
    const drawn = who.map((each, i) =>
      each !== null && 'fault' in each && (stand[i] ?? 0) >= least
        ? voltsDrawn(lab, spot, place, each.fault)
        : null,
    )
    return [
      trialOf(place, 'V', values, stand, meter, (value, i) => {
        const over = drawn[i] ?? null
        if (over !== null)
          return {
            variance: over.variance + choices.voltsLeast * choices.voltsLeast,
            shift: scaled(whole, scale) + over.moved - scaled(value, scale),
          }
        const part = slope(value, scale) / usual
        // As the ranking has it: what a fault makes of volts spreads by its own parts too.
        const own = choices.voltsSpread * Math.min(1, Math.abs(scaled(value, scale) - scaled(whole, scale)))
        return {
          variance: variance * part * part + own * own + choices.voltsLeast * choices.voltsLeast,
          shift: shift(rows[i] ?? []) * part,
        }
      }),
    ]
  })
}
