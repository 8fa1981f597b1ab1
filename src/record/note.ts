import Database from 'better-sqlite3'
import { standsAs } from './chain.js'
import { formatWithNotes, noteTable } from './layout.js'
import { holdsTable, leaveWal, openDatabase } from './open.js'

/** What somebody wrote to a run after it ended; the measured part and its seal are not touched. */
export interface Note {
  readonly written: string
  readonly by: string
  readonly text: string
}

/** Notes in the order they were written; none in a file of a format that had no place for them. */
export function notesOf(db: Database.Database): Note[] {
  if (!holdsTable(db, 'note')) return []
  return db.prepare<[], Note>('SELECT written, by, text FROM note ORDER BY id').all()
}

/**
 * Adds a note to a run that is over: one that ended, or one without an ending whose supervisor is no more (`under_way`), which lies
 * as its recorder left it and is made one file by it. A file of a format without notes is brought to one that has them first, its
 * measured part as it was. Why it could not be done, or null.
 */
export function addNote(path: string, note: Note, under_way = false): string | null {
  const opened = openDatabase(path)
  if ('trouble' in opened) return opened.trouble
  const standing = standsAs(opened)
  opened.db.close()
  if (standing === 'cut short') return `${path} is cut short; a note is added to a whole copy of the run.`
  if (standing === 'wal missing')
    return `${path} lies apart from its unfinished part, ${path}-wal; bring both together before a note is added.`
  if (under_way) return `${path} is under way. Notes are added to a run that is over.`
  let db: Database.Database | null = null
  try {
    db = new Database(path, { fileMustExist: true, timeout: 2000 })
    db.pragma('trusted_schema = OFF')
    db.pragma('synchronous = FULL')
    const add = db.transaction((open: Database.Database) => {
      if (Number(open.pragma('user_version', { simple: true })) < formatWithNotes) {
        open.exec(noteTable)
        open.pragma(`user_version = ${formatWithNotes}`)
      }
      open
        .prepare('INSERT INTO note (written, by, text) VALUES (?, ?, ?)')
        .run(note.written, note.by, note.text)
    })
    add.immediate(db)
    asOneFile(db)
    return null
  } catch (error) {
    return `The note could not be written to ${path} (${error instanceof Error ? error.message : String(error)}). Nothing else in it was changed.`
  } finally {
    db?.close()
  }
}

/** The note stands by now: what fails from here on loses nothing, and leaves the file in two parts that belong together. */
function asOneFile(db: Database.Database): void {
  try {
    db.pragma('wal_checkpoint(TRUNCATE)')
    leaveWal(db)
  } catch {
    // `show` tells of a part that lies beside it.
  }
}
