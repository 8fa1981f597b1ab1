import { appendFileSync, statSync } from 'node:fs'
import { homedir, tmpdir } from 'node:os'
import { basename, dirname, join } from 'node:path'
import type { RunEntry } from '../story/index.js'

/** Entries as JSON, one a line: the form of every fallback file. */
export function jsonLines(entries: readonly RunEntry[]): string {
  return entries.map((entry) => `${JSON.stringify(entry)}\n`).join('')
}

/**
 * Keeps what a lost recorder never confirmed, on another file system than the run file's where there is one. Returns where, or
 * null when no place took it.
 */
export function keepUnrecorded(run_file: string, lines: string): string | null {
  const home = device(dirname(run_file))
  const folders = [tmpdir(), '/dev/shm', homedir(), dirname(run_file)]
  const name = `${basename(run_file, '.slowglow')}-unrecorded.jsonl`
  for (const folder of [...folders.filter((each) => device(each) !== home), ...folders]) {
    const path = join(folder, name)
    try {
      appendFileSync(path, lines, { mode: 0o600 })
      return path
    } catch {
      // Full or not there: the next.
    }
  }
  return null
}

function device(folder: string): number | null {
  try {
    return statSync(folder).dev
  } catch {
    return null
  }
}
