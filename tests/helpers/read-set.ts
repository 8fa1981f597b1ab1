import { appendToBook, type BookBody, bookPath } from '../../src/book/index.js'
import { loadEquipment } from '../../src/files/index.js'
import { makeWorksheet } from '../../src/worksheet/index.js'

/** What must be taken of a cold set, taken and in range, in the book beside its file: a real bench gives it power then. */
export function readSet(equipmentPath: string): void {
  const equipment = loadEquipment(equipmentPath).value
  if (equipment === null) throw new Error(`${equipmentPath} is not sound.`)
  const bodies = makeWorksheet(equipment).checks.flatMap(
    ({ must, item, usual, unit, wanted }): BookBody[] => {
      const value = usual ?? 0
      const verdict = 'in range'
      const [kind, written, meter] = ['reading', String(value), ''] as const
      return must ? [{ kind, item, value, unit, written, verdict, wanted, meter }] : []
    },
  )
  const stamp = { at: new Date().toISOString(), by: 'test' }
  const kept = appendToBook(
    bookPath(equipmentPath),
    stamp,
    bodies.map((body) => ({ body })),
  )
  if ('trouble' in kept) throw new Error(kept.trouble)
}
