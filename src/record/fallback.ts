import {
  closeSync,
  fstatSync,
  fsyncSync,
  ftruncateSync,
  mkdirSync,
  openSync,
  unlinkSync,
  writeSync,
} from 'node:fs'
import { join } from 'node:path'
import { restName, type RestKind, type RestPlace, isMemory, restPlaces } from './rest.js'

/** Where entries go that the run file did not take: `jsonLines` in a file elsewhere, or on stderr when there is no elsewhere. */
export interface Fallback {
  /** For a person: where it is now, and that it is in memory only where it is. */
  readonly where: string
  /** On disk when it returns, unless `where` says otherwise; where one place fails it goes on in the next. */
  put(lines: string): void
  close(): void
}

interface Opened {
  readonly handle: number
  readonly path: string
  readonly in_memory: boolean
}

export interface FallbackOptions {
  /** Tried before all other places. */
  readonly folder?: string | undefined
  readonly env?: Readonly<Record<string, string | undefined>>
}

/** `kind`: what the run file refused (`rest`), or what a lost recorder never confirmed (`unrecorded`). Places: `restPlaces`. */
export function openFallback(
  runFile: string,
  kind: RestKind,
  { folder, env = process.env }: FallbackOptions = {},
): Fallback {
  const places: RestPlace[] = [
    ...(folder === undefined ? [] : [{ folder, in_memory: isMemory(folder) }]),
    ...restPlaces(runFile, env),
  ]
  const next = (): Opened | null => {
    for (let place = places.shift(); place !== undefined; place = places.shift()) {
      const path = join(place.folder, restName(runFile, kind))
      const handle = tryOpen(place.folder, path, runFile)
      if (handle !== null) return { handle, path, in_memory: place.in_memory }
    }
    return null
  }
  let open = next()
  /** Where the last of it went, also once it is closed. */
  let last = open
  return {
    get where() {
      if (last === null) return 'standard error'
      const { path, in_memory } = last
      return in_memory ? `${path} (in memory only: copy it before the computer is switched off)` : path
    },
    put(lines) {
      while (open !== null) {
        const { handle } = open
        const size = fstatSync(handle).size
        try {
          writeAll(handle, lines)
          fsyncSync(handle)
          return
        } catch {
          giveUp(handle, size)
          open = next()
          last = open
        }
      }
      toStderr(lines)
    },
    close() {
      if (open !== null) closeSync(open.handle)
      open = null
    },
  }
}

/** What was written in part goes on whole in the next place. */
function giveUp(handle: number, size: number): void {
  try {
    ftruncateSync(handle, size)
  } catch {
    // A line that breaks off is told by who reads it.
  }
  try {
    closeSync(handle)
  } catch {
    // Nothing more can be done here.
  }
}

/** A full disk often still gives out a name, hence a word is written to try. */
function tryOpen(folder: string, path: string, runFile: string): number | null {
  try {
    mkdirSync(folder, { recursive: true })
    const handle = openSync(path, 'ax', 0o600)
    try {
      writeAll(handle, `${JSON.stringify({ rest: 'entries that the run file did not take', of: runFile })}\n`)
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
