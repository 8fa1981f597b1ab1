import type { ModeName, RailName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { Element, Solution } from '../network/index.js'
import type { Plan, Step } from '../plan/index.js'
import type { Bed } from './bed.js'
import type { Noticed } from './coverage.js'
import type { PlanPoint } from './points.js'
import type { Fault, Point } from './types.js'

interface Seen {
  readonly how: Noticed['how']
  /** Rail whose current shows it; null for a meter. */
  readonly rail: RailName | null
  readonly by: string
  readonly limit: number
  readonly text: string
  readonly surely: boolean
}

interface AtStep {
  readonly plan: Plan
  readonly step: Step
  readonly limits: PlanPoint['limits']
  readonly amps: Readonly<Record<RailName, number>>
  readonly volts: Solution['volts']
  readonly expected: Readonly<Record<RailName, number>>
  /** Stages whose drive is gone. */
  readonly lost: readonly string[]
  /** By how much the bench may read a rail wrong there; left out, it reads true. */
  readonly error_A?: (rail: RailName, A: number) => number
}

/** What of a plan's rules a set with these currents and volts breaks at the end of a step; the one that acts at once first. */
export function noticedAt({
  plan,
  step,
  limits,
  amps,
  volts,
  expected,
  lost,
  error_A = () => 0,
}: AtStep): Seen | null {
  const asked: Seen[] = []
  for (const [rail, own] of Object.entries(limits)) {
    const A = amps[rail]
    const plain = expected[rail]
    if (A === undefined || plain === undefined || !isRead(plan, rail)) continue
    const by = plain > 0 ? A / plain : 1
    if (A > own.trip_A)
      return {
        how: 'off at once',
        rail,
        by: rail,
        limit: own.trip_A,
        text: `${rail} draws ${show(A, 'A')}, trip ${show(own.trip_A, 'A')}`,
        surely: own.lower_A * by > own.trip_A + error_A(rail, own.trip_A),
      }
    if (A < own.ask_A)
      asked.push({
        how: 'asked',
        rail,
        by: rail,
        limit: own.ask_A,
        text: `${rail} draws only ${show(A, 'A')}, asked below ${show(own.ask_A, 'A')}`,
        surely: own.upper_A * by < own.ask_A - error_A(rail, own.ask_A),
      })
  }
  for (const { name, at, against, watch } of Object.values(plan.meters)) {
    if (watch === undefined || at === null) continue
    const V = (volts[at] ?? 0) - (against === null ? 0 : (volts[against] ?? 0))
    const broken = watch.limits.find(
      ({ act, when, at: level }) =>
        act === 'trip' && level !== null && (when === 'above' ? V > level : when === 'below' && V < level),
    )
    if (broken !== undefined)
      return {
        how: 'off at once',
        rail: null,
        by: name,
        limit: broken.at ?? 0,
        text: `${name} reads ${show(V, 'V')}`,
        surely: true,
      }
  }
  if (step.needs_bias)
    for (const { bias } of Object.values(plan.rails)) {
      if (bias === null || bias.meter === null) continue
      const V = bias.sign * (volts[bias.node] ?? 0)
      if (V < bias.at_least_V)
        return {
          how: 'off at once',
          rail: null,
          by: bias.meter,
          limit: bias.at_least_V,
          text: `${bias.meter} reads ${show(V, 'V')} of bias at ${bias.node}, ${show(bias.at_least_V, 'V')} is needed`,
          surely: V < 0.8 * bias.at_least_V,
        }
    }
  const drive = (step.drive ?? []).find(
    ({ tube, meter, bias }) => lost.includes(tube) && (meter !== null || bias !== null),
  )
  if (drive !== undefined) {
    const by = drive.meter?.name ?? drive.bias?.rail ?? drive.tube
    return {
      how: 'off at once',
      rail: null,
      by,
      limit: 0,
      text: `${by} shows that ${drive.tube} has no drive`,
      surely: true,
    }
  }
  return asked[0] ?? null
}

export function isRead(plan: Plan, rail: RailName): boolean {
  const own = plan.rails[rail]
  return own !== undefined && (own.class === 'programmed' || own.amps_meter !== null)
}

interface HookupTrial {
  readonly step: number
  readonly rail: RailName
  readonly volts: number
  readonly low: number
  readonly high: number
  /** Ohms that a fault shows there; null where it could not be solved. */
  ohm(fault: Fault): number | null
}

/** The checks below 5 V of rails other than heaters, as the plan has them. */
export function hookupsOf(
  plan: Plan,
  bedOf: (mode: ModeName) => Bed,
  points: readonly PlanPoint[],
  /** The elements that a fault changes in the set at hand. */
  faulted: (bed: Bed, fault: Fault) => readonly Element[],
): HookupTrial[] {
  const rails = new Set(points.flatMap(({ point }) => Object.keys(point.volts)))
  return plan.steps.flatMap((step): HookupTrial[] => {
    const test = step.hookup
    if (test === null || !rails.has(test.rail)) return []
    const volts = test.test_V > 0 ? test.test_V : 1
    const { rail, ohm_low: low, ohm_high: high } = test
    const point: Point = { mode: step.mode, volts: { [rail]: volts }, hot: false }
    const bed = bedOf(step.mode)
    const bleeder_ohm = test.method === 'low volts' ? bed.bleeder_ohm(rail) : null
    const ohmOf = (changed: readonly Element[]): number | null => {
      const { solution } = bed.solve(point, changed, new Set())
      const A = -(solution.currents[rail]?.a ?? 0) + (bleeder_ohm === null ? 0 : volts / bleeder_ohm)
      return solution.converged ? volts / Math.max(A, 1e-12) : null
    }
    const whole_ohm = ohmOf([])
    // What the plan counts into it beside the circuit (a bleeder clipped on) stays as it is.
    const beside = whole_ohm === null || test.usual_ohm === undefined ? 1 : test.usual_ohm / whole_ohm
    return [
      {
        ...{ step: step.index, rail, volts, low, high },
        ohm(fault) {
          const ohm = ohmOf(faulted(bed, fault))
          return ohm === null ? null : ohm * beside
        },
      },
    ]
  })
}
