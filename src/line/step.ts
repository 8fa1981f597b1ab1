import { judge, type Verdict } from './judge.js'
import {
  ask,
  fastMoves,
  movesFor,
  offMoves,
  plainAsk,
  settingsStill,
  slowMoves,
  tell,
  type Move,
} from './moves.js'
import { parseError, parseNumber, parseSwitch } from './numbers.js'
import {
  askReopen,
  beginQuiet,
  closed,
  endQuiet,
  lose,
  nobody,
  noise,
  reopen,
  resynchronise,
  trouble,
} from './recover.js'
import {
  count,
  failRequest,
  lowers,
  setChannel,
  tellEvent,
  write,
  type Draft,
  type LineState,
  type Request,
  type Work,
} from './state.js'
import type { LineConfig, LineInput, LineOutput } from './types.js'
import { owed, repeatUrgent, urgentOff, urgentOnOpen } from './urgent.js'

const never = Number.POSITIVE_INFINITY
/** OFF or a lowering that does not read back is said this often before the request fails. */
const again_most = 3
/** Where an earlier output was found on: how often its fall is looked at. */
const fall_every_us = 100_000

/** A line that has not been opened. */
export function openLine(config: LineConfig): LineState {
  const channel = {
    set_V: null,
    limit_A: null,
    over_V: null,
    output: null,
    regulation: 'unknown',
    tripped: [],
  } as const
  return {
    config,
    t_us: 0,
    link: 'closed',
    quiet_until_us: 0,
    quiet_at_latest_us: 0,
    quiet_then: 'identify',
    hold_us: 0,
    reopen_us: null,
    identity: config.identity,
    candidate: null,
    been_ready: false,
    lost: false,
    made_safe: false,
    flight: null,
    work: null,
    waiting: [],
    channels: config.channels.map(() => channel),
    urgent: null,
    fast: fastMoves(config),
    slow: slowMoves(config),
    slow_at: 0,
    round: [],
    round_at: 0,
    round_us: 0,
    poll_us: config.poll_us ?? 0,
    fed_us: 0,
    heard_us: 0,
    attempts: 0,
    troubles: 0,
    reopens: 0,
    health: {
      no_reply: 0,
      bad_reply: 0,
      late_reply: 0,
      discarded_bytes: 0,
      resynchronised: 0,
      reopened: 0,
    },
  }
}

/**
 * One input in, the next state and what to write and tell out. Times never go back (an earlier one counts as the latest seen).
 * It never throws and never waits; `lineWakeAt` says when the next 'time' is of use.
 */
export function lineStep(
  state: LineState,
  input: LineInput,
): { readonly state: LineState; readonly outputs: readonly LineOutput[] } {
  const d: Draft = { ...state, outputs: [] }
  if (input.t_us > d.t_us) d.t_us = input.t_us
  take(d, input)
  clock(d)
  goOn(d)
  const { outputs, ...next } = d
  return { state: next, outputs }
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
    idle ? Math.max(state.hold_us, work ? 0 : state.round_us + state.poll_us) : never,
  )
  return at === never ? null : Math.max(at, state.t_us)
}

function take(d: Draft, input: LineInput): void {
  switch (input.kind) {
    case 'opened':
      opened(d)
      return
    case 'closed':
      closed(d, input.text)
      return
    case 'text':
      heard(d, input.text)
      return
    case 'discarded':
      count(d, 'discarded_bytes', input.bytes)
      if (d.link === 'quiet') noise(d)
      else if (d.flight !== null && d.link !== 'identify') badReply(d)
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
    case 'time':
      return
  }
}

function opened(d: Draft): void {
  if (d.been_ready || d.reopens > 0) count(d, 'reopened')
  d.attempts = 0
  d.reopen_us = null
  d.candidate = null
  d.round = []
  d.round_at = 0
  beginQuiet(d, 'identify')
  write(d, d.config.dialect.terminator)
  urgentOnOpen(d)
}

function request(d: Draft, input: Request): void {
  if (!d.config.channels.some((channel) => channel.channel === input.channel)) {
    failRequest(d, input, 'refused', 'not done', 'there is no such channel on this port')
  } else if (d.made_safe && !lowers(input)) {
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

function noReply(d: Draft): void {
  count(d, 'no_reply')
  d.flight = null
  if (d.link === 'identify') {
    nobody(d, 'nobody answers')
    return
  }
  const { work } = d
  const move = work?.moves[work.at]
  // An unacknowledged set command is never said again: its read-back, next in the work, settles what happened.
  if (work && move?.kind === 'tell') d.work = { ...work, at: work.at + 1 }
  else if (work) missed(d, work, 'no reply', 'the supply does not answer')
  trouble(d)
}

/** The present question of this work failed once more: twice is enough, except for what lowers, which begins anew. */
function missed(d: Draft, work: Work, code: 'no reply' | 'bad reply', why: string): void {
  if (work.missed < (code === 'no reply' ? 1 : 2) || work.why === 'opening') {
    d.work = { ...work, missed: work.missed + 1 }
  } else if (work.request !== null && lowers(work.request) && work.again < again_most) {
    d.work = { ...work, at: 0, missed: 0, again: work.again + 1 }
  } else {
    if (work.request !== null) failRequest(d, work.request, code, work.said ? 'unknown' : 'not done', why)
    d.work = null
  }
}

function badReply(d: Draft): void {
  count(d, 'bad_reply')
  d.flight = null
  const { work } = d
  if (work === null) {
    trouble(d)
    return
  }
  missed(d, work, 'bad reply', 'the supply answers what cannot be')
  // The first time only a short silence: were the replies one step behind, the right one shows up in it.
  if (work.missed === 0) beginQuiet(d, 'go on')
  else trouble(d)
}

function heard(d: Draft, text: string): void {
  const { flight } = d
  const empty = text.trim() === ''
  if (empty || d.link === 'closed') return
  const acknowledgement = text.trim() === d.config.dialect.acknowledges
  if (d.link === 'quiet') {
    if (acknowledgement) return
    count(d, 'late_reply')
    noise(d)
    return
  }
  if (d.link === 'identify') {
    if (!acknowledgement) identityHeard(d, text)
    return
  }
  if (flight === null || flight.move.kind === 'tell') {
    if (flight !== null) answered(d, acknowledged(d, text))
    else if (!acknowledgement) {
      count(d, 'late_reply')
      resynchronise(d)
    }
    return
  }
  // An acknowledgement of an urgent OFF may come before the answer.
  if (acknowledgement) return
  answered(d, judge(d, flight.move, text))
}

function acknowledged(d: Draft, text: string): Verdict {
  return text.trim() === d.config.dialect.acknowledges
    ? { is: 'good' }
    : {
        is: 'refused',
        why: `the supply says "${text.trim()}" instead of "${d.config.dialect.acknowledges ?? ''}"`,
      }
}

/** Only the identity ends the waiting: numbers and switches that still come are late replies. */
function identityHeard(d: Draft, text: string): void {
  const said = text.trim()
  if (said === d.identity) {
    identified(d)
    return
  }
  const late = parseNumber(said) !== null || parseSwitch(said) !== null || parseError(said) !== null
  if (late || !/^[\x20-\x7e]*[A-Za-z][\x20-\x7e]*$/.test(said)) {
    count(d, 'late_reply')
    return
  }
  if (said !== d.candidate) {
    // Heard once it may be garbled: ask again.
    d.candidate = said
    beginQuiet(d, 'identify')
  } else if (d.identity === null) {
    d.identity = said
    identified(d)
  } else {
    lose(d, 'wrong supply', `another supply answers: "${said}" where "${d.identity}" was expected`)
    d.candidate = null
    beginQuiet(d, 'identify')
    d.quiet_until_us = d.t_us + 2_000_000
    d.quiet_at_latest_us = never
  }
}

function identified(d: Draft): void {
  d.flight = null
  d.attempts = 0
  d.candidate = null
  d.heard_us = d.t_us
  d.link = 'ready'
  const reconnected = d.channels.some((channel) => channel.output === null)
  if (!d.been_ready || reconnected) d.work ??= openingWork(d)
  if (d.work?.why === 'opening') d.link = 'opening'
}

/** First connection: look, then OFF to every channel in order. Later ones: look, and see that settings are still the same. */
function openingWork(d: Draft): Work | null {
  const { config } = d
  if (config.meter !== null || config.channels.length === 0) {
    d.been_ready = true
    return null
  }
  const look = config.channels.map((_, index) =>
    ask(config, index, config.dialect.ask_output, { is: 'output', on: null }),
  )
  const arm = config.dialect.dead_man === null ? [] : [tell(config, 0, config.dialect.dead_man.arm)]
  const still = d.channels.flatMap((known, index) => settingsStill(config, index, known))
  const moves = d.been_ready ? [...look, ...still, ...arm] : look
  return { why: 'opening', request: null, moves, at: 0, said: false, missed: 0, again: 0 }
}

/** The OFFs of the first connection; where an output was found on, the next in order waits until it has fallen. */
function offInOrder(d: Draft): readonly Move[] {
  const { config } = d
  const order = config.channels
    .map((channel, index) => ({ index, channel, order: channel.off_order ?? index }))
    .sort((a, b) => a.order - b.order)
  const moves: Move[] = []
  let found: typeof order = []
  let last = Number.NEGATIVE_INFINITY
  for (const one of order) {
    if (one.order > last) {
      for (const { index, channel } of found) {
        if (!channel.release) continue
        const by_us = d.t_us + channel.release.after_s * 1_000_000
        const want = { is: 'fallen', below_V: channel.release.below_V, by_us } as const
        moves.push(ask(config, index, config.dialect.measure_volts, want))
      }
      found = []
    }
    last = one.order
    moves.push(...offMoves(config, one.index))
    if (d.channels[one.index]?.output === true) found.push(one)
  }
  if (config.dialect.dead_man !== null) moves.push(tell(config, 0, config.dialect.dead_man.arm))
  return moves
}

/** A reply to the question in flight has been judged. */
function answered(d: Draft, verdict: Verdict): void {
  const move = d.flight?.move
  if (verdict.is === 'bad') {
    badReply(d)
    return
  }
  d.flight = null
  d.heard_us = d.t_us
  d.troubles = 0
  d.reopens = 0
  const { work } = d
  if (work === null || move === undefined) return
  const on = { ...work, missed: 0, said: work.said || move.kind === 'tell' }
  switch (verdict.is) {
    case 'good':
      d.work = { ...on, at: work.at + 1 }
      return
    case 'not yet':
      d.hold_us = d.t_us + fall_every_us
      d.work = on
      return
    case 'refused':
      d.work = on
      giveUp(d, on, 'refused', 'unknown', verdict.why)
      return
    case 'differs':
      d.work = on
      if (work.why === 'opening' || (work.request && lowers(work.request))) {
        if (
          work.again < again_most &&
          !(move.kind === 'ask' && move.want.is === 'setting' && move.want.check)
        ) {
          d.work = { ...on, at: beginning(on), again: work.again + 1 }
          return
        }
      }
      giveUp(
        d,
        on,
        'read-back differs',
        verdict.unchanged && !on.said ? 'not done' : outcomeOf(verdict),
        verdict.why,
      )
  }
}

function outcomeOf(verdict: Extract<Verdict, { is: 'differs' }>): 'not done' | 'unknown' {
  return verdict.unchanged ? 'not done' : 'unknown'
}

/** The set command before the question at hand. */
function beginning(work: Work): number {
  for (let at = work.at; at > 0; at--) if (work.moves[at]?.kind === 'tell') return at
  return 0
}

function giveUp(
  d: Draft,
  work: Work,
  code: 'refused' | 'read-back differs',
  outcome: 'not done' | 'unknown',
  why: string,
): void {
  if (work.request !== null) {
    failRequest(d, work.request, code, outcome, why)
    d.work = null
  } else if (work.why === 'opening') {
    // It answers, but is not as left or does not obey: nobody may raise anything here, and what may be on is owed an OFF.
    d.made_safe = true
    if (!d.lost)
      tellEvent(d, { kind: 'line lost', port: d.config.port, text: `port ${d.config.port}: ${why}` })
    d.lost = true
    d.work = { ...work, at: work.at + 1 }
  } else {
    d.work = null
  }
}

/** Makes moves until one waits for a reply. */
function goOn(d: Draft): void {
  while (d.flight === null && (d.link === 'ready' || d.link === 'opening') && d.t_us >= d.hold_us) {
    d.work ??= nextWork(d)
    const { work } = d
    if (work === null) return
    const move = work.moves[work.at]
    if (move === undefined) {
      finish(d, work)
    } else if (move.kind === 'ask' || d.config.dialect.acknowledges !== null) {
      write(d, move.text)
      d.flight = { move, deadline_us: d.t_us + d.config.reply_us }
      if (move.kind === 'tell') d.work = { ...work, said: true }
    } else {
      write(d, move.text)
      d.work = { ...work, at: work.at + 1, said: true }
    }
  }
}

function finish(d: Draft, work: Work): void {
  d.work = null
  if (work.request !== null) tellEvent(d, { kind: 'done', id: work.request.id })
  if (work.why !== 'opening') return
  if (d.been_ready || work.again < 0 || d.config.outputs_stay === true) {
    d.link = 'ready'
    d.been_ready = true
  } else if (work.moves.every((move) => move.kind === 'ask')) {
    d.work = { ...work, moves: offInOrder(d), at: 0 }
  } else {
    d.link = 'ready'
    d.been_ready = true
  }
}

/** Requests first, in order; else the next question of the round. */
function nextWork(d: Draft): Work | null {
  const start = { at: 0, said: false, missed: 0, again: 0 } as const
  const [first, ...rest] = d.waiting
  if (first !== undefined) {
    d.waiting = rest
    const index = d.config.channels.findIndex((channel) => channel.channel === first.channel)
    const known = d.channels[index] ?? { set_V: null, limit_A: null, over_V: null }
    const built = movesFor(d.config, index, first, known)
    if (built.ok) return { why: 'request', request: first, moves: built.moves, ...start }
    failRequest(d, first, 'refused', 'not done', built.why)
    return nextWork(d)
  }
  const feed = feedDeadMan(d)
  const move = feed ?? nextQuestion(d)
  return move === null ? null : { why: 'reading', request: null, moves: [move], ...start }
}

/** The supply's dead-man is fed only while replies are fresh. */
function feedDeadMan(d: Draft): Move | null {
  const dead_man = d.config.dialect.dead_man
  if (dead_man === null || d.config.meter !== null) return null
  const every_us = (dead_man.after_s * 1_000_000) / 4
  if (d.t_us - d.fed_us < every_us || d.t_us - d.heard_us > 2 * every_us) return null
  d.fed_us = d.t_us
  return dead_man.feed.endsWith('?')
    ? plainAsk(d.config, 0, dead_man.feed, { is: 'anything' })
    : tell(d.config, 0, dead_man.feed)
}

function nextQuestion(d: Draft): Move | null {
  if (d.round_at >= d.round.length) {
    const owing = owed(d)
    if (owing.length === 0 && d.t_us < d.round_us + d.poll_us && d.round.length > 0) return null
    d.round_us = d.t_us
    d.round_at = 0
    const slow = d.slow[d.slow_at % Math.max(1, d.slow.length)]
    d.slow_at += 1
    const outputs = owing.map((index) =>
      ask(d.config, index, d.config.dialect.ask_output, { is: 'output', on: null }),
    )
    d.round = owing.length > 0 ? [...outputs, ...d.fast] : slow === undefined ? d.fast : [...d.fast, slow]
  }
  const move = d.round[d.round_at] ?? null
  d.round_at += 1
  return move
}
