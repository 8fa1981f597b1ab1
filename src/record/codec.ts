import { crc32 } from 'node:zlib'
import { isDeflated, decodeDeflated } from './codec-deflated.js'
import { BytesIn, BytesOut, unzigzag, zigzag } from './bytes.js'
import { RecordTrouble } from './trouble.js'

/**
 * Columns of integers as bytes, since format 3: a mark, a CRC-32 of all that follows, the count; of each column its first value,
 * its mean step, and what each difference is off that step (zigzag) in as many bits as nearly all of them need. The few that
 * need more stand before them, each with its place. Regular columns vanish, a spike costs two of the few, and an overview unpacks
 * the thousands of blocks at the edges of its pixel columns in a tenth of the time that inflating them takes.
 * Exact within `bounds` (`layout.ts`).
 */
export function encodeColumns(columns: readonly Float64Array[], count: number): Buffer {
  const bytes = new BytesOut(headBytes + 16 + columns.length * (24 + count * 3))
  bytes.at = headBytes
  bytes.put(count)
  const off = new Float64Array(Math.max(0, count - 1))
  for (const column of columns) {
    const first = column[0] ?? 0
    const step = count > 1 ? Math.round(((column[count - 1] ?? 0) - first) / (count - 1)) : 0
    bytes.put(zigzag(first))
    bytes.put(zigzag(step))
    let before = first
    for (let i = 1; i < count; i++) {
      const value = column[i] ?? 0
      off[i - 1] = zigzag(value - before - step)
      before = value
    }
    putDifferences(bytes, off)
  }
  // The last value is read with the three bytes after it.
  for (let i = 0; i < 3; i++) bytes.byte(0)
  const done = bytes.done()
  done[0] = mark
  done.writeUInt32LE(crc32(done.subarray(headBytes)), 1)
  return done
}

/** The first `wanted` columns again, in `into` where those are as long. Throws `RecordTrouble` where bytes are damaged. */
export function decodeColumns(
  data: Uint8Array,
  wanted: number,
  into: readonly Float64Array[] = [],
): Float64Array[] {
  // As formats 1 and 2 have it.
  if (isDeflated(data)) return decodeDeflated(data, wanted)
  if (data[0] !== mark || data.length <= headBytes || checkOf(data) !== crc32(data.subarray(headBytes)))
    throw new RecordTrouble('damaged', 'A block of readings in this run file is damaged.')
  const from = new BytesIn(data, headBytes)
  const count = from.take()
  if (count > count_most)
    throw new RecordTrouble('damaged', 'A block of readings claims more than any holds.')
  return Array.from({ length: wanted }, (_, i) => {
    const given = into[i]
    const column = given?.length === count ? given : new Float64Array(count)
    takeColumn(from, column)
    return column
  })
}

const checkOf = (data: Uint8Array): number =>
  new DataView(data.buffer, data.byteOffset, data.length).getUint32(1, true)

/** zlib's streams, as older blocks are, begin with another. */
const mark = 3
const headBytes = 5
/** Far above a full block: a longer count is damage, not a reason to reserve memory. */
const count_most = 1 << 20
/** So that any fits, wherever it begins in its byte, into four bytes, which are read at once. */
const width_most = 24

/** How many bits a number takes; all that take more than `width_most` are alike. */
const bitsOf = (value: number): number => (value < 1 << width_most ? 32 - Math.clz32(value) : width_most + 1)

function putDifferences(bytes: BytesOut, off: Float64Array): void {
  const width = narrowest(off)
  const wide: number[] = []
  for (let i = 0; i < off.length; i++) if (bitsOf(off[i] ?? 0) > width) wide.push(i)
  bytes.put(width)
  bytes.put(wide.length)
  let before = 0
  for (const i of wide) {
    bytes.put(i - before)
    bytes.put(off[i] ?? 0)
    before = i
  }
  let [held, bits] = [0, 0]
  for (const value of off) {
    if (width === 0 || bitsOf(value) > width) continue
    held |= value << bits
    bits += width
    while (bits >= 8) {
      bytes.byte(held & 0xff)
      held >>>= 8
      bits -= 8
    }
  }
  if (bits > 0) bytes.byte(held)
}

/** The width that makes the column shortest. */
function narrowest(off: Float64Array): number {
  const counts = new Array<number>(width_most + 2).fill(0)
  for (const value of off) {
    const bits = bitsOf(value)
    counts[bits] = (counts[bits] ?? 0) + 1
  }
  let [best, least, wide] = [width_most, Infinity, 0]
  let wideBits = 0
  for (let width = width_most; width >= 0; width--) {
    const more = counts[width + 1] ?? 0
    wide += more
    // Its place, and itself seven bits a byte.
    wideBits += more * 8 * (1 + Math.ceil((width + 1) / 7))
    const bits = (off.length - wide) * width + wideBits
    if (bits < least) [best, least] = [width, bits]
  }
  return best
}

function takeColumn(from: BytesIn, column: Float64Array): void {
  let value = unzigzag(from.take())
  const step = unzigzag(from.take())
  if (column.length > 0) column[0] = value
  const width = from.take()
  const wide = from.take()
  if (width > width_most || wide > column.length)
    throw new RecordTrouble('damaged', 'A block of readings says what none can.')
  if (width === 0 && wide === 0) {
    for (let i = 1; i < column.length; i++) column[i] = value += step
    return
  }
  const [places, values] = [new Array<number>(wide), new Array<number>(wide)]
  for (let i = 0, place = 0; i < wide; i++) {
    places[i] = place += from.take()
    values[i] = unzigzag(from.take())
  }
  const { bytes } = from
  const mask = (1 << width) - 1
  let bit = from.at * 8
  let i = 0
  for (let next = 0; next <= wide; next++) {
    const end = Math.min(places[next] ?? Infinity, column.length - 1)
    for (; i < end; i++) {
      const at = bit >>> 3
      const four =
        (bytes[at] ?? 0) |
        ((bytes[at + 1] ?? 0) << 8) |
        ((bytes[at + 2] ?? 0) << 16) |
        ((bytes[at + 3] ?? 0) << 24)
      const off = (four >>> (bit & 7)) & mask
      bit += width
      value += step + ((off >>> 1) ^ -(off & 1))
      column[i + 1] = value
    }
    if (next === wide || i >= column.length - 1) break
    value += step + (values[next] ?? 0)
    column[++i] = value
  }
  from.at = (bit + 7) >>> 3
  if (from.at > bytes.length)
    throw new RecordTrouble('damaged', 'A block of readings in this run file ends too early.')
}
