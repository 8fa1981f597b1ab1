import { type Equipment, ownMainsRail } from '../equipment/index.js'
import type { ColdChecks, Plan } from '../plan/index.js'
import {
  type ColdFact,
  coldChecksOf,
  type ItemStanding,
  mainsInsulation,
  makeWorksheet,
  standingOf,
  type Worksheet,
} from '../worksheet/index.js'
import type { BookEntry } from './entries.js'
import { type Book, type BookTrouble, readBook } from './store.js'
import { bookDoubt, bookPath } from './whose.js'

/** What of a book bears on the cold checks. */
export function coldFacts(entries: readonly BookEntry[]): ColdFact[] {
  return entries.flatMap(({ seq, at, by, on, body }): ColdFact[] => {
    const stamp = { seq, at, by, ...(on !== null && { on }) }
    switch (body.kind) {
      case 'reading': {
        const { item, value, verdict, wanted, unit } = body
        return [{ ...stamp, kind: 'reading', item, value, verdict, wanted, unit }]
      }
      case 'waiver':
        return [{ ...stamp, kind: 'waiver', item: body.item, of: body.of, reason: body.reason }]
      case 'repair':
        return [{ ...stamp, kind: 'repair', parts: body.parts, text: body.text }]
      case 'replaced':
        return [{ ...stamp, kind: 'repair', parts: [body.part], text: `${body.part} replaced` }]
      default:
        return []
    }
  })
}

/** A set's sheet with every reading in its place. */
export interface ColdState {
  readonly book: Book
  readonly sheet: Worksheet
  readonly standing: readonly ItemStanding[]
}

/** Readings stand this long where the set's file says nothing (our choice: parts in a shed change with its damp). */
const stands_s = 90 * 86_400

/** `bookFile`: the book by name, where it lies elsewhere. */
export function coldState(
  equipment: Equipment,
  equipmentPath: string,
  {
    bookFile,
    now = new Date().toISOString(),
    plugged = false,
  }: { readonly bookFile?: string; readonly now?: string; readonly plugged?: boolean } = {},
): ColdState | BookTrouble {
  const doubt = bookFile === undefined ? bookDoubt(equipmentPath, equipment) : null
  if (doubt !== null) return { trouble: `${doubt.what} ${doubt.remedy}` }
  const book = readBook(bookFile ?? bookPath(equipmentPath, equipment))
  if ('trouble' in book) return book
  const sheet = plugged ? pluggedIn(makeWorksheet(equipment)) : makeWorksheet(equipment)
  const clock = { now, stands_s: equipment.cold_valid_s ?? stands_s }
  return { book, sheet, standing: standingOf(sheet, coldFacts(book.entries), clock) }
}

/** Before a set goes to the mains by its own plug, its primary is known to be parted from its chassis. */
const pluggedIn = (sheet: Worksheet): Worksheet => ({
  ...sheet,
  checks: sheet.checks.map((check) =>
    check.item === mainsInsulation ? { ...check, must: true, waivable: false } : check,
  ),
})

/** What the book says at this moment to a plan of its set. A book that cannot be relied on keeps it from power, on any bench. */
export function coldChecksNow(
  { rails, bench_kind }: Pick<Plan, 'rails' | 'bench_kind'>,
  equipment: Equipment,
  equipmentPath: string,
): ColdChecks {
  const plugged = Object.hasOwn(rails, ownMainsRail)
  const state = coldState(equipment, equipmentPath, { plugged })
  // On its own transformer all of a set's rails are driven together.
  const driven = plugged ? Object.keys(equipment.rails) : Object.keys(rails)
  if (!('trouble' in state)) return coldChecksOf(state.standing, driven, bench_kind)
  const text = `${state.trouble} What was found on the cold set is not known`
  return {
    blocks: [{ item: 'the book of the set', why: 'book', text }],
    ...{ not_asked: [], not_taken: [], old: [], marginal: [], waived: [] },
  }
}
