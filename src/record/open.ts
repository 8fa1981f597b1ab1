import { closeSync, existsSync, fstatSync, openSync, readFileSync, readSync } from 'node:fs'
import Database from 'better-sqlite3'
import { applicationId, formatVersion } from './layout.js'

/**
 * How the file stands: `whole` is one closed file; `open` has its newest part in a `-wal` beside it (a live run, or one
 * whose recorder was killed); `wal missing` was copied or moved without that part; `cut short` has lost its end.
 */
export type Standing = 'whole' | 'open' | 'wal missing' | 'cut short'

/** The database behind a run file, read only, or why it cannot be read, in a sentence. */
export function openDatabase(
  path: string,
): { readonly db: Database.Database; readonly standing: Standing } | { readonly trouble: string } {
  const head = readHead(path)
  if ('trouble' in head) return head
  const standing: Standing = head.cut
    ? 'cut short'
    : !head.wal
      ? 'whole'
      : existsSync(`${path}-wal`)
        ? 'open'
        : 'wal missing'
  let db: Database.Database | null = null
  try {
    db =
      standing === 'wal missing' || standing === 'cut short'
        ? asItLies(path, head.bytes)
        : new Database(path, { readonly: true, timeout: 2000 })
    db.pragma('trusted_schema = OFF')
    db.pragma(`cache_size = -${cache_kB}`)
    db.prepare('SELECT count(*) FROM known').get()
    return { db, standing }
  } catch (error) {
    db?.close()
    const why = error instanceof Error ? error.message : String(error)
    if (error instanceof Database.SqliteError && error.code === 'SQLITE_CANTOPEN')
      return {
        trouble: `The run file ${path} cannot be opened beside its unfinished part, ${path}-wal (${why}). Copy both to a folder that you can write to and open them there.`,
      }
    return { trouble: unreadable(path, error) }
  }
}

/** A page holds blocks of several streams of one time, and an overview goes over the streams one by one: it reads each page once. */
const cache_kB = 16_384

/**
 * Read from memory, marked as not in WAL: opened where it lies, SQLite would make an empty `-wal` beside it and hide that
 * the true one is missing. What was cut off is put back as nothing: SQLite then reads every page that is there, and says
 * which it wanted and did not find.
 */
function asItLies(path: string, size: number): Database.Database {
  const there = readFileSync(path)
  const bytes = there.length >= size ? there : Buffer.concat([there, Buffer.alloc(size - there.length)])
  bytes.fill(1, 18, 20)
  return new Database(bytes, { readonly: true })
}

/** Of a file that is put together again in memory: far above a week's record. */
const most_bytes = 1e9

/** Beside its own word for damage: our statements are fixed, so a column that is not there is a schema with changed bytes. */
const ofTheBytes: ReadonlySet<string> = new Set(['SQLITE_NOTADB', 'SQLITE_ERROR', 'SQLITE_TOOBIG'])

/** The error is one of what the file holds, not of the disk, a lock or the memory, which may be well again in a moment. */
export function isOfTheBytes(error: unknown): boolean {
  if (!(error instanceof Database.SqliteError)) return false
  return error.code.startsWith('SQLITE_CORRUPT') || ofTheBytes.has(error.code)
}

/** Why a run file cannot be read, in a sentence. */
export function unreadable(path: string, error: unknown): string {
  const why = error instanceof Error ? error.message : String(error)
  return error instanceof Database.SqliteError && !isOfTheBytes(error)
    ? `The run file ${path} cannot be read just now (${why}); that says nothing about what is in it. See that no other program holds it and that its disk answers, and try again.`
    : `The run file ${path} is damaged and cannot be read (${why}). If there is another copy, use that one.`
}

/** SQLite's file header: magic at 0, page size at 16, journal at 18, pages at 28, user_version at 60, application_id at 68. */
function readHead(
  path: string,
): { readonly wal: boolean; readonly cut: boolean; readonly bytes: number } | { readonly trouble: string } {
  const head = Buffer.alloc(100)
  let size = 0
  let got = 0
  try {
    const handle = openSync(path, 'r')
    try {
      const stat = fstatSync(handle)
      if (!stat.isFile()) return { trouble: `${path} is not a file, so not a run file.` }
      size = stat.size
      got = readSync(handle, head, 0, 100, 0)
    } finally {
      closeSync(handle)
    }
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'ENOENT')
      return { trouble: `There is no run file ${path}. \`slowglow runs\` lists those that there are.` }
    return {
      trouble: `The run file ${path} cannot be read (${error instanceof Error ? error.message : String(error)}).`,
    }
  }
  if (size === 0)
    return {
      trouble: `The run file ${path} is empty: its run ended before anything was recorded, or a copy broke off.`,
    }
  if (got < 100 || head.toString('latin1', 0, 16) !== 'SQLite format 3\0')
    return { trouble: `${path} is not a run file.` }
  if (head.readUInt32BE(68) !== applicationId)
    return { trouble: `${path} is a database, but not a run file of slowglow.` }
  const version = head.readUInt32BE(60)
  if (version > formatVersion)
    return {
      trouble: `${path} has run file format ${version}; this slowglow reads formats up to ${formatVersion}. Open it with a newer slowglow.`,
    }
  const pageSize = head.readUInt16BE(16) === 1 ? 65_536 : head.readUInt16BE(16)
  const expected = pageSize * head.readUInt32BE(28)
  const wal = head[18] === 2
  // A kill in the middle of a checkpoint leaves it short, and what it lacks in the `-wal`.
  const cut = size < expected && !(wal && existsSync(`${path}-wal`))
  if (cut && expected > most_bytes)
    return {
      trouble: `The run file ${path} is cut short: ${size} of ${expected} bytes are there. A copy broke off; copy it again from where the run was made.`,
    }
  return { wal, cut, bytes: expected }
}

/** What a file holds says which format it is, also where it was brought up from an older one. */
export function holdsTable(db: Database.Database, name: string): boolean {
  return db.prepare('SELECT 1 FROM sqlite_master WHERE name = ?').get(name) !== undefined
}

/**
 * One file is the whole run from here on. Others may hold the file for a moment; where they hold it for longer it stays in WAL,
 * complete, with an empty `-wal`.
 */
export function leaveWal(db: Database.Database): void {
  try {
    db.pragma('journal_mode = DELETE')
  } catch (error) {
    if (!(error instanceof Database.SqliteError && error.code.startsWith('SQLITE_BUSY'))) throw error
  }
}
