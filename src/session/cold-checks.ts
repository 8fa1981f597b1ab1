import { appendToBook, bookPath, coldChecksNow, readBook } from '../book/index.js'
import { readRun, runNameOf } from '../record/index.js'
import type { ColdChecks, Plan } from '../plan/index.js'
import type { RunEnding } from '../story/index.js'
import { handsOpen, offSaid, outputsOpen } from './off-words.js'
import type { NotBegun, Start } from './types.js'

/*
 * The interlock of the cold checks: a set that was found out of range, or of which the few readings that must be taken were not,
 * gets no power until that is resolved or waived in writing.
 */

/** A set is joined to the bench: neither a resistor in its place nor parts lifted out of it. */
const withSet = ({ kind, reform }: Plan): boolean => kind !== 'qualify' && reform === undefined

/** What keeps this plan from power by its set's cold checks; null where nothing does. */
export function coldObjection(plan: Plan): NotBegun | null {
  if (!withSet(plan)) return null
  const { cold_checks } = plan
  // A plan that says nothing of them was not made for power on a real set.
  if (cold_checks === undefined)
    return plan.bench_kind === 'real'
      ? refused(['this plan says nothing of them: make it anew'], 'Plan again')
      : null
  return objected(cold_checks)
}

/**
 * The same at the last moment, with the book read again: what was written to it since the plan was made counts, and the record
 * of the run must not say otherwise.
 */
export function coldObjectionNow({ prepared, plan }: Start): NotBegun | null {
  const planned = coldObjection(plan)
  if (planned !== null || !withSet(plan) || prepared.set_path === undefined) return planned
  const now = coldChecksNow(plan, prepared.equipment, prepared.set_path)
  const objection = objected(now)
  if (objection !== null) return objection
  const said = ({ waived, marginal }: ColdChecks): string => JSON.stringify([waived, marginal])
  if (plan.cold_checks === undefined || said(plan.cold_checks) === said(now)) return null
  return refused(
    ["the set's book was written to since this plan was made"],
    'Start again: the plan then says what it holds',
  )
}

function objected({ blocks }: ColdChecks): NotBegun | null {
  if (blocks.length === 0) return null
  const untaken = blocks.filter(({ why }) => why === 'not taken')
  const bad = blocks.filter(({ why }) => why !== 'not taken')
  return refused(
    [
      ...bad.map(({ item, text }) => `${item}: ${text}`),
      ...(untaken.length === 0
        ? []
        : [`to be taken before the first volt: ${untaken.map(({ item }) => item).join(', ')}`]),
    ],
    `Take what was not taken; find and mend what is out of range and read it again: slowglow worksheet FILE prints the sheet, --record ITEM=VALUE keeps a reading (on the page: Prepare, Cold checks). What is to be run all the same is waived in writing: slowglow book FILE --waive ITEM --because "…"`,
  )
}

const refused = (lines: readonly string[], remedy: string): NotBegun => ({
  kind: 'not begun',
  why: 'cold checks',
  what: `The cold checks of this set keep it from power:\n${lines.map((line) => `- ${line}`).join('\n')}\nNothing was energised.`,
  remedy: `${remedy}.`,
})

/** The last link of the run's seal, which says what the file was when the book was written; null where it has none. */
function lastLink(file: string): string | null {
  const read = readRun(file, (reader) => reader.lastLink())
  return 'value' in read ? read.value : null
}

/** Where no output was slowglow's to confirm that is no alarm; a knob that nobody said is down is one. */
function offInBook(ending: RunEnding): string {
  const said = offSaid(ending)
  const open = handsOpen(ending)
  // What slowglow switches is said first: a knob that nobody answered for must not hide it.
  if (outputsOpen(said))
    return open.length === 0 ? 'not confirmed' : `not confirmed; nor by the person: ${open.join(', ')}`
  if (open.length > 0) return `not confirmed by the person: ${open.join(', ')}`
  return said.nothing_to_confirm ? 'nothing to confirm' : ending.outputs_off
}

/** A run in the book of its set, where the set has one. Returns why it could not be written; the run's own record has it all the same. */
export function runInBook(
  { prepared, plan, command }: Start,
  ending: RunEnding,
  file: string,
  by: string,
): string | null {
  if (prepared.set_path === undefined || !withSet(plan) || command !== 'run') return null
  const path = bookPath(prepared.set_path, prepared.equipment)
  const book = readBook(path)
  if ('trouble' in book) return book.trouble
  if (!book.exists) return null
  const body = {
    kind: 'run',
    run: runNameOf(file),
    file,
    profile: plan.profile,
    bench_kind: plan.bench_kind,
    outcome: ending.outcome,
    outputs_off: offInBook(ending),
    reason: ending.reason?.text ?? null,
    seal: lastLink(file),
  } as const
  const written = appendToBook(path, { at: new Date().toISOString(), by }, [{ body }])
  return 'trouble' in written ? written.trouble : null
}
