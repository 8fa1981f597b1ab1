import { isCurrentRead, type Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'

/** A rail's limits at the volts of one step, SI units. */
export interface Point {
  readonly step: number
  readonly V: number
  readonly expected_A: number
  readonly lower_A: number
  readonly upper_A: number
  readonly ask_A: number
  readonly trip_A: number
  readonly ceiling_A: number
  /** The trip is a limit stated by hand. */
  readonly by_hand: boolean
}

/** Rails that are raised in at least two steps, in each mode, with their limits along the volts: what is worth drawing. */
export interface Course {
  readonly rail: string
  readonly mode: string
  readonly points: readonly Point[]
}

export function coursesOf(plan: Plan): Course[] {
  const courses = new Map<string, { rail: string; mode: string; points: Point[] }>()
  for (const step of plan.steps) {
    if (step.do !== 'raise' || step.rail === null) continue
    const limits = step.limits[step.rail]
    const rail = plan.rails[step.rail]
    // A trip that nothing can see is not drawn as one that guards.
    if (limits === undefined || (rail !== undefined && !isCurrentRead(rail))) continue
    const key = `${step.rail} ${step.mode}`
    const course = courses.get(key) ?? { rail: step.rail, mode: step.mode, points: [] }
    courses.set(key, course)
    const { at_V, expected_A, lower_A, upper_A, ask_A, trip_A, ceiling_A } = limits
    course.points.push({
      step: step.index,
      V: at_V,
      expected_A,
      lower_A,
      upper_A,
      ask_A,
      trip_A,
      ceiling_A,
      by_hand: limits.manual?.in_force === true,
    })
  }
  return [...courses.values()]
    .map(({ rail, mode, points }) => ({ rail, mode, points: points.toSorted((a, b) => a.V - b.V) }))
    .filter(({ points }) => new Set(points.map(({ V }) => V)).size > 1)
}

/** What the trip's line is called: a limit stated by hand is never drawn as one that was computed. */
export function tripName(points: readonly Point[]): string {
  const from = points.find(({ by_hand }) => by_hand)
  if (from === undefined) return 'trip'
  return points.every(({ by_hand }) => by_hand)
    ? 'trip by hand'
    : `trip, by hand from ${formatQuantity(from.V, 'V')}`
}

/** A round step so that about `count` of them reach `most`. */
export function roundStep(most: number, count: number): number {
  const rough = most / count
  const size = Math.exp(Math.floor(Math.log10(rough)) * Math.LN10)
  const factor = [1, 2, 5, 10].find((each) => each * size >= rough * 0.999) ?? 10
  return Number((factor * size).toPrecision(6))
}
