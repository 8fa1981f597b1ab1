import { decimalValue, type LineEvent, type LineHealth, type Rung } from '../exchange/index.js'
import type { LineConfig, LineInput, LineState } from '../line/index.js'
import { ampsIn, lineGoOn, lineHear, openLine, urgentWords, wordsLaidReady } from '../line/index.js'
import type { Plan } from '../plan/index.js'
import type { Command, Event, State } from '../sequencer/index.js'
import { begin, endsTheRun, step } from '../sequencer/index.js'
import { follow, openWatch, type ReformWatch, see, type Seen } from '../reform/index.js'
import { feeds } from './cut-off.js'
import { isSlow, leftOf, slowPoll_us, standingOf, typedIn } from './reform.js'

/**
 * Line and sequencer joined by plain calls: a reply goes in, and if it breaks a limit the OFF text comes out of the same call.
 * The controller drives this with a real clock and real ports, the rehearsal with virtual ones: same code, same decisions.
 */
export interface Loop {
  readonly sequencer: State
  readonly lines: Readonly<Record<string, LineState>>
  readonly portOf: Readonly<Record<string, string>>
  /** The first OFF of a trip, for each port, in the order in which it goes out: nothing is put together while it is waited for. */
  readonly laidReady: readonly (readonly [port: string, words: string])[]
  /** Lifted electrolytics, followed beside the decisions; null in every other run. */
  readonly reform: ReformWatch | null
  /** Readings are taken seldom: a hold of hours in which nothing moves. */
  readonly slow: boolean
  /** The cut-off relay is kept closed. */
  readonly fed: boolean
  /** Readings are never taken seldom: to see what days of them at full speed do. */
  readonly brisk?: true
}

export type LoopInput =
  | { readonly kind: 'port'; readonly port: string; readonly line: LineInput }
  | { readonly kind: 'event'; readonly event: Event }

export type LoopOutput =
  | { readonly kind: 'write'; readonly port: string; readonly text: string; readonly urgent: boolean }
  | { readonly kind: 'reopen'; readonly port: string; readonly text: string }
  /** Copies for people and the record; the sequencer is never fed them. */
  | { readonly kind: 'health'; readonly port: string; readonly t_us: number; readonly health: LineHealth }
  | {
      readonly kind: 'rung'
      readonly port: string
      readonly t_us: number
      readonly rung: Rung
      readonly text: string
    }
  /** Everything the sequencer was fed, in order, for the record. */
  | { readonly kind: 'fed'; readonly event: Event }
  /** Everything the sequencer wanted of it, in order; what a line had to do is done already and is told for the record. */
  | { readonly kind: 'command'; readonly t_us: number; readonly command: Command }

export function createLoop(plan: Plan, configs: readonly LineConfig[]): Loop {
  const portOf: Record<string, string> = {}
  for (const rail of Object.values(plan.rails))
    for (const part of rail.channels) portOf[part.channel] = part.port
  const sequencer = begin(plan)
  return {
    sequencer,
    laidReady: laidReady(sequencer.off_first, portOf, configs),
    lines: Object.fromEntries(configs.map((config) => [config.port, openLine(config)])),
    portOf,
    reform: openWatch(plan),
    slow: false,
    fed: false,
  }
}

/** What each port is told first where everything that goes off at once goes off. */
export function laidReady(
  off_first: readonly string[],
  portOf: Loop['portOf'],
  configs: readonly LineConfig[],
): Loop['laidReady'] {
  return [...byPort(portOf, off_first)].flatMap(([port, channels]) => {
    const config = configs.find((each) => each.port === port)
    return config === undefined ? [] : [[port, wordsLaidReady(config, channels)] as const]
  })
}

export interface Looped {
  readonly loop: Loop
  readonly outputs: readonly LoopOutput[]
  /** Ports whose lines are in another state than before. */
  readonly moved: readonly string[]
}

/** Given each write in the moment in which it is made, in the order of the outputs: an OFF is on its line before the rest is computed. */
export type Give = (port: string, text: string, urgent: boolean) => void

const nowhere: Give = () => undefined

/**
 * `isOwn`: whoever gives this loop looks no more at it, nor at any state in it, so that these are worked on as they are. All is decided
 * and told the same; copies of states are most of what a step of a long rehearsal makes and throws away. `given`: what `firstLook` wrote
 * for this input.
 */
export function loopStep(
  loop: Loop,
  input: LoopInput,
  give: Give = nowhere,
  isOwn = false,
  given: Given | null = null,
): Looped {
  const work: Work = {
    sequencer: loop.sequencer,
    lines: loop.lines,
    portOf: loop.portOf,
    laidReady: loop.laidReady,
    reform: loop.reform,
    slow: loop.slow,
    fed: loop.fed,
    brisk: loop.brisk === true,
    isOwn,
    made: [],
    outputs: [],
    heard: [],
    mayGoOn: [],
    give,
    given,
  }
  if (input.kind === 'event') feed(work, input.event)
  else drive(work, input.port, input.line)
  settle(work)
  const { sequencer, lines, portOf, laidReady, reform, slow, fed, outputs } = work
  const next: Loop = work.brisk
    ? { sequencer, lines, portOf, laidReady, reform, slow, fed, brisk: true }
    : { sequencer, lines, portOf, laidReady, reform, slow, fed }
  return { loop: next, outputs, moved: work.made }
}

interface Work {
  sequencer: State
  /** Those it began with, until one changes: then a copy of its own. */
  lines: Record<string, LineState>
  /** Ports whose state was made in this step: nobody else has seen it. One as a rule, and a list is made for it when it is there. */
  made: string[]
  readonly portOf: Readonly<Record<string, string>>
  readonly laidReady: Loop['laidReady']
  reform: ReformWatch | null
  slow: boolean
  fed: boolean
  readonly brisk: boolean
  readonly isOwn: boolean
  outputs: LoopOutput[]
  /** What lines said and the sequencer has not been fed yet. */
  heard: (LineEvent & { readonly t_us: number })[]
  /** Ports whose line may go on to its next question, each once. */
  mayGoOn: string[]
  readonly give: Give
  /** What `firstLook` has written for this input, until the OFF of this step is decided. */
  given: Given | null
}

/** Words of an OFF that are on their lines already, by port. */
export type Given = Readonly<Record<string, string>>

/**
 * Before anything is copied, judged or told: a current above its rail's ceiling has OFF on every line at once, and what was written is
 * told; null for every other input. The same input then goes the way of all (`loopStep`, told what was given), is found there to be
 * what it is, and ends the run: in any case.
 */
export function firstLook(loop: Loop, input: LoopInput, give: Give): Given | null {
  if (input.kind !== 'port' || input.line.kind !== 'text') return null
  const line = loop.lines[input.port]
  const read = line && ampsIn(line, input.line.text)
  return read && endsTheRun(loop.sequencer, read.channel, read.amps) ? giveLaidReady(loop, give) : null
}

/**
 * OFF was given and nothing was found broken behind it: the two questions disagree, which is a fault of ours. Outputs are off, so the
 * run ends, before any line asks or raises anything.
 */
function endAllTheSame(work: Work): void {
  feed(work, { kind: 'off unfounded', t_us: work.sequencer.t_us })
  work.given = null
}

/** The current whose OFF is given goes before what its line told with it: it is judged in the state in which it was seen. */
function takeSeen(heard: Work['heard']): Work['heard'][number] | undefined {
  const at = heard.findIndex((event) => event.kind === 'reading' && event.quantity === 'A')
  return at < 0 ? heard.shift() : heard.splice(at, 1)[0]
}

/** Each port its first OFF. */
function giveLaidReady({ laidReady, lines }: Pick<Loop, 'laidReady' | 'lines'>, give: Give): Given {
  const given: Record<string, string> = {}
  for (const [port, words] of laidReady) {
    if (words === '' || (lines[port]?.link ?? 'closed') === 'closed') continue
    give(port, words, true)
    given[port] = words
  }
  return given
}

/** Two at most as a rule: a list that begins empty takes room for many with its first. */
function put(work: Work, output: LoopOutput): void {
  const [first, second] = work.outputs
  if (first === undefined) work.outputs = [output]
  else if (second === undefined) work.outputs = [first, output]
  else work.outputs.push(output)
}

/**
 * One event after another, each with its commands carried out before the next is looked at: a replay sees the same order.
 * Lines ask anything new only when all they heard is judged: an OFF that a reply calls for is then the next thing on the
 * wire, with no question before it in the port's queue.
 */
function settle(work: Work): void {
  for (;;) {
    const event = work.given === null ? work.heard.shift() : takeSeen(work.heard)
    if (event !== undefined) {
      if (!isNoNews(work.sequencer, event)) feed(work, event)
      continue
    }
    if (work.given !== null) {
      endAllTheSame(work)
      continue
    }
    const port = work.mayGoOn.shift()
    if (port === undefined) return
    const line = work.lines[port]
    if (line) carry(work, port, lineGoOn(line, isMine(work, port)))
  }
}

/** Whether nobody but this step has the state of the port's line. */
const isMine = (work: Work, port: string): boolean => work.isOwn || work.made.includes(port)

/** `given`: what of the line's own words is on its way already. */
function drive(work: Work, port: string, input: LineInput, given = ''): void {
  const line = work.lines[port]
  if (!line) return
  carry(work, port, lineHear(line, input, isMine(work, port)), input.t_us, given)
  if (work.mayGoOn.length === 0) work.mayGoOn = [port]
  else if (!work.mayGoOn.includes(port)) work.mayGoOn.push(port)
}

function carry(
  work: Work,
  port: string,
  { state, outputs }: ReturnType<typeof lineHear>,
  t_us = state.t_us,
  given = '',
): void {
  if (work.made.length === 0) {
    if (!work.isOwn) work.lines = { ...work.lines }
    work.made = [port]
  } else if (!work.made.includes(port)) work.made.push(port)
  work.lines[port] = state
  // What the line has already written goes first: an OFF that an event causes must be the last word on the wire.
  for (const output of outputs)
    if (output.kind === 'write') {
      if (!output.urgent || output.text !== given) work.give(port, output.text, output.urgent)
      put(work, { kind: 'write', port, text: output.text, urgent: output.urgent })
    }
  for (const output of outputs) {
    switch (output.kind) {
      case 'write':
        break
      case 'reopen':
        put(work, { kind: 'reopen', port, text: output.text })
        break
      case 'health':
      case 'rung':
        put(work, { ...output, port, t_us: state.t_us })
        break
      case 'event':
        if (work.heard.length === 0) work.heard = [stamped(output.event, t_us)]
        else work.heard.push(stamped(output.event, t_us))
        break
    }
  }
}

/** Readings and the status polled between them, which are nearly all there is, without a spread over whatever kind it is. */
function stamped(event: LineEvent, t_us: number): LineEvent & { readonly t_us: number } {
  switch (event.kind) {
    case 'reading':
      return { kind: event.kind, channel: event.channel, quantity: event.quantity, value: event.value, t_us }
    case 'meter':
      return { kind: event.kind, meter: event.meter, value: event.value, t_us }
    case 'regulation':
      return { kind: event.kind, channel: event.channel, mode: event.mode, t_us }
    case 'output':
      return { kind: event.kind, channel: event.channel, on: event.on, t_us }
    default:
      return { ...event, t_us }
  }
}

/** Output and regulation states are polled several times a second; said again unchanged they decide nothing and fill the record. */
function isNoNews(state: State, event: LineEvent): boolean {
  if (event.kind !== 'output' && event.kind !== 'regulation') return false
  const known = state.channels[event.channel]
  if (event.kind === 'regulation') return known?.regulation === event.mode
  // While a dead-man is proved, that an output beside it still reads as on is what is waited for.
  if (state.proof?.others[event.channel] !== undefined) return false
  return known?.output === (event.on ? 'on' : 'off')
}

function feed(work: Work, event: Event): void {
  put(work, { kind: 'fed', event })
  const offNow = (off: readonly string[]): void => {
    urgent(work, event.t_us, off)
  }
  const { state, commands } = step(work.sequencer, event, offNow, work.isOwn)
  work.sequencer = state
  for (const command of commands) {
    put(work, { kind: 'command', t_us: event.t_us, command })
    if (command.kind !== 'line') continue
    const port = work.portOf[command.channel]
    if (port !== undefined) drive(work, port, { ...command, kind: 'request', t_us: event.t_us })
  }
  if (work.reform !== null) judgeParts(work, work.reform, event)
  const { cut_off } = state.plan
  const slept = event.kind === 'tick' && event.slept_us > 0
  if (cut_off !== undefined && feeds(work.sequencer, work.fed, slept) !== work.fed) {
    work.fed = !work.fed
    drive(work, cut_off.meter, { kind: 'feeds', t_us: event.t_us, on: work.fed })
  }
}

/** Beside the decisions, after all that this event called for: what the estimator says is fed as an event of its own. */
function judgeParts(work: Work, before: ReformWatch, event: Event): void {
  work.reform = follow(before, standingOf(work.sequencer))
  const seen = seenIn(work.sequencer, work.reform, event)
  if (seen !== null) seeParts(work, work.reform, seen, event.t_us)
  const slow = !work.brisk && isSlow(work.sequencer)
  if (slow === work.slow) return
  work.slow = slow
  for (const [port, line] of Object.entries(work.lines))
    drive(work, port, {
      kind: 'pace',
      t_us: event.t_us,
      poll_us: slow ? slowPoll_us(line.config) : (line.config.poll_us ?? 0),
    })
}

/** What of an event the estimator looks at. */
function seenIn(s: State, { plan }: ReformWatch, event: Event): Seen | null {
  const { t_us } = event
  switch (event.kind) {
    case 'reading':
      return event.quantity === 'V' && event.channel === plan.channel
        ? { kind: 'supply', volts: decimalValue(event.value), t_us }
        : null
    case 'meter':
      return { kind: 'meter', meter: event.meter, value: decimalValue(event.value), t_us }
    case 'answer':
      return typedIn(s)
    default:
      return null
  }
}

function seeParts(work: Work, before: ReformWatch, seen: Seen, t_us: number): void {
  const { watch, told } = see(before, seen, () => leftOf(work.sequencer))
  work.reform = watch
  for (const judgement of told) feed(work, { kind: 'judged', t_us, judgement })
}

/**
 * OFF goes to every port in the moment in which it is decided: the words first, then what each line makes of having said them.
 * A line that has more to say than was laid ready says that, too.
 */
function urgent(work: Work, t_us: number, off: readonly string[]): void {
  const ready = off === work.sequencer.off_first ? (work.given ?? giveLaidReady(work, work.give)) : {}
  const given: Record<string, string> = { ...ready }
  work.given = null
  const ports = byPort(work.portOf, off)
  for (const [port, channels] of ports) {
    const line = work.lines[port]
    if (given[port] !== undefined || line === undefined) continue
    const words = urgentWords(line, channels)
    if (words !== '') work.give(port, words, true)
    given[port] = words
  }
  for (const [port, channels] of ports) drive(work, port, { kind: 'urgent off', t_us, channels }, given[port])
}

function byPort(portOf: Loop['portOf'], channels: readonly string[]): Map<string, string[]> {
  const ports = new Map<string, string[]>()
  for (const channel of channels) {
    const port = portOf[channel]
    if (port === undefined) continue
    ports.set(port, [...(ports.get(port) ?? []), channel])
  }
  return ports
}
