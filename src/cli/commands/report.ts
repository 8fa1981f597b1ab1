import { writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { runNameOf, storyOf } from '../../record/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { type LimitsOf, limitsOption } from '../limits-drawn.js'
import { shown } from '../problems.js'
import { refuse } from '../refuse.js'
import { reportPage } from '../report/page.js'
import { sealAlarm } from '../story-text.js'
import { withRun } from '../with-run.js'
import type { Register } from './index.js'

interface Options {
  readonly out?: string
  readonly limits?: LimitsOf
  readonly json?: boolean
}

/** `slowglow report RUN`: the whole run as one printable page that needs nothing else to open. */
export const registerReport: Register = (program, io) => {
  program
    .command('report')
    .description(
      'a run as one self-contained HTML file to print: plots, plan, limits and reasons, events, verdicts',
    )
    .argument('<run>', 'run file, or a piece of its name among the runs')
    .option('--out <file>', 'where to; never written over. Unless given: the run’s name here')
    .addOption(limitsOption())
    .option('--json', 'one JSON document on standard output')
    .action((run: string, options: Options) => {
      process.exitCode = command(run, options, io)
    })
}

function command(run: string, { out, limits, json = false }: Options, io: Io): Exit {
  return withRun(run, json, io, (reader) => {
    const file = resolve(io.cwd, out ?? `${runNameOf(reader.path)}.html`)
    const story = storyOf(reader)
    try {
      writeFileSync(file, reportPage(reader, story, limits ?? null), { flag: 'wx' })
    } catch (error) {
      const exists = error instanceof Error && 'code' in error && error.code === 'EEXIST'
      return refuse(io, json, {
        exit: exits.usage,
        where: file,
        what: exists
          ? `${file} exists already and is not written over.`
          : `The report could not be written to ${file}: ${error instanceof Error ? error.message : String(error)}.`,
        remedy: 'Give another name with --out.',
      })
    }
    const damage = reader.damage()
    if (json) printJson(io, { run: story.run, file, damage })
    else io.out(`${shown(file, io.cwd)}: open it in any browser, print it from there.`)
    for (const text of damage) io.err(`NOT WHOLE, the run file is damaged: ${text}`)
    const alarm = sealAlarm(story)
    if (alarm !== null) io.err(alarm)
    return damage.length === 0 && alarm === null ? exits.done : exits.finding
  })
}
