import { randomInt } from 'node:crypto'
import { writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { createInterface } from 'node:readline'
import type { Bench, Supply } from '../../bench/index.js'
import { cautionsFor, drawWord } from '../../cautions/index.js'
import { type BenchState, stillRuns } from '../../controller/index.js'
import { type LineHealth, healthInWords } from '../../exchange/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { openTalk, type Said } from '../live/talk.js'
import { AnswersEnded, Dialogue } from '../new/dialogue.js'
import type { Refusal } from '../refuse.js'
import type { PortLine } from '../../supply/index.js'
import { type Difference, type Played, Player } from './play.js'
import { type Transcript, transcripts } from './transcript.js'

/** What `supplies --check` is asked to do. */
export interface CheckOrder {
  readonly bench: Bench
  /** What a run on this bench has left behind; null = nothing. */
  readonly left: BenchState | 'unreadable' | null
  readonly places: Readonly<Record<string, PortLine>>
  readonly file: string
  /** Also the transcripts that set something. */
  readonly sets: boolean
  /** Only this supply. */
  readonly supply: string | undefined
  readonly write: string | undefined
  readonly json: boolean
}

interface Checked {
  readonly trouble: string | null
  /** Outputs that do not read back as off at the end of what was set. */
  readonly not_off: readonly string[]
  readonly played: readonly Played[]
  readonly line: LineHealth
}

/**
 * Plays the transcripts of firmware-protocol/checks against the supplies of a bench: is a supply one that the protocol
 * describes, in the words that its bench file says? Questions alone unless asked; what sets something needs the cautions and
 * their word, and outputs that are off.
 */
export async function checkSupplies(order: CheckOrder, io: Io): Promise<Exit | Refusal> {
  const { bench, supply: only } = order
  const named = Object.entries(bench.supplies).filter(([name]) => only === undefined || name === only)
  if (named.length === 0)
    return {
      exit: exits.usage,
      where: only ?? order.file,
      what: only === undefined ? 'This bench has no supply.' : `This bench has no supply ${only}.`,
      remedy: `It has ${Object.keys(bench.supplies).join(', ') || 'none'}.`,
    }
  if (order.write !== undefined && named.length > 1)
    return {
      exit: exits.usage,
      where: order.write,
      what: 'A transcript is of one supply, and this bench has several.',
      remedy: `Choose one with --supply: ${named.map(([name]) => name).join(', ')}.`,
    }
  const busy = underWay(order.left)
  if (busy !== null) return busy
  const chosen = transcripts().filter(({ sets }) => order.sets || !sets)
  const stop = { wanted: false, leave: (): void => undefined }
  const stopped = (): void => {
    stop.wanted = true
    stop.leave()
  }
  const signals = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const
  for (const signal of signals) process.on(signal, stopped)
  const found: Record<string, Checked> = {}
  try {
    if (order.sets && !(await acknowledged(named, stop, io)))
      return {
        exit: process.stdin.isTTY ? exits.stopped : exits.usage,
        what: 'Given up before anything was set: the cautions are acknowledged on a terminal, by the word shown.',
      }
    for (const [name, supply] of named) {
      const place = order.places[name]
      const { checked, said } =
        place === undefined
          ? {
              checked: unreached('its line is virtual, and no virtual bench of this file is running'),
              said: [],
            }
          : await checkOne(place, supply, chosen, () => stop.wanted)
      found[name] = checked
      if (!order.json) io.out(describe(name, checked))
      if (order.write !== undefined) writeFileSync(resolve(io.cwd, order.write), transcriptOf(name, said))
    }
  } finally {
    for (const signal of signals) process.off(signal, stopped)
  }
  if (order.json) printJson(io, { check: found })
  else if (order.write !== undefined) io.err(`Written: ${order.write}`)
  return exitOf(Object.values(found), stop.wanted)
}

/**
 * Whoever asks beside a run takes answers that belong to it, and feeds a dead-man that any message feeds. Null where no run is
 * under way.
 */
export function underWay(left: CheckOrder['left']): Refusal | null {
  if (left === null || left === 'unreadable' || !stillRuns(left.supervisor)) return null
  return {
    exit: exits.notReachable,
    where: left.run_file,
    what: 'A run is under way on this bench: its lines are its own.',
    remedy: 'Ask the supplies when it has ended; what they show now is shown with the run.',
  }
}

function exitOf(all: readonly Checked[], stopped: boolean): Exit {
  if (all.some(({ not_off }) => not_off.length > 0)) return exits.notConfirmedOff
  if (all.some(({ trouble }) => trouble !== null)) return exits.notReachable
  if (stopped) return exits.stopped
  return all.some(({ played }) => played.some(({ differences }) => differences.length > 0))
    ? exits.finding
    : exits.done
}

const unreached = (trouble: string): Checked => ({
  trouble,
  not_off: [],
  played: [],
  line: { faults: {}, discarded_bytes: 0, replies: 0, worst_reply_s: null, polled_Hz: null },
})

async function checkOne(
  place: PortLine,
  supply: Supply,
  chosen: readonly Transcript[],
  stopped: () => boolean,
): Promise<{ readonly checked: Checked; readonly said: readonly Said[] }> {
  const talk = await openTalk(place, supply.dialect)
  const player = new Player(talk, supply, stopped)
  const played: Played[] = []
  let trouble: string | null = null
  let set = false
  for (const transcript of chosen) {
    if (stopped() || trouble !== null) break
    if (transcript.sets && !set) {
      trouble = await whyNotSet(player, supply)
      if (trouble !== null) break
      set = true
    }
    played.push(...(await player.play(transcript)))
    if (talk.line().replies === 0) trouble = 'nobody answers'
  }
  const not_off = set ? await player.setDown() : []
  await talk.close()
  return {
    checked: { trouble: talk.trouble() ?? trouble, not_off, played, line: talk.line() },
    said: talk.said,
  }
}

/** Nothing is set where an output is on: somebody may be using it. */
async function whyNotSet(player: Player, supply: Supply): Promise<string | null> {
  for (const [name, channel] of Object.entries(supply.channels))
    if (!(await player.isOff(channel)))
      return `output ${name} is not read as off with nothing at its terminals, so nothing was set: switch it off first (slowglow safe-off --bench FILE), and measure before touching`
  return null
}

/** The cautions with this supply's figures, and the word that acknowledges them. `stop.leave` gives up the waiting for it. */
async function acknowledged(
  named: readonly (readonly [string, Supply])[],
  stop: { leave: () => void },
  io: Io,
): Promise<boolean> {
  if (!process.stdin.isTTY) return false
  const channels = named.flatMap(([, supply]) => Object.values(supply.channels))
  const stored = channels.map(({ output_F, max_V }) => 0.5 * output_F * max_V * max_V)
  io.err(
    cautionsFor({
      highest_V: Math.max(...channels.map(({ max_V }) => max_V)),
      stored_J: Math.max(...stored),
      stored_where: "the supply's own output capacitor, if it should switch on",
      discharge_s: null,
      hazards: [
        'NOTHING ON THE TERMINALS: take every lead off the outputs of the supply first. No output is switched on here, but a supply that takes these words otherwise may switch on.',
      ],
      unattended: false,
    }),
  )
  const word = drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })
  const lines = createInterface({ input: process.stdin })
  stop.leave = () => {
    lines.close()
  }
  try {
    const dialogue = new Dialogue(lines[Symbol.asyncIterator](), (text) => {
      io.err(text)
    })
    await dialogue.ask({
      ask: `Read the cautions above and acknowledge them for this start. To do so, type the word: ${word}`,
      fallback: null,
      read: (text) =>
        text.toLowerCase() === word
          ? { ok: true, value: text }
          : { ok: false, problem: 'this is not the word', remedy: `type ${word}, or end with Ctrl-C` },
    })
    return true
  } catch (error) {
    if (error instanceof AnswersEnded) return false
    throw error
  } finally {
    lines.close()
  }
}

function describe(name: string, { trouble, not_off, played, line }: Checked): string {
  const answers = played.reduce((sum, each) => sum + each.answers, 0)
  const head = trouble === null ? `${name}: ${answers} answers` : `${name}: ${trouble}`
  return [
    head,
    ...played.map(
      ({ transcript, output, differences }) =>
        `  ${output === null ? '' : `${output}: `}${transcript}: ${differences.length === 0 ? 'yes' : `NO${differences.map(told).join('')}`}`,
    ),
    ...(not_off.length === 0
      ? []
      : [
          `  OUTPUTS NOT CONFIRMED OFF: ${not_off.join(', ')}. Cut the mains of this supply now. Measure before touching.`,
        ]),
    `  line: ${healthInWords(line)}`,
  ].join('\n')
}

const told = ({ sent, expected, got, took_ms, means }: Difference): string =>
  `\n    ${sent === '' ? 'In silence' : `To "${sent}"`} it should say ${expected}; it said ${got}${took_ms === 0 ? '' : ` after ${took_ms} ms`}.\n    ${means}`

/** What was said, in the form of the transcripts of section 10. */
function transcriptOf(name: string, said: readonly Said[]): string {
  return `${JSON.stringify(
    {
      title: `what was said with ${name}`,
      shows: 'Written by slowglow supplies --check, at the times of this line.',
      sides: ['supply'],
      steps: said.map(({ at_ms, by, text }) => ({ at_ms, [by]: text })),
    },
    null,
    1,
  )}\n`
}
