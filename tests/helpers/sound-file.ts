import { copyFileSync, existsSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import Database from 'better-sqlite3'

/** SQLite's own word on a run file, which takes its unfinished part back in as any tool would; on a copy, so that it stays as it lies. */
export function integrityOf(path: string): unknown {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-sound-'))
  try {
    const copy = join(folder, 'copy.slowglow')
    copyFileSync(path, copy)
    if (existsSync(`${path}-wal`)) copyFileSync(`${path}-wal`, `${copy}-wal`)
    const db = new Database(copy)
    try {
      return db.pragma('integrity_check', { simple: true })
    } finally {
      db.close()
    }
  } catch (error) {
    return error instanceof Error ? error.message : String(error)
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}
