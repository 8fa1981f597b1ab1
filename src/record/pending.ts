import { encodeColumns } from './codec.js'
import { blockReadings, blocksInRollup, blockTicks, bounds } from './layout.js'
import { joined, packStatistics, type Statistics, statisticsOf } from './statistics.js'

/** A full (or last) block of compressed columns on its way to the file. */
export interface SealedBlock {
  readonly block: number
  readonly first_seq: number
  readonly last_seq: number
  readonly statistics: Statistics
  readonly data: Buffer
}
export interface SealedRollup {
  readonly rollup: number
  readonly statistics: Statistics
  /** Those of its blocks, packed. */
  readonly blocks: Buffer
}

/**
 * Readings of one stream, or the ticks, between arrival and their block. Four integer columns: seq, t_us and two more
 * (readings n and k, ticks late_us and slept_us). What is here stays until `written()` says that a commit took it.
 */
export class Pending {
  readonly seq: Float64Array
  readonly t_us: Float64Array
  readonly a: Float64Array
  readonly b: Float64Array
  count = 0
  /** How many of `count` already lie in the tail table. */
  inTail = 0
  /** Tail rows up to this seq are in a sealed block and leave the tail with it. */
  dropTailTo: number | null = null
  blocks: SealedBlock[] = []
  rollups: SealedRollup[] = []
  #nextBlock = 0
  #inRollup: Statistics[] = []

  constructor(readonly kind: 'readings' | 'ticks') {
    const size = kind === 'readings' ? blockReadings : blockTicks
    this.seq = new Float64Array(size)
    this.t_us = new Float64Array(size)
    this.a = new Float64Array(size)
    this.b = new Float64Array(size)
  }

  add(seq: number, t_us: number, a: number, b: number): void {
    const i = this.count++
    this.seq[i] = seq
    this.t_us[i] = t_us
    this.a[i] = a
    this.b[i] = b
    if (this.count === this.seq.length) this.seal()
  }

  /** Tail becomes a block. */
  seal(): void {
    const { count } = this
    if (count === 0) return
    const last_seq = this.seq[count - 1] ?? 0
    const statistics = statisticsOf(this.t_us, this.a, this.b, count)
    const block = this.#nextBlock++
    this.blocks.push({
      block,
      first_seq: this.seq[0] ?? 0,
      last_seq,
      statistics,
      data: encodeColumns([this.t_us, this.a, this.b, this.seq], count),
    })
    if (this.inTail > 0) this.dropTailTo = last_seq
    this.count = 0
    this.inTail = 0
    if (this.kind === 'readings') {
      this.#inRollup.push(statistics)
      if (this.#inRollup.length === blocksInRollup) {
        this.rollups.push({
          rollup: Math.floor(block / blocksInRollup),
          statistics: this.#inRollup.reduce(joined),
          blocks: packStatistics(this.#inRollup),
        })
        this.#inRollup = []
      }
    }
  }

  /** A commit has everything. */
  written(): void {
    this.inTail = this.count
    this.dropTailTo = null
    this.blocks = []
    this.rollups = []
  }
}

/** What the four columns can hold exactly; what lies outside is our own fault, never a measurement. */
export function holdable(t_us: number, n = 0, k = 0): boolean {
  return (
    Number.isInteger(t_us) &&
    t_us >= 0 &&
    t_us <= bounds.t_us &&
    Number.isInteger(n) &&
    Math.abs(n) <= bounds.n &&
    Number.isInteger(k) &&
    Math.abs(k) <= bounds.k
  )
}
