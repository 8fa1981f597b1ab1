import type { Figure } from './figure.js'

/** How a voltage was read: by its heating value, from the middle to the top, or from top to bottom. */
export const readAs = ['rms', 'peak', 'peak to peak'] as const
export type ReadAs = (typeof readAs)[number]

/** Effective volts of a sine that was read so. */
export function rmsOf(volts: number, as: ReadAs): number {
  return as === 'rms' ? volts : as === 'peak' ? volts / Math.SQRT2 : volts / (2 * Math.SQRT2)
}

/** Power in a resistive load from the volts across it; a sine is taken. */
export function loadFigures(volts: number, as: ReadAs, ohms: number): Figure[] {
  const rms_V = rmsOf(volts, as)
  const divisor = as === 'rms' ? 'V²/R' : as === 'peak' ? 'V²/2R' : 'V²/8R'
  return [
    { key: 'power_W', what: 'power in the load', value: (rms_V * rms_V) / ohms, unit: 'W', how: divisor },
    { key: 'load_rms_V', what: 'volts across it, effective', value: rms_V, unit: 'V', how: 'of a sine' },
    { key: 'load_A', what: 'current in it, effective', value: rms_V / ohms, unit: 'A', how: 'V/R' },
  ]
}

/** A stage's plate input, efficiency and what its plates have to lose, from readings under the key. */
export function stageFigures(plate_V: number, plate_A: number, output_W: number): Figure[] {
  const input_W = plate_V * plate_A
  return [
    { key: 'plate_input_W', what: 'plate input', value: input_W, unit: 'W', how: 'plate volts × plate amps' },
    {
      key: 'efficiency',
      what: 'plate efficiency',
      value: output_W / input_W,
      unit: 'ratio',
      how: 'output/input; what the tank and the line lose is in it',
    },
    {
      key: 'dissipation_W',
      what: 'lost in plates and tank',
      value: input_W - output_W,
      unit: 'W',
      how: 'input − output: no more than the plates alone would have to bear',
    },
  ]
}
