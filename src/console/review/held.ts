import type { ApiInForce } from '../../service/api/index.js'
import type { LimitPoint } from '../charts/limits.js'

/** What each limit was at every moment of the run. */
export function limitsHeld(rails: ApiInForce['rails'], rail: string, end_s: number): LimitPoint[] {
  const found = rails?.find((each) => each.rail === rail)
  if (found === undefined) return []
  const points: LimitPoint[] = []
  let held: LimitPoint['limits'] = null
  for (const [i, t_s] of found.t_s.entries()) {
    const [trip_A, ceiling_A] = [found.trip_A[i] ?? null, found.ceiling_A[i] ?? null]
    const limits =
      trip_A === null || ceiling_A === null
        ? null
        : {
            expected_A: found.expected_A[i] ?? Number.NaN,
            lower_A: found.lower_A[i] ?? Number.NaN,
            upper_A: found.upper_A[i] ?? Number.NaN,
            trip_A,
            ceiling_A,
          }
    if (held !== null) points.push({ t_s, limits: held })
    // Where the band begins or ends, the areas end and begin anew.
    if (limits === null || (held !== null && Number.isNaN(held.lower_A) !== Number.isNaN(limits.lower_A)))
      points.push({ t_s, limits: null })
    if (limits !== null) points.push({ t_s, limits })
    held = limits
  }
  if (held !== null) points.push({ t_s: end_s, limits: held })
  return points
}
