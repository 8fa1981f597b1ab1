import { deflateSync, inflateSync } from 'node:zlib'
import { RecordTrouble } from './trouble.js'

/**
 * Columns of integers as bytes. Each column: first value, mean step, then what each difference is off that step
 * (zigzag, variable length, 7 bits a byte); all columns deflated together, with zlib's checksum over them.
 * Regular columns become runs of zeros and all but vanish. Exact within `bounds` (`layout.ts`).
 */
export function encodeColumns(columns: readonly Float64Array[], count: number): Buffer {
  const bytes = new Bytes(16 + columns.length * (20 + count * 3))
  bytes.put(count)
  for (const column of columns) {
    const first = column[0] ?? 0
    const step = count > 1 ? Math.round(((column[count - 1] ?? 0) - first) / (count - 1)) : 0
    bytes.put(zigzag(first))
    bytes.put(zigzag(step))
    let before = first
    for (let i = 1; i < count; i++) {
      const value = column[i] ?? 0
      bytes.put(zigzag(value - before - step))
      before = value
    }
  }
  return deflateSync(bytes.done())
}

/** The first `wanted` columns again. Throws `RecordTrouble` where bytes are damaged. */
export function decodeColumns(data: Uint8Array, wanted: number): Float64Array[] {
  let bytes: Uint8Array
  try {
    bytes = inflateSync(data)
  } catch (error) {
    throw new RecordTrouble('damaged', 'A block of readings in this run file is damaged.', { cause: error })
  }
  const from = new Reading(bytes)
  const count = from.take()
  // A residual takes at least one byte, so a longer count is damage, not a reason to reserve memory.
  if (count > bytes.length)
    throw new RecordTrouble('damaged', 'A block of readings claims more than it holds.')
  return Array.from({ length: wanted }, () => {
    const column = new Float64Array(count)
    let value = unzigzag(from.take())
    const step = unzigzag(from.take())
    if (count > 0) column[0] = value
    // An overview decodes thousands of blocks: what takes one byte or two, as nearly all does, is read without a call.
    let at = from.at
    for (let i = 1; i < count; i++) {
      const low = bytes[at] ?? 0x80
      const high = low < 0x80 ? 0 : (bytes[at + 1] ?? 0x80)
      if (high < 0x80) {
        const both = (low & 0x7f) | (high << 7)
        at += low < 0x80 ? 1 : 2
        value += step + ((both >>> 1) ^ -(both & 1))
      } else {
        from.at = at
        value += step + unzigzag(from.take())
        at = from.at
      }
      column[i] = value
    }
    from.at = at
    return column
  })
}

const zigzag = (value: number): number => (value < 0 ? -2 * value - 1 : 2 * value)
const unzigzag = (value: number): number => (value % 2 === 1 ? -(value + 1) / 2 : value / 2)

class Reading {
  at = 0
  readonly #bytes: Uint8Array
  constructor(bytes: Uint8Array) {
    this.#bytes = bytes
  }
  take(): number {
    let byte = this.#bytes[this.at++] ?? ended()
    if (byte < 0x80) return byte
    let value = byte & 0x7f
    let scale = 128
    do {
      byte = this.#bytes[this.at++] ?? ended()
      value += (byte & 0x7f) * scale
      scale *= 128
      if (scale > 2 ** 63) ended()
    } while (byte >= 0x80)
    return value
  }
}

function ended(): never {
  throw new RecordTrouble('damaged', 'A block of readings in this run file ends too early.')
}

class Bytes {
  #at = 0
  #bytes: Uint8Array
  constructor(size: number) {
    this.#bytes = new Uint8Array(size)
  }
  put(value: number): void {
    if (this.#at + 9 > this.#bytes.length) {
      const wider = new Uint8Array(this.#bytes.length * 2)
      wider.set(this.#bytes)
      this.#bytes = wider
    }
    let rest = value
    // Bit operations are 32 bits wide, hence division above.
    while (rest >= 0x80000000) {
      this.#bytes[this.#at++] = (rest % 128) + 128
      rest = Math.floor(rest / 128)
    }
    while (rest >= 128) {
      this.#bytes[this.#at++] = (rest & 0x7f) | 0x80
      rest >>>= 7
    }
    this.#bytes[this.#at++] = rest
  }
  done(): Uint8Array {
    return this.#bytes.subarray(0, this.#at)
  }
}
