/** One computed figure: what it is, its value in the unit itself, and the arithmetic it came from. */
export interface Figure {
  /** Key under `--json`, with its unit. */
  readonly key: string
  readonly what: string
  /** Null where the quantity has no bound (return loss without any reflection, mismatch loss of an open line). */
  readonly value: number | null
  readonly unit: FigureUnit
  /** The formula in words and its source. */
  readonly how: string
}
export type FigureUnit =
  | 'W'
  | 'V'
  | 'A'
  | 'Ω'
  | 'm'
  | 'Hz'
  | 'dB'
  | 'dBm'
  | 'dBµV'
  | 'S unit'
  | 'ratio'
  | ':1'

/** 10·lg of a ratio of powers; null where it is without bound. */
export function decibels(ratio: number): number | null {
  return ratio > 0 && Number.isFinite(ratio) ? 10 * Math.log10(ratio) : null
}

/** The ratio of powers of so many dB. */
export function fromDecibels(dB: number): number {
  return Math.exp((dB / 10) * Math.LN10)
}
