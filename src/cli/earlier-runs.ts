import { resolve } from 'node:path'
import { type BookEntry, bookPath, readBook } from '../book/index.js'
import type { Equipment } from '../equipment/index.js'
import { type EarlierReading, type Plan, voltsOf, withLearned } from '../plan/index.js'
import { readRun, type RunReader, storyOf } from '../record/index.js'

/** The newest of them tell of the set as it is. */
const mostRuns = 5

type RunEntry = BookEntry & { readonly body: Extract<BookEntry['body'], { readonly kind: 'run' }> }

/**
 * Runs in a set's book that went to their end, on benches of one kind, since something was last done to the set: what it drew
 * before a repair tells nothing of it now.
 */
export function goodRunsIn(
  entries: readonly BookEntry[],
  bench_kind: Plan['bench_kind'],
  until = '9999',
): RunEntry[] {
  const before = entries.filter(({ at }) => at < until)
  const changed = before.findLast(({ body }) => body.kind === 'repair' || body.kind === 'replaced')?.seq ?? -1
  return before
    .filter(
      (entry): entry is RunEntry =>
        entry.body.kind === 'run' &&
        entry.seq > changed &&
        entry.body.bench_kind === bench_kind &&
        entry.body.outcome === 'completed' &&
        entry.body.outputs_off === 'confirmed',
    )
    .slice(-mostRuns)
}

/** What each rail drew at the end of each step of a run, where it stood there and drew what was expected of it. */
export function readingsOf(reader: RunReader, equipment: string): EarlierReading[] {
  const known = reader.known()
  if (known === null || known.plan.equipment !== equipment) return []
  const { run, plan } = known
  return storyOf(reader, { seal: false }).steps.flatMap(({ index, mode, do: what, rails }) => {
    const step = plan.steps.find((each) => each.index === index)
    if (step === undefined || (what !== 'raise' && what !== 'hold')) return []
    return rails.flatMap(({ rail, amps, reached, verdict }) =>
      amps !== null && reached && verdict === 'in band'
        ? [{ run, mode, volts: voltsOf(step), rail, amps }]
        : [],
    )
  })
}

/** The plan with what this set's own good runs tell of it; as it is where its book holds none, or cannot be read. */
export function withEarlierRuns(plan: Plan, equipment: Equipment, equipmentPath: string): Plan {
  const book = readBook(bookPath(equipmentPath, equipment))
  if ('trouble' in book) return plan
  const readings = goodRunsIn(book.entries, plan.bench_kind).flatMap(({ body }) => {
    const read = readRun(resolve(body.file), (reader) => readingsOf(reader, equipment.name))
    return 'value' in read ? read.value : []
  })
  return readings.length === 0 ? plan : withLearned(plan, readings)
}
