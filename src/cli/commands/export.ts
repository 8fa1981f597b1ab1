import { resolve } from 'node:path'
import { Option } from 'commander'
import { exportRun, type Format, RecordTrouble, runNameOf } from '../../record/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { shown } from '../problems.js'
import { refuse } from '../refuse.js'
import { withRun } from '../with-run.js'
import type { Register } from './index.js'

interface Options {
  readonly format: Format
  readonly out?: string
  readonly json?: boolean
}

/** `slowglow export RUN --format csv`: what was measured, for other programs. */
export const registerExport: Register = (program, io) => {
  program
    .command('export')
    .description('a run for other programs: measured values as CSV or Parquet, or every entry as JSON Lines')
    .argument('<run>', 'run file, or a piece of its name among the runs')
    .addOption(
      new Option('--format <format>', 'how it is written')
        .choices(['csv', 'jsonl', 'parquet'])
        .makeOptionMandatory(),
    )
    .option('--out <file>', 'where to; never written over. Unless given: the run’s name here')
    .option('--json', 'one JSON document on standard output')
    .action((run: string, options: Options) => {
      process.exitCode = command(run, options, io)
    })
}

function command(run: string, { format, out, json = false }: Options, io: Io): Exit {
  return withRun(run, json, io, (reader) => {
    const name = `${runNameOf(reader.path)}.${format}`
    const file = resolve(io.cwd, out ?? name)
    try {
      const exported = exportRun(reader, format, file)
      if (json) printJson(io, exported)
      else
        io.out(
          `${shown(file, io.cwd)}: ${exported.rows} ${format === 'jsonl' ? 'entries. Each reading carries its unit' : 'rows. The header names each unit'}; times in seconds from the start of the run.`,
        )
      for (const text of exported.damage) io.err(`NOT WHOLE, the run file is damaged: ${text}`)
      return exported.damage.length === 0 ? exits.done : exits.finding
    } catch (error) {
      if (!(error instanceof RecordTrouble)) throw error
      return refuse(io, json, { exit: exits.usage, where: file, what: error.message })
    }
  })
}
