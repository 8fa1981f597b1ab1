import type { Equipment } from '../equipment/index.js'
import type { ColdChecks, Plan } from '../plan/index.js'
import {
  type ColdFact,
  coldChecksOf,
  type ItemStanding,
  makeWorksheet,
  standingOf,
  type Worksheet,
} from '../worksheet/index.js'
import type { BookEntry } from './entries.js'
import { type Book, bookPath, type BookTrouble, readBook } from './store.js'

/** What of a book bears on the cold checks. */
export function coldFacts(entries: readonly BookEntry[]): ColdFact[] {
  return entries.flatMap(({ seq, at, by, body }): ColdFact[] => {
    const stamp = { seq, at, by }
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

export function coldState(equipment: Equipment, equipmentPath: string): ColdState | BookTrouble {
  const book = readBook(bookPath(equipmentPath))
  if ('trouble' in book) return book
  const sheet = makeWorksheet(equipment)
  return { book, sheet, standing: standingOf(sheet, coldFacts(book.entries)) }
}

/** What the book says at this moment to a plan of its set. A book that cannot be relied on keeps it from power, on any bench. */
export function coldChecksNow(
  { rails, bench_kind }: Pick<Plan, 'rails' | 'bench_kind'>,
  equipment: Equipment,
  equipmentPath: string,
): ColdChecks {
  const state = coldState(equipment, equipmentPath)
  if (!('trouble' in state)) return coldChecksOf(state.standing, Object.keys(rails), bench_kind)
  const text = `${state.trouble} What was found on the cold set is not known`
  return {
    blocks: [{ item: 'the book of the set', why: 'book', text }],
    ...{ not_asked: [], not_taken: [], marginal: [], waived: [] },
  }
}
