import { inA, inV } from './figures.js'

/** What a reading should lie between, as its meter shows it. */
export function windowOf({
  low,
  high,
  unit,
}: {
  readonly low: number
  readonly high: number
  readonly unit: 'V' | 'A' | 'Ω'
}): string {
  if (unit === 'V') return `${inV(low)} to ${inV(high)}`
  if (unit === 'A') return `${inA(low, high >= 2)} to ${inA(high, high >= 2)}`
  const ohm = (value: number): string =>
    value >= 9e8
      ? 'open'
      : value >= 1e6
        ? `${round(value / 1e6)} MΩ`
        : value >= 1e3
          ? `${round(value / 1e3)} kΩ`
          : `${round(value)} Ω`
  return `${ohm(low)} to ${ohm(high)}`
}
const round = (value: number): string => Number(value.toPrecision(3)).toLocaleString()
