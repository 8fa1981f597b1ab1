import { resolve } from 'node:path'
import { realPath, runsUnderWay } from '../../controller/index.js'
import { addNote, findRun, openRunFile, RecordTrouble, storyOf } from '../../record/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { eventsText, storyText } from '../story-text.js'
import type { Register } from './index.js'

export const registerShow: Register = (program, io) => {
  program
    .command('show')
    .description('a run on a page: what was done, what was seen, why it ended')
    .argument('<run>', 'run file, or the beginning or end of its name among ./runs')
    .option('--events', 'all that happened, by time, after the page')
    .option('--note <text>', 'writes a note to the run first; the measured part stays as it is')
    .option('--by <name>', 'who writes the note')
    .option('--json', 'one JSON document on standard output')
    .action((run: string, options: Options) => {
      process.exitCode = show(run, options, io)
    })
}

interface Options {
  readonly json?: boolean
  readonly events?: boolean
  readonly note?: string
  readonly by?: string
}

function show(run: string, { json = false, events = false, note, by }: Options, io: Io): number {
  const found = findRun(run, resolve(io.cwd, 'runs'), io.cwd)
  if ('trouble' in found) {
    const exit = found.ambiguous ? exits.usage : exits.recordNotAvailable
    return refuse(io, json, { exit, where: run, what: found.trouble })
  }
  if (note !== undefined) {
    const text = note.trim()
    const trouble =
      text === ''
        ? 'The note says nothing.'
        : addNote(found.path, { written: new Date().toISOString(), by: by ?? userName(io), text })
    if (trouble !== null)
      return refuse(io, json, { exit: exits.recordNotAvailable, where: found.path, what: trouble })
  }
  const opened = openRunFile(found.path)
  if ('trouble' in opened) {
    return refuse(io, json, { exit: exits.recordNotAvailable, where: found.path, what: opened.trouble })
  }
  try {
    const story = storyOf(opened.reader)
    const under_way = runsUnderWay(io.env).get(realPath(found.path)) ?? null
    if (json) printJson(io, { ...story, under_way: story.outcome === 'interrupted' && under_way !== null })
    else io.out([storyText(story, under_way), ...(events ? [eventsText(story)] : [])].join('\n\n'))
    return exits.done
  } catch (error) {
    if (!(error instanceof RecordTrouble)) throw error
    return refuse(io, json, { exit: exits.recordNotAvailable, where: found.path, what: error.message })
  } finally {
    opened.reader.close()
  }
}

function userName({ env }: Io): string {
  return env['USER'] ?? env['LOGNAME'] ?? 'not named'
}
