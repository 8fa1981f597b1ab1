import { resolve } from 'node:path'
import { type BookEntry, coldState } from '../../book/index.js'
import { bodyText } from '../book/book-text.js'
import { lifeOf } from '../book/life.js'
import { recordSheet, shownBy } from '../book/record-sheet.js'
import { day } from '../book/worksheet-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { runsHelp } from '../runs-folder.js'
import { bookAt, bookHelp, setFile } from '../set-file.js'
import type { Register } from './index.js'
import { written } from './worksheet.js'

interface Options {
  readonly out?: string
  readonly runs?: string
  readonly book?: string
  readonly json?: boolean
}

/** `slowglow record-sheet FILE`: the end of the job as a page to print and sign. */
export const registerRecordSheet: Register = (program, io) => {
  program
    .command('record-sheet')
    .description(
      'the test record: what was shown, with which instruments, against which limits, by whom, what was waived',
    )
    .argument('<file>', "the set's equipment file, or a profile that names it")
    .option('--out <file>', 'writes it as one HTML file to print and sign; never written over')
    .option('--book <file>', bookHelp)
    .option('--runs <dir>', runsHelp)
    .option('--json', 'one JSON document on standard output')
    .action((file: string, options: Options) => {
      process.exitCode = sheet(file, options, io)
    })
}

/** Returns the exit code: 1 while something is not shown, or is to be shown again. */
function sheet(file: string, { out, runs, book, json = false }: Options, io: Io): Exit {
  const set = setFile(file, io)
  if ('exit' in set) return refuse(io, json, set)
  const state = coldState(set.equipment, set.path, bookAt({ book }, io))
  if ('trouble' in state)
    return refuse(io, json, { exit: exits.recordNotAvailable, where: file, what: state.trouble })
  const life = lifeOf(state, set, runs, io)
  const shown = shownBy(life.entries)
  if (out !== undefined) {
    const page = recordSheet(life, state, new Date().toISOString().slice(0, 10))
    const trouble = written(resolve(io.cwd, out), page, io)
    if (trouble !== null) return refuse(io, json, trouble)
  }
  const waived = life.entries.filter(({ body }) => body.kind === 'waiver')
  if (json) printJson(io, { equipment: life.equipment, shown, waived, last: life.last })
  else
    io.out(
      [
        `Test record of ${life.equipment}`,
        ...shown.map(({ of, verdict }) => `  ${of}: ${verdict}`),
        ...(waived.length === 0 ? ['  waived, ever: nothing'] : waived.map(waivedLine)),
        ...(out === undefined ? ['--out FILE.html writes it to print and sign.'] : [`Written: ${out}`]),
      ].join('\n'),
    )
  return shown.every(({ verdict }) => verdict === 'shown' || verdict === 'marginal')
    ? exits.done
    : exits.finding
}

const waivedLine = ({ body, by, at }: BookEntry): string => `  ${bodyText(body)} (${by}, ${day(at)})`
