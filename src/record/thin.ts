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

  takeEach(t_us: Float64Array, n: Float64Array, k: Float64Array): void {
    // Neighbours mostly fall into one column: they are gathered before they are merged.
    let [column, count, first, last, min, max] = [-1, 0, 0, 0, Infinity, -Infinity]
    for (let i = 0; i < t_us.length; i++) {
      const t = t_us[i] ?? 0
      if (t < this.from_us || t > this.to_us) continue
      const value = decimal(n[i] ?? 0, k[i] ?? 0)
      const at = this.#columnOf(t)
      if (at !== column) {
        if (count > 0) this.#merge(column, count, first, last, min, max)
        column = at
        count = 0
        first = min = max = value
      }
      count++
      last = value
      if (value < min) min = value
      if (value > max) max = value
    }
    if (count > 0) this.#merge(column, count, first, last, min, max)
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
