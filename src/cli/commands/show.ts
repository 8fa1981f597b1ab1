import { realPath, runsUnderWay } from '../../controller/index.js'
import { parseQuantity } from '../../quantities/index.js'
import { addNote, type RunReader, type Story, storyOf } from '../../record/index.js'
import { runGiven } from '../causes-line.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { limitsDrawn, type LimitsOf, limitsOption } from '../limits-drawn.js'
import { refuse } from '../refuse.js'
import { momentOf, plottedFigures, type PlotWish, railsOf, railsWorthALook, runPlots } from '../run-plot.js'
import { eventsText, sealAlarm, storyText } from '../story-text.js'
import { findRunOrRefuse, withRun } from '../with-run.js'
import { overSsh } from '../live/over-ssh.js'
import type { Register } from './index.js'

export const registerShow: Register = (program, io) => {
  program
    .command('show')
    .description('a run on a page: what was done, what was seen, why it ended')
    .argument('<run>', 'run file, or a piece of its name among the runs')
    .option('--events', 'all that happened, by time, after the page')
    .option('--plot <rails>', 'rails to draw: names with commas between, all, or none; unless given: one')
    .option('--from <moment>', 'draws from here on, such as 1:05:00 or 65 min of the run')
    .option('--to <moment>', 'and up to here')
    .option('--width <characters>', 'width of the plots; unless given: the terminal’s')
    .addOption(limitsOption())
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
  readonly plot?: string
  readonly from?: string
  readonly to?: string
  readonly width?: string
  readonly limits?: LimitsOf
  readonly note?: string
  readonly by?: string
}

/** Where a note was written, as the page's says where it was. */
const terminalOf = ({ env }: Io): string =>
  `a terminal of the bench machine${overSsh(env) === null ? '' : ', by ssh'}`

/** A longer one is not waited for unasked: it takes more than a second or two. */
const soon_bytes = 1_000_000

function show(run: string, options: Options, io: Io): Exit {
  const { json = false, events = false, limits = null, note, by } = options
  if (note !== undefined) {
    const found = findRunOrRefuse(run, json, io)
    if (typeof found === 'number') return found
    const text = note.trim()
    const trouble =
      text === ''
        ? 'The note says nothing.'
        : addNote(
            found,
            { written: new Date().toISOString(), by: `${by ?? userName(io)} (${terminalOf(io)})`, text },
            runsUnderWay(io.env).has(realPath(found)),
          )
    if (trouble !== null)
      return refuse(io, json, { exit: exits.recordNotAvailable, where: found, what: trouble })
  }
  return withRun(run, json, io, (reader) => {
    let story = storyOf(reader)
    const wish = wishOf(options, reader, story, io)
    if ('what' in wish) return refuse(io, json, { exit: exits.usage, where: run, ...wish })
    const figures = json ? plottedFigures(reader, wish) : null
    const plots =
      json || wish.rails.length === 0
        ? []
        : [
            runPlots(reader, story, wish, limitsDrawn(reader, limits, soon_bytes))
              .join('\n')
              .trimStart(),
          ]
    // Drawing looks at more of the file than telling does.
    story = { ...story, damage: reader.damage() }
    const under_way = runsUnderWay(io.env).get(realPath(reader.path)) ?? null
    if (json)
      printJson(io, {
        ...story,
        under_way: story.outcome === 'interrupted' && under_way !== null,
        plots: figures,
      })
    else
      io.out(
        [
          storyText(story, under_way, runGiven(reader.path, io)),
          ...plots,
          ...(events ? [eventsText(story)] : []),
        ].join('\n\n'),
      )
    return story.damage.length === 0 && sealAlarm(story, under_way !== null) === null
      ? exits.done
      : exits.finding
  })
}

/** What is to be drawn, or what is wrong with what was asked for. */
function wishOf(
  { plot, from, to, width }: Options,
  reader: RunReader,
  story: Story,
  io: Io,
): PlotWish | { readonly what: string; readonly remedy: string } {
  const moments = [from, to].map((text) => (text === undefined ? null : moment(text)))
  const wrong = [from, to].find((text, i) => text !== undefined && moments[i] === null)
  if (wrong !== undefined)
    return {
      what: `${wrong} is no moment of a run.`,
      remedy: 'Write hours:minutes:seconds as in --events (1:05:00), or a time with its unit (65 min).',
    }
  const [from_s = null, to_s = null] = moments
  if (from_s !== null && to_s !== null && from_s >= to_s)
    return {
      what: `Nothing lies between ${from ?? ''} and ${to ?? ''}.`,
      remedy: 'Give the earlier moment to --from.',
    }
  const characters = width === undefined ? (io.columns ?? 80) : Number(width)
  if (!Number.isInteger(characters) || characters < 32 || characters > 2000)
    return {
      what: `A plot cannot be ${width ?? ''} characters wide.`,
      remedy: 'Give --width from 32 to 2000.',
    }
  const known = railsOf(reader)
  const rails =
    plot === undefined
      ? railsWorthALook(reader, story)
      : plot === 'all'
        ? known
        : plot === 'none'
          ? []
          : plot.split(',').map((name) => name.trim())
  const unknown = rails.find((rail) => !known.includes(rail))
  if (unknown !== undefined)
    return {
      what: `This run has no readings of a rail ${unknown}.`,
      remedy: known.length === 0 ? 'It has none at all.' : `Its rails: ${known.join(', ')}.`,
    }
  return { rails, from_s, to_s, width: characters }
}

function moment(text: string): number | null {
  return momentOf(text, (written) => {
    const parsed = parseQuantity(written, 's')
    return parsed.ok ? parsed.value : null
  })
}
