import { type BookEntry, bookPath, readBook } from '../book/index.js'
import { type Equipment, ownMainsRail } from '../equipment/index.js'
import type { Plan } from '../plan/index.js'
import { readRun, whereIsRun } from '../record/index.js'
import { lostRuns } from './earlier-runs.js'

/*
 * A set's own pack is joined last: its transformer was tried alone, and the set drew what it should on bench supplies. What its book
 * shows no run of is told, and confirmed by the person as one more line of the hook-up.
 */

const joins = ({ steps }: Plan): boolean => steps.some(({ ask }) => ask?.about === 'fit rectifier')
const onOwnPack = ({ rails }: Plan): boolean => Object.hasOwn(rails, ownMainsRail)
const onBench = (plan: Plan): boolean =>
  !onOwnPack(plan) &&
  plan.reform === undefined &&
  plan.steps.some(
    ({ do: does, rail }) => does === 'raise' && rail !== null && plan.rails[rail]?.role === 'HT',
  )

/** Plans of its runs that went to their end after what `changed` says was done to the set; `lost` takes the names of those not to be had. */
function plansSince(
  entries: readonly BookEntry[],
  bench_kind: Plan['bench_kind'],
  changed: (entry: BookEntry) => boolean,
  lost: Set<string>,
): Plan[] {
  const since = entries.findLast(changed)?.seq ?? -1
  return entries.flatMap(({ seq, body }) => {
    if (body.kind !== 'run' || seq < since || body.bench_kind !== bench_kind || body.outcome !== 'completed')
      return []
    const file = whereIsRun(body.file)
    const read = file === null ? null : readRun(file, (reader) => reader.known()?.plan ?? null)
    if (read !== null && 'value' in read && read.value !== null) return [read.value]
    lost.add(body.run)
    return []
  })
}

/** The plan with what its book does not show of the order; as it is where it joins no pack. */
export function withOrder(plan: Plan, equipment: Equipment, equipmentPath: string): Plan {
  const own = equipment.own_mains
  if (own === undefined || !joins(plan)) return plan
  const book = readBook(bookPath(equipmentPath, equipment))
  const entries = 'trouble' in book ? [] : book.entries
  const iron = [own.transformer, ...Object.keys(own.windings)]
  const partsOf = ({ body }: BookEntry): readonly string[] | null =>
    body.kind === 'replaced' ? [body.part] : body.kind === 'repair' ? body.parts : null
  // A repair that names no part may have been of anything.
  const ofIron = (entry: BookEntry): boolean => {
    const parts = partsOf(entry)
    return parts !== null && (parts.length === 0 || parts.some((part) => iron.includes(part)))
  }
  const lost = new Set<string>()
  const tried = plansSince(entries, plan.bench_kind, ofIron, lost).some(
    (each) => onOwnPack(each) && !joins(each),
  )
  const raised = plansSince(entries, plan.bench_kind, (entry) => partsOf(entry) !== null, lost).some(onBench)
  const missing = [
    ...(tried ? [] : [`${own.transformer} alone, with nothing on it, since it was last worked on`]),
    ...(raised ? [] : ['a bring-up on bench supplies since the set was last worked on']),
  ]
  if (missing.length === 0) return plan
  const said = `its own pack is joined last, and its book holds no run to its end of ${missing.join(', nor of ')}`
  return {
    ...plan,
    wires: [{ of: 'first', text: `${said}: it was done all the same, or you know why not` }, ...plan.wires],
    unproved: [
      ...plan.unproved,
      `${said.replace(/^i/, 'I')}.${lost.size === 0 ? '' : ` ${lostRuns([...lost])}`}`,
    ],
  }
}
