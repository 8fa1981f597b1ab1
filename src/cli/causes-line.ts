import { dirname, resolve } from 'node:path'
import { runNameOf } from '../record/index.js'
import type { Known, RunEnding } from '../story/index.js'
import type { Io } from './io.js'
import { quoted, shown } from './problems.js'
import { runsFolders } from './runs-folder.js'

interface Ended {
  readonly outcome: RunEnding['outcome'] | 'interrupted'
  readonly warnings: readonly string[]
  readonly command: Known['command']
  /** Of the set's file. */
  readonly level: number | null
  /** What was on the bench was lifted out of the set. */
  readonly lifted: boolean
  /** As a person gives it. */
  readonly run: string
}

/**
 * The command that looks for what is wrong, where a run ended on something it measured of the set. None where there is no circuit in
 * which a fault could be tried: below level 3, with lifted parts or on a dummy load.
 */
export function causesLine({ outcome, warnings, command, level, lifted, run }: Ended): string[] {
  const found = outcome === 'tripped' || (outcome === 'completed' && warnings.length > 0)
  return found && command !== 'qualify' && level === 3 && !lifted ? [`Causes: slowglow diagnose ${run}`] : []
}

/** A run as a person gives it to a command: by its name where the commands look for runs, else by its file. */
export function runGiven(file: string, io: Pick<Io, 'cwd' | 'env'>): string {
  const path = resolve(io.cwd, file)
  if (runsFolders(undefined, io).includes(dirname(path))) return runNameOf(path)
  return quoted(shown(path, io.cwd))
}
