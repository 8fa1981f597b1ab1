import { RecordTrouble } from './trouble.js'

/* Whole numbers as bytes, seven bits each, the lowest first; exact to 2^53. */

export const zigzag = (value: number): number => (value < 0 ? -2 * value - 1 : 2 * value)
export const unzigzag = (value: number): number => (value % 2 === 1 ? -(value + 1) / 2 : value / 2)

export class BytesIn {
  constructor(
    readonly bytes: Uint8Array,
    public at = 0,
  ) {}
  take(): number {
    let byte = this.bytes[this.at++] ?? ended()
    if (byte < 0x80) return byte
    let value = byte & 0x7f
    let scale = 128
    do {
      byte = this.bytes[this.at++] ?? ended()
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

export class BytesOut {
  at = 0
  #bytes: Buffer
  constructor(size: number) {
    this.#bytes = Buffer.alloc(size)
  }
  put(value: number): void {
    this.#widen(9)
    let rest = value
    // Bit operations are 32 bits wide, hence division above.
    while (rest >= 0x80000000) {
      this.#bytes[this.at++] = (rest % 128) + 128
      rest = Math.floor(rest / 128)
    }
    while (rest >= 128) {
      this.#bytes[this.at++] = (rest & 0x7f) | 0x80
      rest >>>= 7
    }
    this.#bytes[this.at++] = rest
  }
  byte(value: number): void {
    this.#widen(1)
    this.#bytes[this.at++] = value
  }
  /** What was put; a piece of its own where it is to be kept. */
  done(): Buffer {
    return Buffer.from(this.#bytes.subarray(0, this.at))
  }
  #widen(by: number): void {
    if (this.at + by <= this.#bytes.length) return
    const wider = Buffer.alloc(this.#bytes.length * 2 + by)
    wider.set(this.#bytes)
    this.#bytes = wider
  }
}
