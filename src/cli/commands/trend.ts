import { existsSync, statSync } from 'node:fs'
import { resolve } from 'node:path'
import { loadEquipment } from '../../files/index.js'
import { listRuns, unlistedIn } from '../../record/index.js'
import { trendText } from '../compare-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { otherRunsFolders, runsFolder, runsHelp } from '../runs-folder.js'
import { setTrend } from '../set-trend.js'
import type { Register } from './index.js'

interface Options {
  readonly runs?: string
  readonly rehearsals?: boolean
  readonly json?: boolean
}

/** `slowglow trend EQUIPMENT`: a set over all its runs, with its repairs and the notes between. */
export const registerTrend: Register = (program, io) => {
  program
    .command('trend')
    .description(
      'a set over its runs: the current of each rail at each of its volts, its capacitors, with repairs and notes between',
    )
    .argument('<equipment>', 'equipment file, or the name of the set as its runs have it')
    .option('--runs <dir>', runsHelp)
    .option('--rehearsals', 'rehearsals too')
    .option('--json', 'one JSON document on standard output')
    .action((equipment: string, options: Options) => {
      process.exitCode = trend(equipment, options, io)
    })
}

function trend(equipment: string, { runs, rehearsals = false, json = false }: Options, io: Io): Exit {
  const folder = runsFolder(runs, io)
  const elsewhere = runs === undefined ? otherRunsFolders(folder, io) : []
  const path = resolve(io.cwd, equipment)
  const equipmentPath = existsSync(path) && statSync(path).isFile() ? path : null
  const name =
    equipmentPath === null ? nameAmong(folder, equipment) : (loadEquipment(equipmentPath).value?.name ?? null)
  if (name === null)
    return refuse(io, json, {
      exit: exits.usage,
      where: equipment,
      what: `${equipment} is neither a set's file that can be read nor the name of one set among the runs in ${folder}.`,
      remedy: [
        'Give the equipment file; `slowglow runs` lists the names.',
        ...unlistedIn(folder).map(({ trouble }) => trouble),
        ...elsewhere.map(leftOut),
      ].join(' '),
    })
  const found = setTrend(folder, name, rehearsals, { equipmentPath, cwd: io.cwd })
  if (json) printJson(io, { ...found, elsewhere })
  else {
    io.out(trendText(found))
    if (found.runs.length === 0 && !rehearsals) io.err('Rehearsals are left out; --rehearsals takes them in.')
    for (const other of elsewhere) io.err(leftOut(other))
  }
  return exits.done
}

/** A trend over a part of the runs would be taken for the whole. */
const leftOut = (folder: string): string =>
  `Runs in ${folder} are not counted here: --runs "${folder}" tells of those.`

/** The one set whose name is, or holds, these words. */
export function nameAmong(folder: string, words: string): string | null {
  const names = [
    ...new Set(listRuns(folder).flatMap(({ equipment }) => (equipment === null ? [] : [equipment]))),
  ]
  if (names.includes(words)) return words
  const near = names.filter((name) => name.toLowerCase().includes(words.toLowerCase()))
  return near.length === 1 ? (near[0] ?? null) : null
}
