import { floor_A, show } from '../limits/index.js'
import type { ModeName, RailName } from '../equipment/index.js'
import type { Plan, RailLimits, Reason, Step } from './types.js'

/** What one rail drew at the end of a step of an earlier run that was in order, all rails standing as they stood. */
export interface EarlierReading {
  readonly run: string
  readonly mode: ModeName
  /** Set-points of all rails that stood then. */
  readonly volts: Readonly<Record<RailName, number>>
  readonly rail: RailName
  readonly amps: number
}

/** One run alone may have been a lucky one. */
const leastRuns = 2
/** What the same set draws from run to run, standard deviation: tubes wake, mains and warmth differ (our choice, no source). */
const runToRun = 0.05
const points = { band: 1.645, limit: 3.09 } as const
const ours = "slowglow's own choice, no published source"
/** A limit that moves by less than this part is left as it is. */
const worth = 0.01

/**
 * The plan with bands drawn closer round what this very set drew in earlier good runs. A limit only ever moves inwards: no
 * trip is raised, no question comes later, ceilings and the supplies' own limits stay. Heaters and bias keep their own rules.
 */
export function withLearned(plan: Plan, earlier: readonly EarlierReading[]): Plan {
  const known = new Map<string, EarlierReading[]>()
  for (const each of earlier) {
    const key = keyOf(each.mode, each.volts, each.rail)
    known.set(key, [...(known.get(key) ?? []), each])
  }
  const lines: string[] = []
  const runs = new Set<string>()
  const steps = plan.steps.map((step): Step => {
    if (step.do !== 'raise' && step.do !== 'hold') return step
    const volts = voltsOf(step)
    const limits = Object.fromEntries(
      Object.entries(step.limits).map(([rail, own]): [RailName, RailLimits] => {
        const seen = known.get(keyOf(step.mode, volts, rail)) ?? []
        const closer = isLearned(plan, rail) ? closerLimits(plan, rail, own, seen) : null
        if (closer === null) return [rail, own]
        for (const { run } of seen) runs.add(run)
        lines.push(
          `Step ${step.index}, ${rail}: band ${show(own.lower_A, 'A')} to ${show(own.upper_A, 'A')} now ${show(closer.lower_A, 'A')} to ${show(closer.upper_A, 'A')}, trip ${show(own.trip_A, 'A')} now ${show(closer.trip_A, 'A')}.`,
        )
        return [rail, closer]
      }),
    )
    return Object.entries(limits).some(([rail, own]) => own !== step.limits[rail])
      ? { ...step, limits }
      : step
  })
  return lines.length === 0 ? plan : { ...plan, steps, learned: { from: [...runs], lines } }
}

/** Set-points of a step, as they are held against those of an earlier run. */
export function voltsOf({ limits }: Pick<Step, 'limits'>): Record<RailName, number> {
  return Object.fromEntries(Object.entries(limits).map(([rail, { at_V }]) => [rail, at_V]))
}

function keyOf(mode: ModeName, volts: Readonly<Record<RailName, number>>, rail: RailName): string {
  const sorted = Object.entries(volts)
    .filter(([, V]) => V > 0)
    .sort(([a], [b]) => (a < b ? -1 : 1))
  return `${mode} ${JSON.stringify(sorted)} ${rail}`
}

function isLearned({ rails }: Plan, rail: RailName): boolean {
  const role = rails[rail]?.role
  return role !== undefined && role !== 'heater' && role !== 'bias'
}

function closerLimits(
  { rails }: Plan,
  rail: RailName,
  own: RailLimits,
  seen: readonly EarlierReading[],
): RailLimits | null {
  const runs = [...new Set(seen.map(({ run }) => run))]
  const amps = seen.map((each) => each.amps).filter((A) => A > 0)
  if (runs.length < leastRuns || amps.length < leastRuns) return null
  const logs = amps.map(Math.log)
  const n = logs.length
  const mean = logs.reduce((sum, each) => sum + each, 0) / n
  const spread = Math.sqrt(logs.reduce((sum, each) => sum + (each - mean) * (each - mean), 0) / (n - 1))
  const sigma = Math.max(runToRun, spread) * Math.sqrt(1 + 1 / n)
  const usual_A = Math.exp(mean)
  // A set that drew what is no longer expected of it is judged by what is expected.
  if (usual_A < own.lower_A || usual_A > own.upper_A) return null
  const room_A = floor_A(own.expected_A, rails[rail]?.channels[0]?.resolution_A ?? 0.001)
  const at = (deviations: number): number => usual_A * Math.exp(deviations * sigma)
  const lower_A = Math.max(own.lower_A, at(-points.band) - room_A)
  const upper_A = Math.min(own.upper_A, at(points.band) + room_A)
  const ask_A = Math.min(lower_A, Math.max(own.ask_A, at(-points.limit) - room_A))
  const trip_A = Math.min(own.trip_A, at(points.limit) + room_A)
  const closer = (was: number, now: number): boolean => Math.abs(now - was) > worth * was
  if (!closer(own.lower_A, lower_A) && !closer(own.upper_A, upper_A) && !closer(own.trip_A, trip_A))
    return null
  const of = `${n} good runs of this very set drew ${show(Math.min(...amps), 'A')} to ${show(Math.max(...amps), 'A')} here`
  const source = `runs in the set's book: ${runs.join(', ')}; that a set draws ${show(runToRun, 'ratio')} more or less from run to run: ${ours}`
  const because: Reason[] = [
    ...own.because,
    {
      ...{ limit: 'band', value: upper_A, unit: 'A', source },
      text: `band ${show(lower_A, 'A')} to ${show(upper_A, 'A')}: ${of}`,
    },
    ...(trip_A < own.trip_A
      ? [
          {
            ...{ limit: 'trip' as const, value: trip_A, unit: 'A' as const, source },
            text: `trip ${show(trip_A, 'A')}: ${of}; by its parts alone it would be ${show(own.trip_A, 'A')}`,
          },
        ]
      : []),
  ]
  return { ...own, lower_A, upper_A, ask_A, trip_A, because }
}
