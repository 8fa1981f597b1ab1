import { existsSync } from 'node:fs'
import { type BookEntry, coldState } from '../book/index.js'
import type { Equipment } from '../equipment/index.js'
import { type BookFact, type Learned, learnedWeights, type Seen, type SeenStep } from '../faults/index.js'
import { type EarlierReading, type Plan, voltsOf } from '../plan/index.js'
import { goodRunsIn, readingsIn } from './earlier-runs.js'

/** What a set's book tells a diagnosis of one of its runs. */
export interface FromBook {
  readonly weight: Learned['weight']
  readonly earlier?: { readonly seen: Seen; readonly runs: number }
  readonly told: readonly string[]
  /** Of it, what bears on how often faults come. */
  readonly weighed: readonly string[]
}

/**
 * Causes that were found and mended before this run, cold checks in range, and what the set drew in earlier runs that were in
 * order. Nothing where the set's file no longer lies where the record says, or has no book that can be read.
 */
export function learnedFor(
  plan: Plan,
  equipment: Equipment,
  equipmentPath: string,
  started: string,
): FromBook | null {
  if (!existsSync(equipmentPath)) return null
  const state = coldState(equipment, equipmentPath, { now: started })
  if ('trouble' in state || !state.book.exists) return null
  const before = state.book.entries.filter(({ at }) => at < started)
  const inRange = state.standing.flatMap(({ state: stands, check, reading }): BookFact[] =>
    stands === 'in range' && check !== null && reading !== null && reading.at < started
      ? [{ kind: 'in range', parts: check.parts, group: check.group }]
      : [],
  )
  const { weight, told } = learnedWeights(equipment, [...before.flatMap(factsOf), ...inRange])
  const { readings, lost } = readingsIn(goodRunsIn(before, plan.bench_kind), equipment.name)
  const runs = new Set(readings.map(({ run }) => run)).size
  const seen = seenBefore(plan, readings)
  return {
    weight,
    ...(seen !== null && { earlier: { seen, runs } }),
    weighed: told,
    told: [
      ...told,
      ...(lost === null ? [] : [lost]),
      ...(seen === null
        ? []
        : [
            `What it drew in ${runs} earlier run${runs === 1 ? '' : 's'} in order says what is usual for this set.`,
          ]),
    ],
  }
}

function factsOf({ body }: BookEntry): BookFact[] {
  if (body.kind === 'finding' && body.parts.length > 0) return [{ kind: 'found', parts: body.parts }]
  if (body.kind === 'repair' && body.parts.length > 0) return [{ kind: 'repaired', parts: body.parts }]
  return body.kind === 'replaced' ? [{ kind: 'repaired', parts: [body.part] }] : []
}

/** Earlier readings as steps of this plan, where the rails stood alike: their means. */
function seenBefore(plan: Plan, readings: readonly EarlierReading[]): Seen | null {
  const key = (volts: EarlierReading['volts']): string =>
    JSON.stringify(
      Object.entries(volts)
        .filter(([, V]) => V > 0)
        .sort(([a], [b]) => (a < b ? -1 : 1)),
    )
  const steps = plan.steps.flatMap((step): SeenStep[] => {
    if (step.do !== 'raise' && step.do !== 'hold') return []
    const volts = voltsOf(step)
    const alike = readings.filter((each) => each.mode === step.mode && key(each.volts) === key(volts))
    const rails = Object.entries(volts).flatMap(([rail, V]) => {
      const own = alike.filter((each) => each.rail === rail)
      const amps = own.reduce((sum, each) => sum + each.amps, 0) / Math.max(1, own.length)
      return own.length === 0 ? [] : [[rail, { volts: V, amps }] as const]
    })
    return rails.length === 0 ? [] : [{ step: step.index, rails: Object.fromEntries(rails), meters: {} }]
  })
  return steps.length === 0 ? null : { steps, tripped: null }
}
