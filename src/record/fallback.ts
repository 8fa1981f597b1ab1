import { closeSync, fsyncSync, openSync, statSync, unlinkSync, writeSync } from 'node:fs'
import { homedir, tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { runNameOf } from './names.js'

/** Where entries go that the run file did not take: `jsonLines` in a file elsewhere, or on stderr when there is no elsewhere. */
export interface Fallback {
  /** For a person: where it is. */
  readonly where: string
  /** On disk when it returns. */
  put(lines: string): void
  close(): void
}

/**
 * `kind`: what the run file refused (`rest`), or what a lost recorder never confirmed (`unrecorded`). `folder`: tried first where
 * given. Then folders on other file systems than the run file's, then any, then stderr.
 */
export function openFallback(runFile: string, kind: 'rest' | 'unrecorded', folder?: string): Fallback {
  const elsewhere = [tmpdir(), '/dev/shm', homedir(), dirname(runFile)]
  const home = device(dirname(runFile))
  const others = elsewhere.filter((each) => device(each) !== home)
  const name = `${runNameOf(runFile)}-${kind}.jsonl`
  for (const each of [...(folder === undefined ? [] : [folder]), ...others, ...elsewhere]) {
    const path = join(each, name)
    const handle = tryOpen(path)
    if (handle === null) continue
    let kept = handle as number | null
    return {
      where: path,
      put(lines) {
        if (kept !== null)
          try {
            writeAll(kept, lines)
            fsyncSync(kept)
            return
          } catch {
            kept = null
          }
        toStderr(lines)
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

function toStderr(lines: string): void {
  try {
    writeAll(2, lines)
  } catch {
    // Nobody reads and no disk takes it: there is no further place.
  }
}

/** One write may take only a part. */
function writeAll(handle: number, text: string): void {
  const bytes = Buffer.from(text, 'utf8')
  for (let written = 0; written < bytes.length; ) written += writeSync(handle, bytes, written)
}

function device(folder: string): number | null {
  try {
    return statSync(folder).dev
  } catch {
    return null
  }
}
