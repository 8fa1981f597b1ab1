import type Database from 'better-sqlite3'
import { isOfTheBytes } from './open.js'
import { RecordTrouble } from './trouble.js'

/** How a block of readings or ticks that cannot be unpacked is told. */
export const aBlock = 'a block of readings or ticks'

/**
 * What of a damaged run file could not be read, in sentences for a person, while the rest of it is. Nothing takes the place of what
 * is missing.
 */
export class Damage {
  readonly #told = new Map<string, { count: number; readonly why: string }>()

  /** `what`: as it is told, such as `a block of readings`; `why`: of the first. */
  note(what: string, why: string): void {
    const known = this.#told.get(what)
    if (known === undefined) this.#told.set(what, { count: 1, why })
    else known.count++
  }

  list(): readonly string[] {
    return [...this.#told].map(
      ([what, { count, why }]) => `${what}${count > 1 ? ` (${count} times)` : ''}: ${why}`,
    )
  }

  /** What `work` gives, or null where the file is damaged there. Any other error is not the file's, and goes on. */
  past<T>(what: string, work: () => T): T | null {
    try {
      return work()
    } catch (error) {
      this.note(what, whyOf(error))
      return null
    }
  }

  /**
   * All rows of a plain table in the order of their `seq`, as far as they can be read: from the beginning, and where that breaks
   * off, from the end as well.
   */
  rows(db: Database.Database, select: string, table: string): { readonly seq: number }[] {
    const found: { readonly seq: number }[] = []
    if (this.#each(db, `SELECT ${select} ORDER BY seq`, table, found)) return found
    const end: { readonly seq: number }[] = []
    this.#each(db, `SELECT ${select} ORDER BY seq DESC`, table, end, found.at(-1)?.seq ?? -1)
    return [...found, ...end.reverse()]
  }

  /** False where it broke off. */
  #each(
    db: Database.Database,
    sql: string,
    table: string,
    into: { readonly seq: number }[],
    downTo = -Infinity,
  ): boolean {
    try {
      for (const row of db.prepare<[], { readonly seq: number }>(sql).iterate()) {
        if (row.seq <= downTo) break
        into.push(row)
      }
      return true
    } catch (error) {
      this.note(`some ${table}`, whyOf(error))
      return false
    }
  }
}

/** SQLite's own word for damage, or ours; any other error is thrown again: a busy or failing disk says nothing about the file. */
function whyOf(error: unknown): string {
  if (error instanceof RecordTrouble && error.code === 'damaged') return error.message
  if (error instanceof Error && isOfTheBytes(error)) return error.message
  throw error
}
