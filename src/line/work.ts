import { armMoves, disarmMoves, expiredQuestion, feedMoves, mute } from './dead-man.js'
import { ask, movesFor, plainTell, settingsStill, tell, type Move, whoMove } from './moves.js'
import { doubtedQuestion, dueInput, isOutdated, mayFeedRelay, stillQuestion } from './rounds.js'
import { failRequest, tellEvent, write, type Draft, type Work } from './state.js'
import { owed } from './urgent.js'

function begin(why: Work['why'], request: Work['request'], moves: readonly Move[]): Work {
  return { why, request, moves, at: 0, said: false, missed: 0, again: 0 }
}

/** Work of a fresh connection, before anything else. */
export function opens(work: Work | null): boolean {
  return work?.why === 'opening'
}

export function identified(d: Draft): void {
  d.flight = null
  d.attempts = 0
  d.candidate = null
  d.identities_due = 0
  d.unproved = false
  d.heard_us = d.t_us
  d.link = 'ready'
  if (d.fresh) d.work = openingWork(d)
  d.fresh = false
  if (opens(d.work)) d.link = 'opening'
}

/**
 * First connection: look, and leave everything as it is found. What is on goes off in an order over all ports, which is not one
 * port's to decide. Later connections: look, and see that settings are still the same.
 */
function openingWork(d: Draft): Work | null {
  const { config } = d
  if (config.channels.length === 0) {
    d.been_ready = true
    return null
  }
  const look = config.channels.map((_, index) =>
    ask(config, index, config.dialect.ask_output, { is: 'output', on: null }),
  )
  // Asked before it is armed again, which would hide it.
  const again = d.been_ready
    ? [
        ...config.channels.flatMap((_, index) => expiredQuestion(config, index) ?? []),
        ...d.channels.flatMap((known, index) => settingsStill(config, index, known)),
      ]
    : []
  return begin('opening', null, [...offFirst(d), ...look, ...again, ...readyMoves(d)])
}

/** An OFF that was decided waits for no look that may never be answered: it is said first on a fresh connection, and read back in its turn. */
function offFirst({ config, waiting }: Draft): readonly Move[] {
  return config.channels.flatMap(({ channel }, index) =>
    waiting.some((request) => request.do === 'off' && request.channel === channel)
      ? [tell(config, index, config.dialect.off)]
      : [],
  )
}

/** Delays and power-on state as the dialect wants them, and the dead-man armed. */
function readyMoves(d: Draft): readonly Move[] {
  const { config } = d
  if (config.only_off === true) return []
  const told = config.dialect.at_open.map((text) => plainTell(config, text))
  // Arming gives it its full time again: on a later connection that waits for readings, as feeding does.
  if (d.been_ready && config.dialect.dead_man?.feed != null) return told
  d.unarmed = false
  return [...told, ...armMoves(d)]
}

/** Makes moves until one waits for a reply. */
export function goOn(d: Draft): void {
  while (d.flight === null && (d.link === 'ready' || d.link === 'opening') && d.t_us >= d.hold_us) {
    d.work ??= nextWork(d)
    const { work } = d
    if (work === null) return
    const move = work.moves[work.at]
    if (move === undefined) {
      finish(d, work)
    } else if (opensMeanwhile(d, move)) {
      d.work = null
    } else if (move.kind === 'ask' || d.config.dialect.acknowledges !== null) {
      write(d, move.text)
      if (move.kind === 'tell' && move.slow_us > 0) d.hold_us = Math.max(d.hold_us, d.wire_us + move.slow_us)
      d.flight = {
        move,
        asked_us: d.t_us,
        deadline_us: d.wire_us + Math.max(d.config.reply_us, move.slow_us),
      }
      if (move.kind === 'tell') d.work = { ...work, said: true }
    } else {
      write(d, move.text)
      if (move.slow_us > 0) d.hold_us = Math.max(d.hold_us, d.wire_us + move.slow_us)
      d.work = { ...work, at: work.at + 1, said: true }
    }
  }
}

/** The question of a cut-off relay that had to wait, or to be asked once more, until the relay may have opened. */
function opensMeanwhile(d: Draft, move: Move): boolean {
  if (move.kind !== 'ask' || move.want.is !== 'meter' || move.want.meter.feeds !== true) return false
  return !mayFeedRelay(d, move.want.meter.every_us)
}

function finish(d: Draft, work: Work): void {
  d.work = null
  if (work.request !== null) tellEvent(d, { kind: 'done', id: work.request.id })
  if (opens(work)) {
    d.link = 'ready'
    d.been_ready = true
  }
}

/** Requests first, in order; else the next question of the round. */
function nextWork(d: Draft): Work | null {
  if (d.unproved) return begin('reading', null, [whoMove(d.config)])
  const [first] = d.waiting
  if (first !== undefined) {
    d.waiting = d.waiting.slice(1)
    d.complaint = null
    const index = d.config.channels.findIndex((channel) => channel.channel === first.channel)
    const known = d.channels[index] ?? { set_V: null, limit_A: null, over_V: null, over_A: null }
    const built =
      first.do === 'disarm'
        ? ({ ok: true, moves: disarmMoves(d.config) } as const)
        : movesFor(d.config, index, first, known)
    if (built.ok) {
      if (first.do === 'disarm') d.disarmed = true
      // Whatever else is asked of the supply speaks to it again.
      d.starved_until_us = first.do === 'starve' ? d.t_us + Math.round(first.for_s * 1e6) : 0
      if (first.do === 'starve') d.arm_again = first.arm_again === true
      return begin('request', first, built.moves)
    }
    failRequest(d, first, 'refused', 'not done', built.why)
    return nextWork(d)
  }
  if (d.t_us < mute(d) && owed(d).length === 0) return null
  const feed = feedMoves(d)
  if (feed.length > 0) return begin('feeding', null, feed)
  const move = nextQuestion(d)
  return move === null ? null : begin('reading', null, [move])
}

function nextQuestion(d: Draft): Move | null {
  const doubted = doubtedQuestion(d)
  if (doubted !== null) return doubted
  if (d.round_at >= d.round.length) {
    const owing = owed(d)
    // A line with nothing but slow inputs has no rounds; between slow rounds an input may be asked as well.
    const waits = d.fast.length === 0 || (d.t_us < d.round_us + d.poll_us && d.round.length > 0)
    if (owing.length === 0 && waits) return dueInput(d)
    if (d.round.length > 0) {
      d.rounds += 1
      d.rounds_us += d.t_us - d.round_us
    }
    d.round_us = d.t_us
    d.round_at = 0
    const outputs = owing.map((index) =>
      ask(d.config, index, d.config.dialect.ask_output, { is: 'output', on: null }),
    )
    const last = owing.length > 0 ? null : turnAfter(d)
    d.round = last === null ? [...outputs, ...d.fast] : [...d.fast, last]
  }
  const move = d.round[d.round_at] ?? null
  d.round_at += 1
  return move !== null && isOutdated(d, move) ? nextQuestion(d) : move
}

/** Where rounds are shorter than this, status waits for some of them: what changes seldom must not take turns from readings. */
const slow_every_us = 20_000

/** After a round one other question: an input that is due, and status in turn with it, so that neither waits for the other. */
function turnAfter(d: Draft): Move | null {
  const input = d.input_last ? null : dueInput(d)
  d.input_last = input !== null
  if (input !== null) return input
  if (d.t_us - d.slow_us < slow_every_us) return dueInput(d)
  d.slow_us = d.t_us
  const still = stillQuestion(d)
  if (still !== null) return still
  const slow = d.slow[d.slow_at % Math.max(1, d.slow.length)]
  d.slow_at += 1
  return slow ?? dueInput(d)
}
