import { decimal } from '../exchange/index.js'
import type { Statistics } from './statistics.js'

/**
 * A run at the width of a plot: of each pixel column the first, last, lowest and highest reading, and nothing else.
 * A spike of a single sample is evidence; methods that choose "typical" points lose it.
 */
export interface Overview {
  readonly from_us: number
  readonly to_us: number
  readonly width: number
  /** Only columns with readings in them, left to right. */
  readonly columns: readonly OverviewColumn[]
}
export interface OverviewColumn {
  readonly column: number
  readonly n: number
  readonly first: number
  readonly last: number
  readonly min: number
  readonly max: number
}

/** Gathers readings and statistics of readings, in order, into pixel columns of the closed window from_us … to_us. */
export class Thinning {
  readonly #n: Float64Array
  readonly #first: Float64Array
  readonly #last: Float64Array
  readonly #min: Float64Array
  readonly #max: Float64Array
  constructor(
    readonly from_us: number,
    readonly to_us: number,
    readonly width: number,
  ) {
    this.#n = new Float64Array(width)
    this.#first = new Float64Array(width)
    this.#last = new Float64Array(width)
    this.#min = new Float64Array(width).fill(Infinity)
    this.#max = new Float64Array(width).fill(-Infinity)
  }

  /** Takes statistics whole where they fall into one column; false where their readings are needed one by one. */
  takeWhole(s: Pick<Statistics, 'n' | 'from_us' | 'to_us' | 'first' | 'last' | 'min' | 'max'>): boolean {
    if (s.from_us < this.from_us || s.to_us > this.to_us) return false
    const column = this.#columnOf(s.from_us)
    if (column !== this.#columnOf(s.to_us)) return false
    this.#merge(column, s.n, s.first, s.last, s.min, s.max)
    return true
  }

  /** Readings one by one, in the order of their times. */
  takeEach(t_us: Float64Array, n: Float64Array, k: Float64Array): void {
    const end = firstWhere(t_us, 0, t_us.length, (t) => t > this.to_us)
    let from = firstWhere(t_us, 0, end, (t) => t >= this.from_us)
    while (from < end) {
      const column = this.#columnOf(t_us[from] ?? 0)
      const to = firstWhere(t_us, from + 1, end, (t) => this.#columnOf(t) > column)
      this.#gather(column, n, k, from, to)
      from = to
    }
  }

  /** Of readings of one exponent the least integer is the least value: only what is kept becomes a decimal. */
  #gather(column: number, n: Float64Array, k: Float64Array, from: number, to: number): void {
    const exponent = k[from] ?? 0
    let [least, most] = [Infinity, -Infinity]
    for (let i = from; i < to; i++) {
      if (k[i] !== exponent) {
        if (i > from) this.#gather(column, n, k, from, i)
        this.#gather(column, n, k, i, to)
        return
      }
      const value = n[i] ?? 0
      if (value < least) least = value
      if (value > most) most = value
    }
    const of = (value: number): number => decimal(value, exponent)
    this.#merge(column, to - from, of(n[from] ?? 0), of(n[to - 1] ?? 0), of(least), of(most))
  }

  overview(): Overview {
    const columns: OverviewColumn[] = []
    for (let column = 0; column < this.width; column++) {
      const n = this.#n[column] ?? 0
      if (n === 0) continue
      columns.push({
        column,
        n,
        first: this.#first[column] ?? 0,
        last: this.#last[column] ?? 0,
        min: this.#min[column] ?? 0,
        max: this.#max[column] ?? 0,
      })
    }
    return { from_us: this.from_us, to_us: this.to_us, width: this.width, columns }
  }

  #columnOf(t_us: number): number {
    const span = this.to_us - this.from_us
    if (span <= 0) return 0
    return Math.min(this.width - 1, Math.floor(((t_us - this.from_us) / span) * this.width))
  }

  #merge(column: number, n: number, first: number, last: number, min: number, max: number): void {
    if (this.#n[column] === 0) this.#first[column] = first
    this.#n[column] = (this.#n[column] ?? 0) + n
    this.#last[column] = last
    if (min < (this.#min[column] ?? Infinity)) this.#min[column] = min
    if (max > (this.#max[column] ?? -Infinity)) this.#max[column] = max
  }
}

/** Where in times that never fall the first stands of which this holds; `to` where there is none. */
function firstWhere(t_us: Float64Array, from: number, to: number, holds: (t: number) => boolean): number {
  let [low, high] = [from, to]
  while (low < high) {
    const middle = (low + high) >>> 1
    if (holds(t_us[middle] ?? 0)) high = middle
    else low = middle + 1
  }
  return low
}
