import { fits, readData, records } from './build.js'
import type { TubeRecord } from './types.js'

/**
 * A record from data in the shape of `data/` (its README), fitted on the spot as the catalogue's are: for a type that a
 * set's own file defines. Problems name the field; none when a record comes back.
 */
export function defineTube(raw: unknown): {
  readonly record: TubeRecord | null
  readonly problems: readonly string[]
} {
  const { data, problems } = readData([{ name: 'type', raw }])
  return { record: records(data, fits(data))[0] ?? null, problems }
}
