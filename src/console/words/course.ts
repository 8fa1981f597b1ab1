import type { Plan, RailLimits } from '../../plan/index.js'

/** The way of a plan in time: what each rail should draw and where it would be stopped, at every bend of the way. */
export interface CoursePoint {
  /** Seconds from the begin of the first step, if every step takes as long as expected. */
  readonly t_s: number
  readonly step: number
  /** Null: the rail is not energised here. */
  readonly limits: RailLimits | null
  readonly at_V: number
  /** Charging is allowed for here: the rail is being raised. */
  readonly rising: boolean
}
export interface Course {
  readonly rail: string
  readonly points: readonly CoursePoint[]
}

/** Steps that are sure: those that only follow a reading over a rating are left out, as the time left leaves them out. */
export const sureSteps = (plan: Plan): Plan['steps'] =>
  plan.steps.filter(({ only_if }) => only_if === undefined)

export function coursesOf(plan: Plan): readonly Course[] {
  return Object.keys(plan.rails).map((rail) => courseOf(plan, rail))
}

export function courseOf(plan: Plan, rail: string): Course {
  const points: CoursePoint[] = []
  let t_s = 0
  let volts = 0
  for (const step of sureSteps(plan)) {
    const limits = step.limits[rail] ?? null
    const to_V = limits?.at_V ?? 0
    const moves = step.rail === rail && (step.do === 'raise' || step.do === 'lower')
    const rise_s =
      moves && step.slew_V_per_s > 0
        ? Math.min(step.expected_s, Math.abs(to_V - volts) / step.slew_V_per_s)
        : 0
    const rising = moves && to_V > volts
    if (rise_s > 0) points.push({ t_s, step: step.index, limits, at_V: volts, rising })
    points.push({ t_s: t_s + rise_s, step: step.index, limits, at_V: to_V, rising: false })
    t_s += step.expected_s
    points.push({ t_s, step: step.index, limits, at_V: to_V, rising: false })
    volts = to_V
  }
  return { rail, points }
}

/** When each sure step begins, by its number, and when the last is over. */
export function beginsOf(plan: Plan): { readonly at_s: ReadonlyMap<number, number>; readonly end_s: number } {
  const at_s = new Map<number, number>()
  let t_s = 0
  for (const step of sureSteps(plan)) {
    at_s.set(step.index, t_s)
    t_s += step.expected_s
  }
  return { at_s, end_s: t_s }
}

/** Where the rail's current is to be read in A and not in mA. */
export function readsInAmps(plan: Plan, rail: string): boolean {
  return plan.steps.some(({ limits }) => (limits[rail]?.expected_A ?? 0) >= 2)
}

/** Rails as a person meets them: in the order in which they come on. */
const order = ['heater', 'bias', 'HT', 'screen', 'drive', 'other']
export function railsInOrder(plan: Plan): readonly string[] {
  return Object.values(plan.rails)
    .toSorted((a, b) => order.indexOf(a.role) - order.indexOf(b.role))
    .map(({ name }) => name)
}

/** A stage by its name: why the plan filled it in stands with the plan. */
export const stageName = (stage: string): string => stage.replace(/ \(filled in: .*\)$/s, '')
