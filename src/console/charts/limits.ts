import type { RailLimits } from '../../plan/index.js'
import type { Course } from '../words/course.js'
import type { Seen } from '../live/history.js'

/** A bend of the limits in time; null where the rail is not judged. Figures in A; a band that is no yardstick is no number. */
export interface LimitPoint {
  readonly t_s: number
  readonly limits: Pick<RailLimits, 'expected_A' | 'lower_A' | 'upper_A' | 'trip_A' | 'ceiling_A'> | null
}

/** What was in force as the run went. */
export function limitsSeen(seen: Seen, from_s: number): LimitPoint[] {
  const points: LimitPoint[] = []
  let last = ''
  let held: LimitPoint | null = null
  for (let i = 0; i < seen.t_s.length; i++) {
    const t_s = seen.t_s[i] ?? 0
    const [lower_A, upper_A, trip_A, ceiling_A] = [
      seen.lower_A[i],
      seen.upper_A[i],
      seen.trip_A[i],
      seen.ceiling_A[i],
    ]
    const limits =
      lower_A == null || upper_A == null || trip_A == null || ceiling_A == null
        ? null
        : { expected_A: Number.NaN, lower_A, upper_A, trip_A, ceiling_A }
    const key = limits === null ? '' : `${lower_A}|${upper_A}|${trip_A}|${ceiling_A}`
    const point = { t_s, limits }
    if (t_s >= from_s && (key !== last || points.length === 0)) {
      if (held !== null && points.length > 0) points.push({ ...held, t_s })
      points.push(point)
    }
    last = key
    held = point
  }
  if (held !== null) points.push(held)
  return points
}

/** Where it is going: the way of the plan from here, moved to now. */
export function limitsAhead(course: Course, courseNow_s: number, now_s: number): LimitPoint[] {
  return course.points
    .filter(({ t_s }) => t_s >= courseNow_s)
    .map(({ t_s, limits, rising }) => ({
      t_s: t_s - courseNow_s + now_s,
      limits:
        limits === null || !rising
          ? limits
          : {
              ...limits,
              trip_A: limits.trip_A + limits.charge_A,
              ceiling_A: limits.ceiling_A + limits.charge_A,
            },
    }))
}

/** A whole plan from its begin. */
export const limitsOf = (course: Course): LimitPoint[] => limitsAhead(course, 0, 0)
