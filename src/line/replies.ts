import type { LineFault } from '../exchange/index.js'
import { advised } from './advice.js'
import { blame, count, replied, shown, wellAgain } from './health.js'
import { judge, type Verdict } from './judge.js'
import { errorMoves, isStill, type Move, type Want, whoMove } from './moves.js'
import { answerIn, parseError, parseNumber, parseSwitch } from './numbers.js'
import { askAgain, beginQuiet, giveUpOn, lose, nobody, noise, resynchronise, trouble } from './recover.js'
import { inputHeard } from './rounds.js'
import { failRequest, lowers, type Draft, type Failing, type Work } from './state.js'
import { owe } from './urgent.js'
import { identified, opens } from './work.js'

/** OFF or a lowering that does not read back is said this often before the request fails. */
const again_most = 3
/** Queued errors read after a failure. */
const errors_most = 10
/** Questions that belong to arming a dead-man: where one of them gets no answer, what comes after it was never said. */
const arms: ReadonlySet<Want['is']> = new Set(['armed', 'dead-man time'])
/** Another supply on this port: how often it is asked whether the right one is back. */
const wrong_supply_us = 2_000_000

export function noReply(d: Draft): void {
  count(d, 'no_reply')
  const { flight } = d
  d.flight = null
  if (d.link === 'identify') {
    // Named when it was asked, and again by what came in its place.
    nobody(d, d.trouble_text)
    return
  }
  blame(d, 'no_reply', `no reply to "${shown(flight?.move.text ?? '')}" in time`)
  const { work } = d
  const move = work?.moves[work.at]
  // An unacknowledged set command is never said again: its read-back, next in the work, settles what happened.
  if (work && move?.kind === 'tell') d.work = { ...work, at: work.at + 1 }
  else if (work && inputMissed(d, move)) d.work = null
  else if (work) missed(d, work, 'no reply')
  trouble(d)
}

/** A read-only channel beside the outputs is not asked twice at once: its turn comes again, ever more rarely. */
function inputMissed(d: Draft, move: Move | undefined): boolean {
  if (move?.kind !== 'ask' || move.want.is !== 'meter' || move.want.meter.every_us === undefined) return false
  inputHeard(d, move.want.meter.name, false)
  return true
}

/** The present question of this work failed once more: twice is enough, except for what lowers, which begins anew. */
function missed(d: Draft, work: Work, code: 'no reply' | 'bad reply'): void {
  if (work.missed < (code === 'no reply' ? 1 : 2) || opens(work)) {
    d.work = { ...work, missed: work.missed + 1 }
  } else if (work.request !== null && lowers(work.request) && work.again < again_most) {
    d.work = { ...work, at: 0, missed: 0, again: work.again + 1 }
  } else {
    const outcome = work.said ? 'unknown' : 'not done'
    const why = advised(d.trouble_text, d.trouble_fault)
    fail(d, work, work.failing ?? { code, outcome, why, asked: 0 })
  }
}

function fail(d: Draft, work: Work, failing: Failing): void {
  // Where the supply gave its own reason, that is told with what it means.
  const plain = failing.code === 'read-back differs' && !failing.why.includes('the supply says')
  const why = plain ? advised(failing.why, 'read_back_differs') : failing.why
  if (work.request !== null) failRequest(d, work.request, failing.code, failing.outcome, why)
  // Its dead-man may not have been armed.
  if (work.moves.some((move) => move.kind === 'ask' && arms.has(move.want.is))) d.unarmed = true
  d.work = null
}

/** `why` names what was wrong with it; it has been counted. */
export function badReply(d: Draft, fault: LineFault, why: string): void {
  blame(d, fault, `${why} to "${shown(d.flight?.move.text ?? '')}"`)
  d.flight = null
  const { work } = d
  if (work === null) {
    trouble(d)
    return
  }
  const move = work.moves[work.at]
  // A set command is never said again: what became of it is told by its read-back, next in the work.
  if (move?.kind === 'tell') {
    d.work = { ...work, at: work.at + 1 }
    trouble(d)
    return
  }
  if (inputMissed(d, move)) {
    d.work = null
    askAgain(d)
    return
  }
  missed(d, work, 'bad reply')
  if (work.missed === 0) askAgain(d)
  else trouble(d)
}

export function heard(d: Draft, text: string): void {
  const { flight } = d
  const said = text.trim()
  if (said === '' || d.link === 'closed') return
  const acknowledgement = said === d.config.dialect.acknowledges
  const refusal = d.config.dialect.error_lines.includes(said)
  if (d.link === 'quiet') {
    if (acknowledgement) return
    if (said === d.identity) d.identities_due = Math.max(0, d.identities_due - 1)
    count(d, 'late_reply')
    noise(d)
    return
  }
  // What was just said comes back: the answer may still follow, and where none of it did, its deadline tells.
  if (isEcho(d, said) && !isAnswer(d, said)) {
    d.echoes ||= said === flight?.move.text.trim()
    count(d, 'echo')
    blame(d, 'echo', `an echo of our own words comes back ("${shown(text)}")`)
    // Once only OFF goes out the answer behind it is waited for: it tells whether the output is off.
    if (d.link === 'identify' || (d.made_safe && flight !== null)) return
    if (flight === null) {
      resynchronise(d)
      return
    }
    // A set command is never said again: what came instead of its acknowledgement is judged as such.
    if (flight.move.kind !== 'tell') {
      badReply(d, 'echo', 'only an echo came')
      return
    }
  }
  if (d.link === 'identify') {
    if (!acknowledgement && !refusal) identityHeard(d, text)
    return
  }
  if (said === d.identity) {
    if (flight?.move.kind === 'ask' && flight.move.text === whoMove(d.config).text) {
      // Asked before an urgent OFF it says nothing about after it: it is asked again.
      if (flight.move.want.is === 'identity') d.unproved = false
      answered(d, { is: 'good' })
      return
    }
    // Asked more than once it comes more than once; it answers nothing else, and the answer waited for is still to come.
    count(d, 'stale_reply')
    return
  }
  if (refusal) count(d, 'supply_error')
  if (refusal && flight?.move.kind !== 'tell') {
    // It is about the command before; the read-back at hand finds out what came of it.
    d.complaint = said
    return
  }
  if (flight === null || flight.move.kind === 'tell') {
    if (flight !== null) answered(d, acknowledged(d, text))
    else if (!acknowledgement) {
      count(d, 'unasked_reply')
      blame(d, 'unasked_reply', `"${shown(text)}" came, and nothing was asked`)
      resynchronise(d)
    }
    return
  }
  // An acknowledgement of an urgent OFF may come before the answer.
  if (acknowledgement) return
  answered(d, judge(d, flight.move, text))
}

/** A whole line of what was said last. */
function isEcho(d: Draft, text: string): boolean {
  return d.said.includes(text) && d.said.split(/[\r\n]+/).some((line) => line.trim() === text)
}

/**
 * Some supplies answer a question in the words of its set command ("VSET 12.00"). That is believed only where the line gave its
 * identity, and every answer since, without the question coming back first: one that echoes would be believed what we said.
 */
function isAnswer(d: Draft, text: string): boolean {
  const move = d.flight?.move
  if (move?.kind !== 'ask' || move.around === null || d.echoes || text === move.text.trim()) return false
  return d.link !== 'identify' && answerIn(text, move.around) !== null
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
    d.identities_due -= 1
    // Asked more than once: this may be the answer to an earlier question, and the rest still to come.
    if (d.identities_due > 0) beginQuiet(d, 'identified')
    else identified(d)
    return
  }
  const late = parseNumber(said) !== null || parseSwitch(said) !== null || parseError(said) !== null
  if (late || !/^[\x20-\x7e]*[A-Za-z][\x20-\x7e]*$/.test(said)) {
    const noise = /[^\t\x20-\x7e]/.test(said)
    count(d, noise ? 'line_noise' : 'stale_reply')
    if (noise) blame(d, 'line_noise', `line noise ("${shown(said)}") where its identity was asked for`)
    else
      blame(
        d,
        'stale_reply',
        `"${shown(said)}" where its identity was asked for: a reply to a question of before`,
      )
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
    const why = `another supply answers: "${said}" where "${d.identity}" was expected`
    count(d, 'identity_changed')
    blame(d, 'identity_changed', why)
    lose(d, 'wrong supply', 'identity_changed', why)
    d.candidate = null
    beginQuiet(d, 'identify')
    d.quiet_until_us = d.t_us + wrong_supply_us
    d.quiet_at_latest_us = 2 * wrong_supply_us + d.t_us
  }
}

/** A reply to the question in flight has been judged. */
function answered(d: Draft, verdict: Verdict): void {
  const move = d.flight?.move
  if (verdict.is === 'bad') {
    count(d, verdict.fault)
    badReply(d, verdict.fault, verdict.why)
    return
  }
  if (d.flight !== null) replied(d, d.flight.asked_us)
  wellAgain(d)
  d.flight = null
  d.heard_us = d.t_us
  d.troubles = 0
  d.reopens = 0
  const { work } = d
  if (work === null || move === undefined) return
  if (work.failing !== undefined) {
    whyItFailed(d, work, work.failing, verdict)
    return
  }
  // The most frequent case, and one copy less.
  if (work.why === 'reading' && verdict.is === 'good') {
    d.work = null
    return
  }
  const on = { ...work, missed: 0, said: work.said || move.kind === 'tell' }
  switch (verdict.is) {
    case 'good':
      d.work = { ...on, at: work.at + 1 }
      return
    case 'refused':
      d.work = on
      if (move.kind === 'ask') count(d, 'supply_error')
      giveUp(d, on, 'refused', 'unknown', verdict.why)
      return
    case 'differs':
      d.work = on
      count(d, 'read_back_differs')
      if (work.why === 'reading' && isStill(move)) {
        stillDiffers(d, on, verdict.why)
        return
      }
      if (opens(work) || work.why === 'feeding' || (work.request && lowers(work.request))) {
        if (work.again < again_most && !isStill(move)) {
          d.work = { ...on, at: beginning(on), again: work.again + 1 }
          return
        }
      }
      giveUp(
        d,
        on,
        'read-back differs',
        verdict.unchanged && tells(on) <= 1 ? 'not done' : 'unknown',
        d.complaint === null ? verdict.why : `${verdict.why}; the supply says "${d.complaint}"`,
      )
  }
}

/**
 * A limit or level that stands otherwise than it was set, found in its turn: once may be a garbled digit, and it is asked again at
 * once; twice, and nothing is known any more of what bounds this output.
 */
function stillDiffers(d: Draft, work: Work, why: string): void {
  if (work.again === 0) {
    d.work = { ...work, at: 0, again: 1 }
    return
  }
  d.work = null
  d.made_safe = true
  giveUpOn(d, advised(why, 'read_back_differs'))
}

/** Set commands that have gone out for this work. */
function tells(work: Work): number {
  return work.moves.slice(0, work.at).filter((move) => move.kind === 'tell').length
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
    const moves = errorMoves(d.config, 0)
    const failing = { code, outcome, why, asked: 0 }
    if (moves.length === 0) fail(d, work, failing)
    else d.work = { ...work, moves, at: 0, missed: 0, again: again_most, failing }
  } else if (opens(work) || work.why === 'feeding') {
    // It answers, but is not as left or does not obey: nobody may raise anything here, and what may be on is owed an OFF.
    d.made_safe = true
    giveUpOn(d, why)
    const move = work.moves[work.at]
    if (move?.kind === 'ask' && move.want.is === 'output') owe(d, move.channel)
    d.work = { ...work, at: work.at + 1 }
  } else {
    d.work = null
  }
}

/** One queued error after another, until none is left; the first is the reason. */
function whyItFailed(d: Draft, work: Work, failing: Failing, verdict: Verdict): void {
  if (verdict.is === 'refused') count(d, 'supply_error')
  const more = verdict.is === 'refused' && failing.asked < errors_most
  const why = verdict.is === 'refused' && failing.asked === 0 ? `${failing.why}; ${verdict.why}` : failing.why
  const now = { ...failing, why, asked: failing.asked + 1 }
  if (more) d.work = { ...work, failing: now }
  else fail(d, work, now)
}
