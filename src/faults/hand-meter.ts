import type { Bench } from '../bench/index.js'
import { ohmmeterOff } from './signals.js'
import type { Reading } from './seen.js'

/** What a person holds at a place: its resistance is part of the network, its accuracy part of what a reading says. */
export interface HandMeter {
  readonly name: string
  readonly ohm: number
  /** Of volts. */
  readonly accuracy: { readonly of_reading: number; readonly plus: number }
  readonly resolution: number
}

/** Where the bench file has none: 1 % and its last digits (common practice, no source). */
const usual: HandMeter = {
  name: 'a meter of 10 MΩ',
  ohm: 1e7,
  accuracy: { of_reading: 0.01, plus: 0.05 },
  resolution: 0,
}

/** A bench file names no meter that measures ohms; what such a one lies across is no matter, it brings its own volts. */
export const ohmmeter = { name: 'an ohmmeter', ohm: null } as const

/** The meter that a person holds: the bench file's, else the usual one. */
export function handMeter(bench: Bench): HandMeter {
  const [found] = Object.entries(bench.meters).filter(
    ([, { line, on, measures }]) => line === null && on === null && measures === 'V',
  )
  if (found === undefined) return usual
  const [name, { ohm, accuracy, resolution }] = found
  return { name, ohm, accuracy, resolution }
}

/** The most that a reading may be off by; ohms as any ohmmeter's, since a bench file names none. */
export function mostOff(unit: Reading['unit'], value: number, { accuracy, resolution }: HandMeter): number {
  const size = Math.abs(value)
  if (unit === 'Ω') return ohmmeterOff(size)
  return accuracy.of_reading * size + accuracy.plus + resolution / 2
}
