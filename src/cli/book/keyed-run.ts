import type { BookEntry } from '../../book/index.js'
import type { KeyedRun } from '../../proof/index.js'
import { readRun, whereIsRun } from '../../record/index.js'

/** The last run in a set's book, since anything was done to the set, that brought HT up in this mode and went to its end. */
export function keyedRunIn(entries: readonly BookEntry[], mode: string): KeyedRun | null {
  const changed =
    entries.findLast(({ body }) => body.kind === 'repair' || body.kind === 'replaced')?.seq ?? -1
  for (const { seq, body } of [...entries].reverse()) {
    if (seq < changed) break
    if (body.kind !== 'run' || body.outcome !== 'completed') continue
    const file = whereIsRun(body.file)
    const read = file === null ? null : readRun(file, (reader) => reader.known()?.plan ?? null)
    const plan = read !== null && 'value' in read ? read.value : null
    const keyed = plan?.steps.some(
      ({ mode: of, do: does, rail }) =>
        of === mode && does === 'raise' && rail !== null && plan.rails[rail]?.role === 'HT',
    )
    if (keyed === true) return { run: body.run, bench_kind: body.bench_kind }
  }
  return null
}
