import { advised } from './advice.js'
import type { LineFault } from '../exchange/index.js'
import { blame, climb, count } from './health.js'
import { plainAsk } from './moves.js'
import { identified, opens } from './work.js'
import { failRequests, lowers, tellEvent, write, type Draft } from './state.js'

/**
 * The ladder of recovery, lowest rung first. Each rung is counted in the line's health, and told when it is climbed.
 *
 * 1. *ask again*: a bad reply → a short silence, then the same question once more;
 * 2. *resynchronise*: no reply, or a second bad one → silence, bare terminator, clear, identity; only then the question again,
 *    so that a late reply never answers the next question;
 * 3. *reopen*: nobody answers, or trouble goes on → a fresh connection;
 * 4. *give up*: no use either → every request fails and the line says so. The rungs are then climbed again for ever, slowly,
 *    because an OFF may still be owed.
 */
const quiet_us = 200_000
const repeat_quiet_us = 100_000
/** Once lost there is no hurry but for the OFF, which does not wait for this. */
const lost_quiet_us = 1_000_000
const longest_quiet_us = 2_000_000
/** A supply that resets as its port opens may swallow the first seconds. */
const attempts_opening = 5
const attempts_again = 2
const troubles_before_reopen = 4
const reopens_before_lost = 3
const reopen_after_us = 100_000
const reopen_slowly_us = 1_000_000
/** How long the shell may take to open. */
const open_within_us = 5_000_000

export function beginQuiet(d: Draft, then: Draft['quiet_then']): void {
  d.flight = null
  d.link = 'quiet'
  d.quiet_then = then
  d.quiet_until_us = d.t_us + quietFor(d)
  d.quiet_at_latest_us = d.t_us + longest_quiet_us
}

function quietFor(d: Draft): number {
  if (d.lost) return lost_quiet_us
  // Late answers come as far apart as their questions were asked, which is this long at most.
  if (d.quiet_then === 'identified') return 1.25 * (d.config.reply_us + quiet_us)
  return Math.min(d.config.reply_us, d.quiet_then === 'identify' ? quiet_us : repeat_quiet_us)
}

/** Something came while the line should have been silent. */
export function noise(d: Draft): void {
  d.quiet_then = 'identify'
  d.quiet_until_us = d.t_us + quietFor(d)
}

export function endQuiet(d: Draft): void {
  if (d.quiet_then === 'go on') {
    d.link = opens(d.work) ? 'opening' : 'ready'
    return
  }
  if (d.quiet_then === 'identified') {
    identified(d)
    return
  }
  if (d.t_us >= d.quiet_at_latest_us && d.t_us < d.quiet_until_us) {
    if (d.trouble_fault === 'no_reply') blame(d, 'unasked_reply', 'bytes keep coming that nobody asked for')
    nobody(d, 'bytes keep coming that nobody asked for')
    return
  }
  identify(d)
}

/** Bare terminator, remote, clear, identity: what comes back before the identity belongs to the past. */
function identify(d: Draft): void {
  const { dialect } = d.config
  const end = dialect.terminator
  d.link = 'identify'
  d.echoes = false
  blame(d, 'no_reply', 'nobody answers')
  write(d, `${end}${dialect.remote === null ? '' : dialect.remote + end}${dialect.clear}${end}`)
  const move = plainAsk(d.config, 0, dialect.identify, { is: 'identity' })
  write(d, move.text)
  d.identities_due += 1
  d.flight = { move, asked_us: d.t_us, deadline_us: d.wire_us + d.config.reply_us }
}

/** The sequencer is told why readings may stay away. */
function tellTrouble(d: Draft): void {
  const { trouble_fault: fault, trouble_text } = d
  const text = advised(`Port ${d.config.port}: ${trouble_text}`, fault)
  tellEvent(d, { kind: 'line trouble', port: d.config.port, fault, text })
}

/** Once more the same question, when the line has been silent for a moment: were replies one step behind, the right one shows up. */
export function askAgain(d: Draft): void {
  count(d, 'asked_again')
  tellTrouble(d)
  climb(d, 'ask again', `${d.trouble_text}; a short silence, then the same question once more`)
  beginQuiet(d, 'go on')
}

export function resynchronise(d: Draft): void {
  count(d, 'resynchronised')
  tellTrouble(d)
  climb(d, 'resynchronise', `${d.trouble_text}; silence and identity first, then the question again`)
  beginQuiet(d, 'identify')
}

/** A question went wrong: up one rung, or two. */
export function trouble(d: Draft): void {
  d.troubles += 1
  if (d.troubles >= troubles_before_reopen) reopen(d, `its replies keep failing (last: ${d.trouble_text})`)
  else resynchronise(d)
}

/** The identity did not come. */
export function nobody(d: Draft, why: string): void {
  d.attempts += 1
  tellTrouble(d)
  const most = d.been_ready ? attempts_again : attempts_opening
  if (d.attempts >= most) reopen(d, why)
  else beginQuiet(d, 'identify')
}

export function reopen(d: Draft, why: string): void {
  d.reopens += 1
  d.attempts = 0
  d.troubles = 0
  leave(d)
  if (d.reopens >= reopens_before_lost) lose(d, 'no reply', d.trouble_fault, why)
  climb(d, 'reopen', `${why}; opening it afresh`)
  d.reopen_us = d.t_us + open_within_us
  d.outputs.push({ kind: 'reopen', text: `port ${d.config.port}: ${why}; opening it afresh` })
}

/** The connection went, or could not be made. */
export function closed(d: Draft, text: string, stuck: boolean): void {
  // What could not be opened says itself what to look at.
  const open = d.link !== 'closed'
  if (stuck) count(d, 'write_failed')
  if (open) count(d, 'connection_lost')
  const why = open ? `the connection closed (${text})` : `it cannot be opened (${text})`
  // Closed by us, it tells nothing new.
  if (open) blame(d, 'connection_lost', why)
  // A request half done is told by what is blamed.
  leave(d)
  failRequests(d, 'closed', why, (request) => !lowers(request))
  if (d.reopens >= reopens_before_lost) lose(d, 'closed', open ? 'connection_lost' : null, why)
  d.reopen_us = d.t_us + (!open || d.lost ? reopen_slowly_us : reopen_after_us)
}

/** Time to ask the shell for a fresh connection. */
export function askReopen(d: Draft): void {
  d.reopens += 1
  climb(d, 'reopen', 'opening it again')
  d.reopen_us = d.t_us + open_within_us
  d.outputs.push({ kind: 'reopen', text: `port ${d.config.port}: opening it again` })
}

/** What was under way on a connection ends with it. */
export function leave(d: Draft): void {
  d.link = 'closed'
  d.flight = null
  // OFF and zero begin anew on the next connection; anything half done is never said twice.
  const request = d.work?.request ?? null
  if (request !== null && !lowers(request)) {
    const why = advised(`the connection had to be given up: ${d.trouble_text}`, d.trouble_fault)
    failRequests(d, 'closed', why, (other) => other === request)
  } else if (request !== null) {
    d.waiting = [request, ...d.waiting]
  }
  d.work = null
  d.channels = d.channels.map((channel) => ({ ...channel, output: null }))
}

/** The line is gone or not to be believed: said once; requests fail; nothing but OFF is sent from now on. */
export function lose(
  d: Draft,
  code: 'no reply' | 'closed' | 'wrong supply',
  fault: LineFault | null,
  what: string,
): void {
  const why = advised(what, fault)
  d.made_safe = true
  failRequests(d, code, why, () => true)
  giveUpOn(d, why)
}

/** The sequencer is told, once. */
export function giveUpOn(d: Draft, why: string): void {
  if (!d.lost) {
    count(d, 'given_up')
    climb(d, 'give up', `${why}; from now on only OFF and questions go out on it`)
    tellEvent(d, { kind: 'line lost', port: d.config.port, text: `port ${d.config.port}: ${why}` })
  }
  d.lost = true
}
