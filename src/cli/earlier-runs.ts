import { type BookEntry, bookPath, readBook } from '../book/index.js'
import type { Equipment } from '../equipment/index.js'
import { type EarlierReading, type Plan, voltsOf, withLearned } from '../plan/index.js'
import { readRun, type RunReader, storyOf, whereIsRun } from '../record/index.js'

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

/** What the good runs in a set's book read, and which of them are not to be had: what they showed is then not counted, which must be said. */
export function readingsIn(
  entries: readonly RunEntry[],
  equipment: string,
): { readonly readings: readonly EarlierReading[]; readonly lost: string | null } {
  const lost: string[] = []
  const readings = entries.flatMap(({ body }): readonly EarlierReading[] => {
    const file = whereIsRun(body.file)
    const read =
      file === null
        ? null
        : readRun(file, (reader) => ({ found: readingsOf(reader, equipment), damage: reader.damage() }))
    if (read !== null && 'value' in read && read.value.damage.length === 0) return read.value.found
    lost.push(body.run)
    return []
  })
  return { readings, lost: lost.length === 0 ? null : lostRuns(lost) }
}

/** Runs that a book names and that lie neither there nor in the archive beside it, or cannot be read. */
export function lostRuns(runs: readonly string[]): string {
  const [one] = runs
  return runs.length === 1
    ? `A run in the set's book is not found where it says, nor in the archive beside it, or cannot be read, and is not counted: ${one ?? ''}.`
    : `${runs.length} runs in the set's book are not found where it says, nor in the archive beside it, or cannot be read, and are not counted: ${runs.join(', ')}.`
}

/** The plan with what this set's own good runs tell of it; as it is where its book holds none, or cannot be read. */
export function withEarlierRuns(plan: Plan, equipment: Equipment, equipmentPath: string): Plan {
  const book = readBook(bookPath(equipmentPath, equipment))
  if ('trouble' in book) return plan
  const { readings, lost } = readingsIn(goodRunsIn(book.entries, plan.bench_kind), equipment.name)
  const learned = readings.length === 0 ? plan : withLearned(plan, readings)
  return lost === null
    ? learned
    : { ...learned, unproved: [...learned.unproved, `What this set is wont to draw: ${lost}`] }
}
