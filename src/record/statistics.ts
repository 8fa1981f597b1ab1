import { crc32 } from 'node:zlib'
import { decimal } from '../exchange/index.js'
import { RecordTrouble } from './trouble.js'

/** What a block, a roll-up or a pixel column says of its readings, in the stream's unit. `first` and `last` by order. */
export interface Statistics {
  readonly n: number
  readonly from_us: number
  readonly to_us: number
  readonly first: number
  readonly last: number
  readonly min: number
  readonly max: number
  readonly mean: number
}

export function statisticsOf(
  t_us: Float64Array,
  n: Float64Array,
  k: Float64Array,
  count: number,
): Statistics {
  let [from_us, to_us, min, max, sum] = [Infinity, -Infinity, Infinity, -Infinity, 0]
  for (let i = 0; i < count; i++) {
    const value = decimal(n[i] ?? 0, k[i] ?? 0)
    const t = t_us[i] ?? 0
    if (t < from_us) from_us = t
    if (t > to_us) to_us = t
    if (value < min) min = value
    if (value > max) max = value
    sum += value
  }
  const at = (i: number): number => decimal(n[i] ?? 0, k[i] ?? 0)
  return { n: count, from_us, to_us, first: at(0), last: at(count - 1), min, max, mean: sum / count }
}

/** Statistics of `before` followed by `after`. */
export function joined(before: Statistics, after: Statistics): Statistics {
  const n = before.n + after.n
  return {
    n,
    from_us: Math.min(before.from_us, after.from_us),
    to_us: Math.max(before.to_us, after.to_us),
    first: before.first,
    last: after.last,
    min: Math.min(before.min, after.min),
    max: Math.max(before.max, after.max),
    mean: (before.mean * before.n + after.mean * after.n) / n,
  }
}

/** What an overview asks of a block. */
export type Extent = Omit<Statistics, 'mean'>
const packed = ['n', 'from_us', 'to_us', 'first', 'last', 'min', 'max'] as const
const doubleBytes = Float64Array.BYTES_PER_ELEMENT
const checkBytes = 4

/**
 * Statistics of blocks that follow one another, in one piece: the rows they would be are what an overview of a long run would
 * spend half of its time on. A CRC-32, then of each figure in turn those of all blocks, as little-endian doubles.
 */
export function packStatistics(blocks: readonly Statistics[]): Buffer {
  const bytes = Buffer.alloc(checkBytes + packed.length * blocks.length * doubleBytes)
  let at = checkBytes
  for (const figure of packed) for (const block of blocks) at = bytes.writeDoubleLE(block[figure], at)
  bytes.writeUInt32LE(crc32(bytes.subarray(checkBytes)))
  return bytes
}

/** Block by block again, the first with this number. Throws `RecordTrouble` where bytes are damaged. */
export function unpackStatistics(bytes: Uint8Array, first: number): (Extent & { readonly block: number })[] {
  const count = (bytes.length - checkBytes) / (packed.length * doubleBytes)
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length)
  if (!Number.isInteger(count) || count < 1 || view.getUint32(0, true) !== crc32(bytes.subarray(checkBytes)))
    throw new RecordTrouble('damaged', 'Statistics of blocks in this run file are damaged.')
  const figure = (which: number, block: number): number =>
    view.getFloat64(checkBytes + (which * count + block) * doubleBytes, true)
  return Array.from({ length: count }, (_, i) => ({
    block: first + i,
    n: figure(0, i),
    from_us: figure(1, i),
    to_us: figure(2, i),
    first: figure(3, i),
    last: figure(4, i),
    min: figure(5, i),
    max: figure(6, i),
  }))
}
