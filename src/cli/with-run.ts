import { findRun, readRun, type RunReader, unlistedIn } from '../record/index.js'
import { type Exit, exits } from './exits.js'
import type { Io } from './io.js'
import { refuse } from './refuse.js'
import { otherRunsFolders, runsFolder } from './runs-folder.js'

/** The path of a run as a person names it; where there is none, or more than one, it is refused in a sentence. */
export function findRunOrRefuse(run: string, json: boolean, io: Io): string | Exit {
  const folder = runsFolder(undefined, io)
  const found = findRun(run, folder, io.cwd)
  if (!('trouble' in found)) return found.path
  // Only where nothing there fits: a name that fits two runs is not settled by looking elsewhere.
  const others = found.ambiguous ? [] : otherRunsFolders(folder, io)
  for (const other of others) {
    const there = findRun(run, other, io.cwd)
    if (!('trouble' in there)) return there.path
    if (there.ambiguous) return refuse(io, json, { exit: exits.usage, where: run, what: there.trouble })
  }
  const what = [found.trouble, ...others.flatMap(unlistedIn).map(({ trouble }) => trouble)].join(' ')
  const exit = found.ambiguous ? exits.usage : exits.recordNotAvailable
  return refuse(io, json, { exit, where: run, what })
}

/** Finds a run, opens it, does `work` with it and closes it; every way it cannot be read is refused in a sentence. */
export function withRun(run: string, json: boolean, io: Io, work: (reader: RunReader) => Exit): Exit {
  const path = findRunOrRefuse(run, json, io)
  if (typeof path === 'number') return path
  const read = readRun(path, work)
  return 'value' in read
    ? read.value
    : refuse(io, json, { exit: exits.recordNotAvailable, where: path, what: read.trouble })
}
