import type { Held, LiveHeld } from '../../service/api/index.js'

/** What a rail was held against at a moment of the run, s; null where none of a step's limits was in force, or it is not known. */
export function heldAt(rails: LiveHeld['rails'], rail: string): (t_s: number) => Held | null {
  const found = rails.find((each) => each.rail === rail)
  if (found === undefined) return () => null
  return (t_s) => {
    const at = found.t_s.findLastIndex((from_s) => from_s <= t_s)
    const [lower_A, upper_A, trip_A, ceiling_A] = [
      found.lower_A[at] ?? null,
      found.upper_A[at] ?? null,
      found.trip_A[at] ?? null,
      found.ceiling_A[at] ?? null,
    ]
    return lower_A === null || upper_A === null || trip_A === null || ceiling_A === null
      ? null
      : { lower_A, upper_A, trip_A, ceiling_A }
  }
}
