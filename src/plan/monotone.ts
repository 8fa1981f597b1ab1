import type { RailName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { RailLimits, Step } from './types.js'

/**
 * A ceiling never lies higher at fewer volts: what a rail may draw at its top it may draw nowhere below. Ratings in watts
 * allow more amps at fewer volts, and a part that few volts cannot harm gives no ceiling there; neither is a reason to let
 * a fault go further early on than at the end.
 */
export function withMonotoneCeilings(steps: readonly Step[]): Step[] {
  const known = new Map<string, RailLimits[]>()
  for (const step of steps) {
    if (step.do === 'hook-up check') continue
    for (const [rail, limits] of Object.entries(step.limits)) {
      const key = `${step.mode} ${rail}`
      known.set(key, [...(known.get(key) ?? []), limits])
    }
  }
  return steps.map((step) => {
    if (step.do === 'hook-up check') return step
    const limits: Record<RailName, RailLimits> = {}
    for (const [rail, own] of Object.entries(step.limits)) {
      const above = (known.get(`${step.mode} ${rail}`) ?? []).filter(({ at_V }) => at_V > own.at_V)
      limits[rail] = lowered(own, above)
    }
    return { ...step, limits }
  })
}

function lowered(own: RailLimits, above: readonly RailLimits[]): RailLimits {
  const lowest = above.reduce<RailLimits | null>(
    (least, each) => (least === null || each.ceiling_A < least.ceiling_A ? each : least),
    null,
  )
  // A trip stands for the spread of healthy sets: it is never cut into.
  const ceiling_A = Math.max(own.trip_A, lowest?.ceiling_A ?? Infinity)
  if (lowest === null || ceiling_A >= own.ceiling_A) return own
  const source = lowest.because.find(({ limit }) => limit === 'ceiling')?.source ?? ''
  const because = own.because.map((reason) =>
    reason.limit === 'ceiling'
      ? {
          ...reason,
          value: ceiling_A,
          text: `ceiling ${show(ceiling_A, 'A')}: no more than at ${show(lowest.at_V, 'V')}, where the ceiling is ${show(lowest.ceiling_A, 'A')}`,
          source,
        }
      : reason,
  )
  return { ...own, ceiling_A, because }
}
