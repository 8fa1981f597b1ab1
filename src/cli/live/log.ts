import { openSync } from 'node:fs'
import { resolve } from 'node:path'
import pino, { type Logger } from 'pino'
import { type Exit, exits } from '../exits.js'
import type { Io } from '../io.js'
import { refuse } from '../refuse.js'

export interface RunLog {
  readonly log: Logger
  /** Writes what is left, without being waited for. */
  end(): void
}

/** More than this waiting for a disk is dropped: the log is a copy. */
const most_bytes = 4_000_000

/**
 * What the supervising process does, as JSON lines. Written behind its back: a disk that stalls must not stop the heartbeat, since
 * the controller takes a silent supervisor for a lost one. Throws where the file cannot be opened.
 */
function openLog(path: string | null): RunLog {
  if (path === null) return { log: pino({ level: 'silent' }), end: () => undefined }
  const destination = pino.destination({ dest: openSync(path, 'a'), sync: false, maxLength: most_bytes })
  // A full disk loses lines of the log, never the run.
  destination.on('error', () => undefined)
  return {
    log: pino({ level: 'debug' }, destination),
    end: () => {
      destination.end()
    },
  }
}

/** The log that a flag names, or none; the exit code where it cannot be written, said already. */
export function logOf(
  { log, json }: { readonly log?: string; readonly json?: boolean },
  io: Io,
): RunLog | Exit {
  try {
    return openLog(log === undefined ? null : resolve(io.cwd, log))
  } catch (error) {
    return refuse(io, json === true, {
      exit: exits.usage,
      where: log ?? '',
      what: `The log cannot be written: ${error instanceof Error ? error.message : String(error)}.`,
      remedy: 'Give another file, or none.',
    })
  }
}
