import { createHash } from 'node:crypto'
import { existsSync, statSync } from 'node:fs'
import Database from 'better-sqlite3'
import { type BookBody, type BookEntry, bookEntryShape } from './entries.js'

/*
 * The set's book on disk: one SQLite file beside the set's own file, open to any tool that reads SQLite. Every append is one
 * transaction, synced before it is acknowledged. The database itself refuses to change or take out a row, and each entry carries a
 * hash over itself and the one before it, so that a book that was written over by other means says so.
 */

/** "SLGB" in ASCII, in SQLite's application_id. */
const applicationId = 0x534c4742
const formatVersion = 1
/** Another program of ours may be writing. */
const wait_ms = 5000
/** A photograph larger than this is not a photograph. */
export const most_bytes = 64 * 1024 * 1024

const tables = `
CREATE TABLE entry (seq INTEGER PRIMARY KEY, at TEXT NOT NULL, by TEXT NOT NULL, "on" TEXT, kind TEXT NOT NULL,
  body TEXT NOT NULL, hash TEXT NOT NULL);
CREATE TABLE photograph (seq INTEGER PRIMARY KEY REFERENCES entry (seq), data BLOB NOT NULL);
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'a book is never rewritten'); END;
CREATE TRIGGER entry_kept BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'a book is never rewritten'); END;
CREATE TRIGGER photograph_stays BEFORE UPDATE ON photograph BEGIN SELECT RAISE(ABORT, 'a book is never rewritten'); END;
CREATE TRIGGER photograph_kept BEFORE DELETE ON photograph BEGIN SELECT RAISE(ABORT, 'a book is never rewritten'); END;
`

export interface Book {
  readonly path: string
  /** There is no such file yet: a set without a book has an empty one. */
  readonly exists: boolean
  readonly entries: readonly BookEntry[]
  /** Hash of the last entry: held against a printed book. Null while it is empty. */
  readonly last: string | null
}
export interface BookTrouble {
  readonly trouble: string
}

/** All of a book. One that cannot be read, or was changed by other means, is no book: what it holds is not to be relied on. */
export function readBook(path: string): Book | BookTrouble {
  if (!existsSync(path)) return { path, exists: false, entries: [], last: null }
  return withDatabase(path, true, (db) => {
    if (isNew(db)) return { path, exists: true, entries: [], last: null }
    const rows = db
      .prepare<[], Row>('SELECT seq, at, by, "on", kind, body, hash FROM entry ORDER BY seq')
      .all()
    const entries: BookEntry[] = []
    let last = ''
    for (const [i, row] of rows.entries()) {
      const hash = hashOf(last, row)
      if (row.seq !== i || hash !== row.hash)
        return {
          trouble: `${path} was changed by other means: entry ${i + 1} does not fit the one before it.`,
        }
      const read = bookEntryShape.safeParse({ ...stampOf(row), body: fromJson(row.body) })
      if (!read.success)
        return {
          trouble: `${path} holds what this version cannot read (entry ${i + 1}): ${issueOf(read.error)}.`,
        }
      entries.push(read.data)
      last = hash
    }
    return { path, exists: true, entries, last: last === '' ? null : last }
  })
}

/** Bytes of a photograph as they were attached; held against its hash. */
export function photographOf(path: string, entry: BookEntry): Uint8Array | BookTrouble {
  const { body, seq } = entry
  if (body.kind !== 'photograph') return { trouble: `Entry ${seq + 1} is no photograph.` }
  return withDatabase(path, true, (db) => {
    const data = db.prepare<[number]>('SELECT data FROM photograph WHERE seq = ?').pluck().get(seq)
    return data instanceof Uint8Array && sha256(data) === body.sha256
      ? data
      : { trouble: `The photograph ${body.name} in ${path} is missing or was changed by other means.` }
  })
}

export interface NewEntry {
  readonly body: BookBody
  readonly on?: string | null
  /** Of a photograph. */
  readonly data?: Uint8Array
}

/**
 * Writes entries behind the last one, all or none, on disk before it returns. A book that cannot be relied on takes nothing
 * more. `expects`: how many entries the book had when what is written was decided; others since then refuse it.
 */
export function appendToBook(
  path: string,
  { at, by, expects }: { readonly at: string; readonly by: string; readonly expects?: number },
  entries: readonly NewEntry[],
): { readonly added: readonly BookEntry[] } | BookTrouble {
  const before = readBook(path)
  if ('trouble' in before) return before
  return withDatabase(path, false, (db) => {
    db.pragma('synchronous = EXTRA')
    const write = db.transaction((): { added: BookEntry[] } => {
      if (isNew(db)) {
        db.exec(tables)
        db.pragma(`application_id = ${applicationId}`)
        db.pragma(`user_version = ${formatVersion}`)
      }
      const end = db
        .prepare<[], { seq: number; hash: string }>('SELECT seq, hash FROM entry ORDER BY seq DESC LIMIT 1')
        .get()
      let seq = (end?.seq ?? -1) + 1
      let last = end?.hash ?? ''
      if (expects !== undefined && expects !== seq)
        throw new NotWritten(`Somebody else has written to ${path} since. Look at it, and do this again.`)
      const added: BookEntry[] = []
      for (const { body, on = null, data } of entries) {
        const read = bookEntryShape.safeParse({ seq, at, by, on, body })
        if (!read.success) throw new NotWritten(`This cannot stand in a book: ${issueOf(read.error)}.`)
        if ((body.kind === 'photograph') !== (data !== undefined))
          throw new NotWritten('A photograph is written with its bytes, and nothing else is.')
        const row = { seq, at, by, on, kind: body.kind, body: JSON.stringify(read.data.body) }
        last = hashOf(last, row)
        db.prepare(
          'INSERT INTO entry (seq, at, by, "on", kind, body, hash) VALUES (?, ?, ?, ?, ?, ?, ?)',
        ).run(...[seq, at, by, on, body.kind, row.body, last])
        if (data !== undefined) db.prepare('INSERT INTO photograph (seq, data) VALUES (?, ?)').run(seq, data)
        added.push(read.data)
        seq++
      }
      return { added }
    })
    return write.immediate()
  })
}

/** Thrown inside a transaction only, so that nothing of it stays. */
class NotWritten extends Error {}

const issueOf = ({
  issues: [first],
}: {
  readonly issues: readonly { path: PropertyKey[]; message: string }[]
}): string => (first === undefined ? '' : `${first.path.map(String).join('.')}: ${first.message}`)

interface Row {
  readonly seq: number
  readonly at: string
  readonly by: string
  readonly on: string | null
  readonly kind: string
  readonly body: string
  readonly hash: string
}

const stampOf = ({ seq, at, by, on }: Row): object => ({ seq, at, by, on })

/** A photograph is under the hash by its own, which stands in its entry. */
function hashOf(last: string, { seq, at, by, on, kind, body }: Omit<Row, 'hash'>): string {
  return sha256(`${last}${JSON.stringify([seq, at, by, on, kind, body])}\n`)
}

export function sha256(data: string | Uint8Array): string {
  return createHash('sha256').update(data).digest('hex')
}

/** An empty file: its first append had begun and never came to its end. */
function isNew(db: Database.Database): boolean {
  return (
    db.pragma('application_id', { simple: true }) === 0 &&
    db.prepare('SELECT 1 FROM sqlite_schema').get() === undefined
  )
}

function withDatabase<T>(
  path: string,
  readonly: boolean,
  work: (db: Database.Database) => T,
): T | BookTrouble {
  let db: Database.Database | null = null
  try {
    // One left from a power cut is brought back to its last whole entry when it is next opened for writing.
    const mend = readonly && existsSync(`${path}-journal`) && statSync(`${path}-journal`).size > 0
    db = new Database(path, { readonly: readonly && !mend, timeout: wait_ms })
    db.pragma('trusted_schema = OFF')
    db.pragma('foreign_keys = ON')
    const id = db.pragma('application_id', { simple: true })
    const version = Number(db.pragma('user_version', { simple: true }))
    if (!isNew(db) && id !== applicationId) return { trouble: `${path} is no book of a set.` }
    if (version > formatVersion)
      return { trouble: `${path} was written by a newer version of slowglow; use that one.` }
    return work(db)
  } catch (error) {
    if (error instanceof NotWritten) return { trouble: error.message }
    const why = error instanceof Error ? error.message : String(error)
    const what = readonly ? 'cannot be read' : 'cannot be written to'
    return {
      trouble: `The book ${path} ${what} (${why}).${readonly ? '' : ' A set whose folder you cannot write to is copied to one of your own first.'}`,
    }
  } finally {
    db?.close()
  }
}

function fromJson(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return null
  }
}
