import { existsSync } from 'node:fs'
import { resolve } from 'node:path'
import { realPath, runsUnderWay } from '../../controller/index.js'
import { type Archived, archiveRuns, listRuns, type RunLine, unlistedIn } from '../../record/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { elapsed } from '../replay-text.js'
import { otherRunsFolders, runsFolder, runsHelp } from '../runs-folder.js'
import type { Register } from './index.js'

interface Options extends Wish {
  readonly archive?: boolean
  readonly olderThan: string
  readonly runs?: string
  readonly json?: boolean
}
export interface Wish {
  readonly set?: string | undefined
  readonly outcome?: string | undefined
  readonly kind?: string | undefined
  readonly since?: string | undefined
  readonly until?: string | undefined
}
type Line = RunLine & { readonly under_way: boolean }

const outcomes = ['completed', 'tripped', 'stopped', 'failed', 'interrupted']
const kinds = ['run', 'rehearse', 'qualify']

export const registerRuns: Register = (program, io) => {
  program
    .command('runs')
    .description(
      'the runs that are kept, by date: which set, how it ended, how large; and putting old ones aside',
    )
    .argument('[dir]', runsHelp)
    .option('--runs <dir>', 'the same folder, as other commands take it')
    .option('--set <words>', 'only sets whose name holds these words')
    .option('--outcome <outcome>', `only those that ended so: ${outcomes.join(', ')}`)
    .option('--kind <kind>', `only those: ${kinds.join(', ')}`)
    .option('--since <date>', 'only those that began on this day (2026-11-25) or later, UTC')
    .option('--until <date>', 'only those that began on this day or earlier, UTC')
    .option('--archive', 'moves old runs into the folder archive beside them; nothing is deleted')
    .option('--older-than <days>', 'what --archive takes for old', '90')
    .option('--json', 'one JSON document on standard output')
    .action((dir: string | undefined, options: Options) => {
      process.exitCode = runs(dir ?? options.runs, options, io)
    })
}

function runs(dir: string | undefined, options: Options, io: Io): Exit {
  const { json = false } = options
  const folder = runsFolder(dir, io)
  if (
    dir !== undefined &&
    folder !== resolve(io.cwd, 'runs') &&
    !existsSync(folder) &&
    unlistedIn(folder).length === 0
  )
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: folder,
      what: `There is no folder ${folder}.`,
      remedy: 'Name the folder that holds the run files.',
    })
  const wrong = wrongOf(options)
  if (wrong !== null) return refuse(io, json, { exit: exits.usage, where: folder, ...wrong })
  const alive = runsUnderWay(io.env)
  if (options.archive === true) {
    const before = new Date(Date.now() - Number(options.olderThan) * 86_400_000)
    const done = archiveRuns(folder, before, (file) => alive.has(realPath(file)))
    if (json) printJson(io, { folder, before: before.toISOString(), ...done })
    else io.out(archivedText(done, options.olderThan))
    return exits.done
  }
  const all = listRuns(folder)
  const found = all
    .map(
      (line): Line => ({
        ...line,
        under_way: line.outcome === 'interrupted' && alive.has(realPath(line.file)),
      }),
    )
    .filter((line) => isWanted(line, options))
  const bytes = found.reduce((sum, line) => sum + line.bytes, 0)
  const elsewhere = dir === undefined ? otherRunsFolders(folder, io) : []
  const unlisted = unlistedIn(folder)
  for (const { trouble } of unlisted) io.err(trouble)
  if (json) printJson(io, { folder, bytes, runs: found, elsewhere, unlisted })
  else if (all.length === 0 && unlisted.length === 0)
    io.err(`No runs in ${folder} yet. \`slowglow rehearse PROFILE\` makes one.`)
  else if (all.length > 0 && found.length === 0)
    io.err(`None of the ${all.length} runs in ${folder} is like that.`)
  else if (found.length > 0)
    io.out(
      [
        ...found.map(lineText),
        '',
        `${found.length} of ${all.length} runs, ${size(bytes)}, in ${folder}`,
      ].join('\n'),
    )
  for (const other of json ? [] : elsewhere)
    io.err(
      `More runs lie in ${other}: slowglow runs "${other}" lists them, and show, report and export find them by name.`,
    )
  if (unlisted.length === 0) return exits.done
  return all.length === 0 ? exits.recordNotAvailable : exits.finding
}

const day = /^\d{4}-\d{2}-\d{2}$/

/** What was asked for that cannot be meant. */
function wrongOf({
  outcome,
  kind,
  since,
  until,
  olderThan,
}: Options): { what: string; remedy: string } | null {
  if (outcome !== undefined && !outcomes.includes(outcome))
    return { what: `No run ends as ${outcome}.`, remedy: `One of: ${outcomes.join(', ')}.` }
  if (kind !== undefined && !kinds.includes(kind))
    return { what: `There is no kind of run ${kind}.`, remedy: `One of: ${kinds.join(', ')}.` }
  const date = [since, until].find(
    (text) => text !== undefined && (!day.test(text) || Number.isNaN(Date.parse(text))),
  )
  if (date !== undefined) return { what: `${date} is no date.`, remedy: 'Write year-month-day: 2026-11-25.' }
  if (!/^\d+$/.test(olderThan))
    return { what: `${olderThan} is no number of days.`, remedy: 'Write whole days: --older-than 90.' }
  return null
}

/** A file that cannot be read is left out by no filter: it might be the one that is looked for. */
export function isWanted(line: Line, { set, outcome, kind, since, until }: Wish): boolean {
  if (line.trouble !== null || line.damage.length > 0) return true
  const began = line.started?.slice(0, 10) ?? ''
  return (
    (set === undefined || (line.equipment ?? '').toLowerCase().includes(set.toLowerCase())) &&
    (outcome === undefined || (line.outcome === outcome && !line.under_way)) &&
    (kind === undefined || line.command === kind) &&
    (since === undefined || began >= since) &&
    (until === undefined || began <= until)
  )
}

function archivedText({ moved, left }: Archived, days: string): string {
  const bytes = moved.reduce((sum, run) => sum + run.bytes, 0)
  return [
    moved.length === 0
      ? `No run was put aside: none is older than ${days} days and may be.`
      : `${moved.length} runs older than ${days} days, ${size(bytes)}, lie in the archive now and are found as before. Nothing was deleted.`,
    ...moved.map(({ to }) => `  ${to}`),
    ...left.map(({ file, why }) => `  left: ${file}: ${why}`),
  ].join('\n')
}

function size(bytes: number): string {
  if (bytes < 1e6) return `${Math.ceil(bytes / 1e3)} kB`
  return bytes < 1e9 ? `${(bytes / 1e6).toFixed(1)} MB` : `${(bytes / 1e9).toFixed(2)} GB`
}

/** A reason longer than this is cut at a word: a list is looked through, and `show` has it whole. */
const reasonWidth = 160

function shortened(text: string): string {
  if (text.length <= reasonWidth) return text
  const cut = text.slice(0, reasonWidth)
  const at = cut.lastIndexOf(' ')
  return `${cut.slice(0, at > 0 ? at : reasonWidth).replace(/[,;:.]$/, '')} … (whole: slowglow show)`
}

function lineText(line: Line): string {
  if (line.trouble !== null) return `${line.run}  cannot be read: ${line.trouble}`
  const when = line.started?.slice(0, 16).replace('T', ' ') ?? 'time not known   '
  const lasted = line.duration_s === null ? '' : `  ${elapsed(line.duration_s * 1e6)}`
  const what = line.command === 'rehearse' ? 'rehearsal' : (line.command ?? 'run')
  return [
    `${when} UTC  ${line.equipment ?? 'set not known'}, ${line.profile ?? 'profile not known'}  ${what}${lasted}`,
    `  ${howItEnded(line)}${line.reason === null ? '' : `: ${shortened(line.reason)}`}`,
    `  ${line.run}  ${size(line.bytes)}${line.archived ? ', archived' : ''}`,
    ...line.rest.map((file) => `  what this file did not take lies in ${file}; show tells its ending`),
    ...line.damage.map((text) => `  DAMAGED: ${text}`),
  ].join('\n')
}

function howItEnded(line: Line): string {
  if (line.under_way) return 'under way'
  const off =
    line.outputs_off === 'confirmed' || line.nothing_to_confirm
      ? []
      : [`outputs ${line.outputs_off === 'not known' ? 'not known to be' : 'NOT confirmed'} off`]
  const hands = line.hands_open.map((rail) => `${rail} NOT confirmed off by you`)
  const warned = line.outcome === 'completed' && line.warnings > 0 ? ['with warnings'] : []
  return [line.outcome ?? '', ...warned, ...off, ...hands].join(', ')
}
