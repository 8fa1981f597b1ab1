import { closeSync, fsyncSync, openSync, statSync, unlinkSync, writeSync } from 'node:fs'
import { homedir, tmpdir } from 'node:os'
import { basename, dirname, join } from 'node:path'
import type { RunEntry } from './types.js'

/** Where entries go that the run file did not take: JSON, one entry a line, in a file elsewhere, or stderr when there is no elsewhere. */
export interface Fallback {
  /** For a person: where it is. */
  readonly where: string
  put(entries: readonly RunEntry[]): void
  close(): void
}

/** `folder`: tried first where given. Then folders on other file systems than the run file's, then any, then stderr. */
export function openFallback(runFile: string, folder?: string): Fallback {
  const elsewhere = [tmpdir(), '/dev/shm', homedir()]
  const home = device(dirname(runFile))
  const others = elsewhere.filter((each) => device(each) !== home)
  const name = `${basename(runFile, '.slowglow')}-rest.jsonl`
  for (const each of [...(folder === undefined ? [] : [folder]), ...others, ...elsewhere]) {
    const path = join(each, name)
    const handle = tryOpen(path)
    if (handle === null) continue
    let kept = handle as number | null
    return {
      where: path,
      put(entries) {
        if (kept !== null)
          try {
            writeSync(kept, lines(entries))
            fsyncSync(kept)
            return
          } catch {
            kept = null
          }
        toStderr(entries)
      },
      close() {
        if (kept !== null) closeSync(kept)
      },
    }
  }
  return { where: 'standard error', put: toStderr, close: () => undefined }
}

/** A full disk often still gives out a name, hence a word is written to try. */
function tryOpen(path: string): number | null {
  try {
    const handle = openSync(path, 'ax', 0o600)
    try {
      writeSync(handle, `${JSON.stringify({ rest: 'entries that the run file did not take' })}\n`)
      fsyncSync(handle)
      return handle
    } catch {
      closeSync(handle)
      unlinkSync(path)
      return null
    }
  } catch {
    return null
  }
}

function toStderr(entries: readonly RunEntry[]): void {
  try {
    writeSync(2, lines(entries))
  } catch {
    // Nobody reads and no disk takes it: there is no further place.
  }
}

const lines = (entries: readonly RunEntry[]): string =>
  entries.map((entry) => `${JSON.stringify(entry)}\n`).join('')

function device(folder: string): number | null {
  try {
    return statSync(folder).dev
  } catch {
    return null
  }
}
