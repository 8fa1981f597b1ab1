import type { LineEvent, LineFailure, LineFault, Protection } from '../exchange/index.js'
import type { Kept } from './health.js'
import type { Move, Settings } from './moves.js'
import type { LineConfig, LineInput, LineOutput } from './types.js'

export type Request = Extract<LineInput, { kind: 'request' }>

/** A question (or a set command that is acknowledged) whose reply has not come. At most one. */
export interface Flight {
  readonly move: Move
  readonly asked_us: number
  readonly deadline_us: number
}

/** Moves being made one after another, for a request, for the opening of a connection, or for a reading. */
export interface Work {
  readonly why: 'request' | 'opening' | 'reading' | 'feeding'
  readonly request: Request | null
  readonly moves: readonly Move[]
  readonly at: number
  /** A set command of this request has gone out: its outcome can be unknown. */
  readonly said: boolean
  /** Times the present question went unanswered or was answered badly. */
  readonly missed: number
  /** Times the whole (OFF, lowering) was begun again. */
  readonly again: number
  /** It has failed; the errors the supply queued are being read for the reason, and to leave none behind. */
  readonly failing?: Failing
}
export interface Failing {
  readonly code: LineFailure
  readonly outcome: 'not done' | 'unknown'
  readonly why: string
  readonly asked: number
}

export interface ChannelState extends Settings {
  /** As last read back; null = not known. */
  readonly output: boolean | null
  readonly regulation: 'voltage' | 'current' | 'unknown'
  readonly tripped: readonly Protection[]
  /** Last measured; null = none yet. */
  readonly amps: number | null
  /** When that was. */
  readonly read_us: number
}

/** The OFF beside the queue. `targets` stays after it is confirmed: an output found on again is switched off again. */
export interface Urgent {
  readonly targets: readonly number[]
  /** OFFs of the first burst still to come, as times; they wait for nothing. */
  readonly burst_us: readonly number[]
  /** After the burst: the next OFF goes out between questions from then on. */
  readonly repeat_us: number
}

/**
 * - `closed`: no connection; `quiet`: waiting for the line to fall silent; `identify`: asked who is there;
 * - `opening`: reading back what is there; `ready`: polling and obeying.
 */
export type Link = 'closed' | 'quiet' | 'identify' | 'opening' | 'ready'

export interface LineState {
  readonly config: LineConfig
  readonly t_us: number
  readonly link: Link
  /** While `quiet`: silent when nothing came until then; given up when it never falls silent. */
  readonly quiet_until_us: number
  readonly quiet_at_latest_us: number
  /** After the quiet: ask who is there, only go on with the question that was answered badly, or believe the identity heard. */
  readonly quiet_then: 'identify' | 'go on' | 'identified'
  /** Identities asked for that have not come: one that comes may answer an earlier question, with more behind it. */
  readonly identities_due: number
  /** Nothing new is asked before this. */
  readonly hold_us: number
  /** While `closed`: when to ask for a fresh connection; null = the shell has been asked or opens by itself. */
  readonly reopen_us: number | null
  readonly identity: string | null
  /** An identity heard once: believed, or called another supply, when heard again. */
  readonly candidate: string | null
  /** This line has been ready before: outputs may be on for a reason. */
  readonly been_ready: boolean
  /** This connection has not been looked at yet. */
  readonly fresh: boolean
  readonly lost: boolean
  /** An urgent OFF was given and who is there has not been asked since. */
  readonly unproved: boolean
  /** After an urgent off or a lost line: only OFF, zero and questions, until a new run. */
  readonly made_safe: boolean
  readonly flight: Flight | null
  readonly work: Work | null
  readonly waiting: readonly Request[]
  readonly channels: readonly ChannelState[]
  readonly urgent: Urgent | null
  readonly fast: readonly Move[]
  readonly slow: readonly Move[]
  readonly slow_at: number
  /** When a status question was last asked in its turn. */
  readonly slow_us: number
  /** Limits and levels asked again: in which turn of the status questions and when the last was, and how many so far. */
  readonly still: { readonly turn: number; readonly asked_us: number; readonly count: number }
  /** Read-only channels: when each was last asked, and how often in a row without an answer. */
  readonly inputs: readonly { readonly asked_us: number | null; readonly missed: number }[]
  /** The last turn after a round was an input's: the next is a status question's. */
  readonly input_last: boolean
  readonly round: readonly Move[]
  readonly round_at: number
  readonly round_us: number
  readonly poll_us: number
  readonly fed_us: number
  /** It is still to be armed on this connection: on a later one only once readings come again. */
  readonly unarmed: boolean
  /** The dead-man has been put to rest at the end of a run: neither fed nor armed again. */
  readonly disarmed: boolean
  /** Until then the dead-man is not fed, and where any message feeds it nothing is said unasked at all. */
  readonly starved_until_us: number
  /** The cut-off relay at the end of this line is left to open. */
  readonly starves: boolean
  /** When the question that keeps it closed was last asked and answered; null = not since it was to be closed. */
  readonly relay_fed_us: number | null
  /** It was left to fire, and is wanted again after that. */
  readonly arm_again: boolean
  /** A refusal it said of its own accord since the last request began; told as the reason when a read-back differs. */
  readonly complaint: string | null
  /** When a doubtful constant current was last asked again. */
  readonly doubted_us: number
  readonly heard_us: number
  /** Until then what was written is still on its way to the supply, by the speed of the line. */
  readonly wire_us: number
  /** Rungs of the ladder climbed since the last good reply: see recover.ts. */
  readonly attempts: number
  readonly troubles: number
  readonly reopens: number
  /** What was written last, to know its echo by. */
  readonly said: string
  /** Since who is there was last asked into a silent line, a question came back as it was asked. */
  readonly echoes: boolean
  /** The trouble at hand, and in words. */
  readonly trouble_fault: LineFault
  readonly trouble_text: string
  readonly kept: Kept
  /** Good replies, the slowest of them, and rounds of readings with the time they took: for its health only. */
  readonly replies: number
  readonly worst_reply_us: number
  readonly rounds: number
  readonly rounds_us: number
  /** What the step that made this state wrote and told. */
  readonly outputs: readonly LineOutput[]
}

/** A state under change within one step; it is a copy, and what it holds is replaced, never altered. */
export type Draft = { -readonly [K in keyof Omit<LineState, 'outputs'>]: LineState[K] } & {
  outputs: LineOutput[]
}

export function tellEvent(d: Draft, event: LineEvent): void {
  putOut(d, { kind: 'event', event })
}

/** One as a rule: a list that begins empty takes room for many with its first. */
function putOut(d: Draft, output: LineOutput): void {
  if (d.outputs.length === 0) d.outputs = [output]
  else d.outputs.push(output)
}

/** Room for the longest burst of OFFs and the questions around it. */
const said_most = 400

/** CR or LF. */
const ends = (code: number): boolean => code === 0x0d || code === 0x0a

export function write(d: Draft, text: string, urgent = false): void {
  putOut(d, { kind: 'write', text, urgent })
  const said = d.said + text
  let from = Math.max(0, said.length - said_most)
  // What is left of a line that was cut is none: a true reply might be equal to it.
  if (from > 0) while (from < said.length && !ends(said.charCodeAt(from))) from++
  d.said = said.slice(from)
  d.wire_us = Math.max(d.wire_us, d.t_us) + Math.ceil(text.length * (d.config.byte_us ?? 0))
}

export function setChannel(d: Draft, index: number, change: Partial<ChannelState>): void {
  const channel = d.channels[index]
  if (channel === undefined || isSo(channel, change)) return
  d.channels = d.channels.with(index, Object.assign({ ...channel }, change))
}

/** As what is asked in turn nearly always finds it. */
function isSo(channel: ChannelState, change: Partial<ChannelState>): boolean {
  for (const key in change) {
    const field = key as keyof ChannelState
    if (channel[field] !== change[field]) return false
  }
  return true
}

/** The same for a current just read. By name: it comes several times a second, and spreads cost several times as much. */
export function setAmps(d: Draft, index: number, amps: number): void {
  const channel = d.channels[index]
  if (channel === undefined) return
  const { set_V, limit_A, over_V, over_A, output, regulation, tripped } = channel
  const now = { set_V, limit_A, over_V, over_A, output, regulation, tripped, amps, read_us: d.t_us }
  d.channels = d.channels.with(index, now)
}

export function channelName(d: Draft, index: number): string {
  return d.config.channels[index]?.channel ?? d.config.port
}

export function failRequest(
  d: Draft,
  request: Request,
  code: LineFailure,
  outcome: 'not done' | 'unknown',
  why: string,
): void {
  const what = request.do === 'limits' ? 'setting the limits' : `"${request.do}"`
  const meaning =
    outcome === 'not done' ? 'It was not done.' : 'It may have happened: read back before deciding.'
  const text = `${request.channel} on port ${d.config.port}, ${what}: ${why}${why.endsWith('.') ? '' : '.'} ${meaning}`
  tellEvent(d, { kind: 'failed', id: request.id, code, text, outcome })
}

/** Gives up the work at hand and, where `which` says so, the requests behind it. */
export function failRequests(
  d: Draft,
  code: LineFailure,
  why: string,
  which: (request: Request) => boolean,
): void {
  const { work } = d
  if (work?.request && which(work.request)) {
    failRequest(d, work.request, code, work.said ? 'unknown' : 'not done', why)
    d.work = null
  }
  for (const request of d.waiting) if (which(request)) failRequest(d, request, code, 'not done', why)
  d.waiting = d.waiting.filter((request) => !which(request))
}

/** OFF and zero: they survive what makes everything else void. */
export function lowers(request: Request): boolean {
  return request.do === 'off' || request.do === 'zero'
}
