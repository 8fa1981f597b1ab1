import { existsSync } from 'node:fs'
import { resolve } from 'node:path'
import { realPath, runsUnderWay } from '../../controller/index.js'
import { formatQuantity } from '../../quantities/index.js'
import { listRuns, type RunLine } from '../../record/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import type { Register } from './index.js'

export const registerRuns: Register = (program, io) => {
  program
    .command('runs')
    .description('the runs that are kept, by date: which set, how it ended')
    .argument('[dir]', 'folder of run files', 'runs')
    .option('--json', 'one JSON document on standard output')
    .action((dir: string, options: { json?: boolean }) => {
      process.exitCode = runs(dir, options.json === true, io)
    })
}

function runs(dir: string, json: boolean, io: Io): number {
  const folder = resolve(io.cwd, dir)
  if (dir !== 'runs' && !existsSync(folder)) {
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: folder,
      what: `There is no folder ${folder}.`,
      remedy: 'Name the folder that holds the run files.',
    })
  }
  const alive = runsUnderWay(io.env)
  const found = listRuns(folder).map((line) => ({
    ...line,
    under_way: line.outcome === 'interrupted' && alive.has(realPath(line.file)),
  }))
  if (json) printJson(io, { folder, runs: found })
  else if (found.length === 0) io.err(`No runs in ${folder} yet. \`slowglow rehearse PROFILE\` makes one.`)
  else io.out(found.map(lineText).join('\n'))
  return exits.done
}

function lineText(line: RunLine & { readonly under_way: boolean }): string {
  if (line.trouble !== null) return `${line.run}  cannot be read: ${line.trouble}`
  const when = line.started?.slice(0, 16).replace('T', ' ') ?? 'time not known   '
  const lasted = line.duration_s === null ? '' : `  ${formatQuantity(line.duration_s, 's')}`
  const what = line.command === 'run' ? 'run' : 'rehearsal'
  return [
    `${when} UTC  ${line.equipment ?? 'set not known'}, ${line.profile ?? 'profile not known'}  ${what}${lasted}`,
    `  ${howItEnded(line)}${line.reason === null ? '' : `: ${line.reason}`}`,
    `  ${line.run}`,
  ].join('\n')
}

function howItEnded(line: RunLine & { readonly under_way: boolean }): string {
  if (line.under_way) return 'under way'
  const off =
    line.outputs_off === 'confirmed' || line.nothing_to_confirm
      ? []
      : [`outputs ${line.outputs_off === 'not known' ? 'not known to be' : 'NOT confirmed'} off`]
  const hands = line.hands_open.map((rail) => `${rail} NOT confirmed off by you`)
  const warned = line.outcome === 'completed' && line.warnings > 0 ? ['with warnings'] : []
  return [line.outcome ?? '', ...warned, ...off, ...hands].join(', ')
}
