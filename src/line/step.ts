import { feedAt, mute } from './dead-man.js'
import { draftOf, own } from './draft.js'
import { blame, count, countBytes, nothingKept, tellHealth } from './health.js'
import { askReopen, beginQuiet, closed, endQuiet, leave, noise } from './recover.js'
import type { LineFault } from '../exchange/index.js'
import { badReply, heard, noReply } from './replies.js'
import { fastMoves, nextInput, slowMoves } from './rounds.js'
import { failRequest, lowers, write, type Draft, type LineState, type Request } from './state.js'
import type { LineConfig, LineInput, LineOutput } from './types.js'
import { repeatUrgent, urgentOff, urgentOnOpen } from './urgent.js'
import { goOn } from './work.js'

const never = Number.POSITIVE_INFINITY

/** A line that has not been opened. */
export function openLine(config: LineConfig): LineState {
  const channel = {
    set_V: null,
    limit_A: null,
    over_V: null,
    over_A: null,
    output: null,
    regulation: 'unknown',
    tripped: [],
    amps: null,
    read_us: 0,
  } as const
  return {
    config,
    t_us: 0,
    link: 'closed',
    quiet_until_us: 0,
    quiet_at_latest_us: 0,
    quiet_then: 'identify',
    identities_due: 0,
    hold_us: 0,
    reopen_us: null,
    identity: config.identity,
    candidate: null,
    been_ready: false,
    fresh: true,
    lost: false,
    unproved: false,
    made_safe: false,
    flight: null,
    work: null,
    waiting: [],
    channels: config.channels.map(() => channel),
    urgent: null,
    fast: fastMoves(config),
    slow: slowMoves(config),
    slow_at: 0,
    slow_us: 0,
    still: { turn: -1, asked_us: 0, count: 0 },
    inputs: (config.inputs ?? []).map(() => ({ asked_us: null, missed: 0 })),
    input_last: false,
    round: [],
    round_at: 0,
    round_us: 0,
    poll_us: config.poll_us ?? 0,
    fed_us: 0,
    unarmed: true,
    disarmed: false,
    starved_until_us: 0,
    starves: true,
    relay_fed_us: null,
    arm_again: false,
    complaint: null,
    doubted_us: 0,
    heard_us: 0,
    wire_us: 0,
    attempts: 0,
    troubles: 0,
    reopens: 0,
    said: '',
    echoes: false,
    trouble_fault: 'no_reply',
    trouble_text: '',
    kept: nothingKept,
    replies: 0,
    worst_reply_us: 0,
    rounds: 0,
    rounds_us: 0,
    outputs: [],
  }
}

interface Stepped {
  readonly state: LineState
  readonly outputs: readonly LineOutput[]
}

/**
 * One input in, the next state and what to write and tell out. Times never go back (an earlier one counts as the latest seen).
 * It never throws and never waits; `lineWakeAt` says when the next 'time' is of use.
 */
export function lineStep(state: LineState, input: LineInput): Stepped {
  const d = hear(state, input)
  goOn(d)
  return { state: d, outputs: d.outputs }
}

/**
 * The first half of `lineStep`: what the input says, before anything new is asked. For whoever must judge it first: an OFF it
 * calls for would else wait behind the next question in the port's own queue. `lineGoOn` is the other half. `isOwn`: nobody else
 * has this state, so it is taken as it is and not copied.
 */
export function lineHear(state: LineState, input: LineInput, isOwn = false): Stepped {
  const d = hear(state, input, isOwn)
  return { state: d, outputs: d.outputs }
}

/** The second half of `lineStep`: the next question or command, where one is due. `isOwn` as there. */
export function lineGoOn(state: LineState, isOwn = false): Stepped {
  if (state.flight !== null) return { state, outputs: [] }
  const d = isOwn ? own(state) : draftOf(state)
  goOn(d)
  return { state: d, outputs: d.outputs }
}

function hear(state: LineState, input: LineInput, isOwn = false): Draft {
  const d = isOwn ? own(state) : draftOf(state)
  if (input.t_us > d.t_us) d.t_us = input.t_us
  take(d, input)
  clock(d)
  tellHealth(d)
  return d
}

/** Earliest time at which a 'time' input would do something; null = only an input from outside can. */
export function lineWakeAt(state: LineState): number | null {
  const owes = state.urgent?.targets.some((index) => state.channels[index]?.output !== false) ?? false
  const urgent = state.urgent !== null && owes && state.link !== 'closed'
  const repeat = state.flight === null ? (state.urgent?.repeat_us ?? never) : never
  const idle = state.flight === null && (state.link === 'ready' || state.link === 'opening')
  const work = state.work !== null || state.waiting.length > 0 || owes
  const at = Math.min(
    state.flight?.deadline_us ?? never,
    state.link === 'quiet' ? Math.min(state.quiet_until_us, state.quiet_at_latest_us) : never,
    state.link === 'closed' ? (state.reopen_us ?? never) : never,
    urgent ? (state.urgent.burst_us[0] ?? repeat) : never,
    idle
      ? Math.max(
          state.hold_us,
          work
            ? 0
            : Math.max(
                mute(state),
                Math.min(roundAt(state), nextInput(state)?.at_us ?? never, feedAt(state)),
              ),
        )
      : never,
  )
  return at === never ? null : Math.max(at, state.t_us)
}

const roundAt = (state: LineState): number =>
  state.fast.length === 0 ? never : state.round_us + state.poll_us

function take(d: Draft, input: LineInput): void {
  switch (input.kind) {
    case 'opened':
      opened(d)
      return
    case 'closed':
      closed(d, input.text, input.stuck === true)
      return
    case 'text':
      heard(d, input.text)
      return
    case 'discarded':
      countBytes(d, input.bytes)
      discarded(d, input.overlong === true ? 'overlong_line' : 'line_noise', input.why)
      return
    case 'request':
      request(d, input)
      return
    case 'urgent off':
      urgentOff(d, input.channels)
      return
    case 'pace':
      d.poll_us = input.poll_us
      return
    case 'feeds':
      d.starves = !input.on
      d.relay_fed_us = null
      return
    case 'time':
      return
  }
}

function discarded(d: Draft, fault: LineFault, why: string): void {
  count(d, fault)
  if (d.link === 'quiet') noise(d)
  else if (d.flight !== null && d.link !== 'identify') badReply(d, fault, why)
  else blame(d, fault, why)
}

function opened(d: Draft): void {
  if (d.link !== 'closed') leave(d)
  if (d.been_ready || d.reopens > 0) count(d, 'reopened')
  d.attempts = 0
  d.reopen_us = null
  d.fresh = true
  d.starved_until_us = 0
  d.unarmed = true
  d.fed_us = 0
  d.candidate = null
  d.round = []
  d.round_at = 0
  beginQuiet(d, 'identify')
  write(d, d.config.dialect.terminator)
  urgentOnOpen(d)
}

/** What is said once the outputs are off: the dead-man rests, the panel is the person's again. */
const lastWords = (request: Request): boolean =>
  request.do === 'disarm' || (request.do === 'panel' && request.to === 'person')

function request(d: Draft, input: Request): void {
  if (!d.config.channels.some((channel) => channel.channel === input.channel)) {
    failRequest(d, input, 'refused', 'not done', 'there is no such channel on this port')
  } else if (d.made_safe && !lowers(input) && !lastWords(input)) {
    failRequest(
      d,
      input,
      'refused',
      'not done',
      'this line has been made safe and only switches off until a new run',
    )
  } else {
    d.waiting = [...d.waiting, input]
  }
}

/** What time alone brings: missed replies, ended silences, an OFF to repeat, a port to open. */
function clock(d: Draft): void {
  if (d.link === 'closed') {
    if (d.reopen_us !== null && d.t_us >= d.reopen_us) askReopen(d)
    return
  }
  if (d.flight !== null && d.t_us >= d.flight.deadline_us) noReply(d)
  if (d.link === 'quiet' && d.t_us >= Math.min(d.quiet_until_us, d.quiet_at_latest_us)) endQuiet(d)
  repeatUrgent(d)
}
