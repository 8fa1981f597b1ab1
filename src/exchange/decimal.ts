/** A reading exactly as it is stored: value = n / 10^k. */
export interface Decimal {
  readonly n: number
  readonly k: number
}

/**
 * The one bound of a reading's `n`: fifteen digits. The line believes nothing longer and a run file takes everything within, so
 * that no reading that was judged can be refused by the record.
 */
export const most_n = 999_999_999_999_999

/** No power function: it differs between engines, and the same reading must be the same number everywhere. */
const powers = Array.from({ length: 31 }, (_, k) => Number(`1e${k}`))
const powerOfTen = (k: number): number => powers[k] ?? Number(`1e${k}`)

/** n / 10^k, by one division. */
export function decimal(n: number, k: number): number {
  return k < 0 ? n * powerOfTen(-k) : n / powerOfTen(k)
}

/** The number a decimal stands for. */
export function decimalValue({ n, k }: Decimal): number {
  return decimal(n, k)
}
