import type { Bits, Dialect, Question, Supply, Telling } from './types.js'
import { wire_s } from './wire-time.js'
import { channelMessage } from './words.js'

/* How long a supply's line goes without a reading of one channel, by arithmetic: bytes on the wire and the supply's own time. */

/** A number with its end: twelve characters and CR LF. */
const reply_bytes = 14
/** A supply's time to answer: common practice, no source. Status and errors: one published set of figures. */
const answer_s = 0.02
const status_s = 0.06

type Word = Question | Telling

function wordsOf(dialect: Dialect, word: Word): string | null {
  const words: string | Bits | null = dialect[word]
  return typeof words === 'string' || words === null ? words : words.query
}

/** A question and its answer; 0 where the supply has no such words. */
function ask_s({ dialect, line }: Supply, word: Question, usual_s: number): number {
  const words = wordsOf(dialect, word)
  if (words === null) return 0
  const bytes = channelMessage(dialect, 1, words).length + reply_bytes
  return wire_s(line, bytes) + Math.max(usual_s, dialect.slow_s[word] ?? 0)
}

/** A command, acknowledged or not, until the next message. */
function tell_s({ dialect, line }: Supply, word: Word): number {
  const words = wordsOf(dialect, word)
  if (words === null) return 0
  const acknowledged = dialect.acknowledges === null ? 0 : dialect.acknowledges.length + 2
  const bytes = channelMessage(dialect, 1, words, '000.0000').length + acknowledged
  const usual_s = dialect.acknowledges === null ? 0 : answer_s
  return wire_s(line, bytes) + Math.max(usual_s, dialect.slow_s[word] ?? 0)
}

const statuses = [
  'ask_output',
  'ask_cc',
  'ask_over_volts_tripped',
  'ask_over_amps_tripped',
  'ask_over_heat_tripped',
] as const

const settings = [
  'ask_set_amps',
  'ask_over_volts',
  'ask_over_amps',
  'ask_over_volts_on',
  'ask_over_amps_on',
] as const

/** Volts and amps of every channel, and one status question: the slowest there is. */
function round_s(supply: Supply): number {
  const each = ask_s(supply, 'measure_volts', answer_s) + ask_s(supply, 'measure_amps', answer_s)
  const status = Math.max(
    ...statuses.map((word) => ask_s(supply, word, status_s)),
    // A setting asked again takes the turn of a status question.
    ...settings.map((word) => ask_s(supply, word, answer_s)),
  )
  return Object.keys(supply.channels).length * each + status
}

/** What may come between two rounds while a rail is raised: new limits read back and the error question, or a set-point read back. */
function request_s(supply: Supply): number {
  const level = (set: Word, ask: Question): number => tell_s(supply, set) + ask_s(supply, ask, answer_s)
  const limits =
    level('set_amps', 'ask_set_amps') +
    // Over-current goes up before the limit and comes down after it, the first time both.
    2 * level('set_over_amps', 'ask_over_amps') +
    tell_s(supply, 'over_amps_on') +
    ask_s(supply, 'ask_over_amps_on', answer_s) +
    level('set_over_volts', 'ask_over_volts') +
    tell_s(supply, 'over_volts_on') +
    ask_s(supply, 'ask_over_volts_on', answer_s) +
    ask_s(supply, 'error_query', status_s)
  return Math.max(limits, level('set_volts', 'ask_set_volts'))
}

/** Switching one channel on, while nothing is measured: its settings asked once more, ON, its read-back and the error question. */
export function switchOn_s(supply: Supply): number {
  const still = (['ask_set_volts', ...settings] as const).map((word) => ask_s(supply, word, answer_s))
  return (
    still.reduce((sum, s) => sum + s, 0) +
    tell_s(supply, 'on') +
    ask_s(supply, 'ask_output', status_s) +
    ask_s(supply, 'error_query', status_s)
  )
}

/** The longest that a reading of this supply is old while nothing is wrong, s; switching on apart. */
export function unread_s(supply: Supply): number {
  return round_s(supply) + request_s(supply)
}

/**
 * Longest time from one reading of a channel to its next, as far as known before `qualify` has measured it: volts, amps,
 * output state and protection of every channel in turn, each an exchange of some 30 characters and a supply's answer.
 */
export function pollPeriod_s(supply: Supply): number {
  const exchanges = 4 * Object.keys(supply.channels).length
  return exchanges * (wire_s(supply.line, 30) + answer_s)
}
