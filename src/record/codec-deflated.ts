import { inflateSync } from 'node:zlib'
import { BytesIn, unzigzag } from './bytes.js'
import { RecordTrouble } from './trouble.js'

/* Blocks as run files of formats 1 and 2 have them; nothing writes them any more. */

/** As zlib begins a stream. */
export const isDeflated = (data: Uint8Array): boolean => data[0] === 0x78

/**
 * Columns of integers, each: first value, mean step, then what each difference is off that step (zigzag, 7 bits a byte); all
 * deflated together, with zlib's checksum over them. Throws `RecordTrouble` where bytes are damaged.
 */
export function decodeDeflated(data: Uint8Array, wanted: number): Float64Array[] {
  let bytes: Uint8Array
  try {
    bytes = inflateSync(data, { chunkSize })
  } catch (error) {
    throw new RecordTrouble('damaged', 'A block of readings in this run file is damaged.', { cause: error })
  }
  const from = new BytesIn(bytes)
  const count = from.take()
  // A residual takes at least one byte, so a longer count is damage, not a reason to reserve memory.
  if (count > bytes.length)
    throw new RecordTrouble('damaged', 'A block of readings claims more than it holds.')
  return Array.from({ length: wanted }, () => {
    const column = new Float64Array(count)
    let value = unzigzag(from.take())
    const step = unzigzag(from.take())
    if (count > 0) column[0] = value
    for (let i = 1; i < count; i++) column[i] = value += step + unzigzag(from.take())
    return column
  })
}

/** A block of readings in one piece, from the pool that small buffers share: an overview unpacks thousands. */
const chunkSize = 2048
