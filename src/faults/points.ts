import type { Equipment, RailName } from '../equipment/index.js'
import type { Plan, RailLimits, Step } from '../plan/index.js'
import type { Point } from './types.js'

/** A step of a plan at which rails other than heaters stand, each set of volts once in its mode. */
export interface PlanPoint {
  readonly step: Step
  readonly point: Point
  readonly limits: Readonly<Record<RailName, RailLimits>>
}

/** Where a plan raises plates, screens, bias or drive to, in its order. */
export function pointsOf(equipment: Equipment, plan: Plan): PlanPoint[] {
  const found: PlanPoint[] = []
  const seen = new Set<string>()
  for (const step of plan.steps) {
    if ((step.do !== 'raise' && step.do !== 'hold') || step.only_if !== undefined) continue
    const point = pointOf(equipment, step)
    const key = `${step.mode} ${JSON.stringify(point.volts)}`
    if (Object.keys(point.volts).length === 0 || seen.has(key)) continue
    seen.add(key)
    found.push({ step, point, limits: step.limits })
  }
  return found
}

/** Where the rails stand at the end of a step; with each supply's own limit. */
export function pointOf(equipment: Equipment, { mode, limits }: Pick<Step, 'mode' | 'limits'>): Point {
  const volts: Record<RailName, number> = {}
  const limits_A: Record<RailName, number> = {}
  const roles = Object.values(equipment.rails).map(({ role }) => role)
  let heated = !roles.includes('heater')
  for (const [rail, { at_V, supply_limit_A }] of Object.entries(limits)) {
    if (equipment.rails[rail]?.role === 'heater') heated ||= at_V > 0
    else if (at_V > 0) {
      volts[rail] = at_V
      limits_A[rail] = supply_limit_A
    }
  }
  return { mode, volts, hot: heated, limits_A }
}
