import type { Channel, Dialect } from '../../bench/index.js'
import { decimalValue } from '../../exchange/index.js'
import { answerTo, meaningOf, parseError, parseNumber, parseRegister, parseSwitch } from '../../line/index.js'
import { off_V } from '../../off/index.js'
import type { Expected } from './transcript.js'

/** What an answer is held against. */
export interface Held {
  readonly dialect: Dialect
  readonly channel: Channel
  /** The question, in the dialect's words: what it says around its answer belongs to them. */
  readonly words: string
  /** The identity in the bench file, or the first one heard; null = none yet. */
  readonly identity: string | null
  readonly dead_man_s: number
}

/** What was wanted, in words. */
export function wanted(expect: Expected, held: Held): string {
  const { channel } = held
  switch (expect) {
    case 'identity':
      return held.identity === null ? 'an identity' : `"${held.identity}"`
    case 'volts':
      return `volts, a number up to ${most(channel, 'V')}`
    case 'amps':
      return `amps, a number up to ${most(channel, 'A')}`
    case 'switch':
      return '0, 1, OFF or ON'
    case 'on':
      return '1 or ON'
    case 'off':
      return '0 or OFF'
    case 'status':
      return 'a state: 0, 1, or a register'
    case 'error':
      return 'a number and a text in quotes'
    case 'an error':
      return 'an error'
    case 'no error':
      return '0,"No error"'
    case 'lowest volts':
      return `${channel.min_V} V`
    case 'lowest amps':
      return `${channel.min_A} A`
    case 'highest volts':
      return `${channel.max_V} V`
    case 'no volts':
      return `less than ${off_V} V`
    case 'no amps':
      return `no more than ${zero_A(channel)} A`
    case 'dead-man time':
      return `${held.dead_man_s} s`
  }
}

/** Null where the answer is what was wanted; else what is wrong with it, empty where that says itself. */
export function objection(expect: Expected, said: string, held: Held): string | null {
  if (expect === 'identity') return identityObjection(said, held.identity)
  const text = answerTo(held.dialect, held.words, said)
  if (text === null) return 'it does not stand in the words that the bench file says are around it (answers)'
  return answerObjection(expect, text, held)
}

function identityObjection(said: string, identity: string | null): string | null {
  if (identity !== null) return said === identity ? null : ''
  return /^[\x20-\x7e]*[A-Za-z][\x20-\x7e]*$/.test(said) && parseSwitch(said) === null
    ? null
    : 'that is no identity'
}

function answerObjection(expect: Exclude<Expected, 'identity'>, text: string, held: Held): string | null {
  const { channel } = held
  switch (expect) {
    case 'volts':
    case 'amps': {
      const unit = expect === 'volts' ? 'V' : 'A'
      const value = numberIn(text, unit, held)
      if (value === null) return 'that is no number of section 2'
      return Math.abs(value) <= most(channel, unit) ? null : 'no such figure can stand there'
    }
    case 'switch':
      return parseSwitch(text) === null ? '' : null
    case 'on':
      return parseSwitch(text) === true ? null : ''
    case 'off':
      return parseSwitch(text) === false ? null : ''
    case 'status':
      return parseSwitch(text) === null && parseRegister(text) === null ? '' : null
    case 'error':
      return parseError(text) === null ? '' : null
    case 'an error':
      return (parseError(text)?.code ?? 0) === 0 ? '' : null
    case 'no error': {
      const error = parseError(text)
      return error === null ? '' : error.code === 0 ? null : meaningOf(error.code).replace(/^: /, '')
    }
    case 'lowest volts':
      return near(text, 'V', channel.min_V, held)
    case 'lowest amps':
      return near(text, 'A', channel.min_A, held)
    case 'highest volts':
      return near(text, 'V', channel.max_V, held)
    case 'no volts':
      return below(numberIn(text, 'V', held), off_V)
    case 'no amps':
      return below(numberIn(text, 'A', held), zero_A(channel))
    case 'dead-man time': {
      const value = parseNumber(text)
      // Half of the tenth of a second of section 6.
      return value !== null && Math.abs(decimalValue(value) - held.dead_man_s) <= 0.05 + 1e-9 ? null : ''
    }
  }
}

function numberIn(text: string, unit: 'V' | 'A', { dialect }: Held): number | null {
  const value = parseNumber(text, dialect.unit_in_reply ? unit : null)
  return value === null ? null : decimalValue(value)
}

const below = (value: number | null, limit: number): string | null =>
  value === null ? 'that is no number of section 2' : Math.abs(value) <= limit ? null : ''

/** As the line believes it: 1.2 × the maximum and ten resolutions. */
const most = (channel: Channel, unit: 'V' | 'A'): number =>
  unit === 'V'
    ? 1.2 * channel.max_V + 10 * channel.resolution_V
    : 1.2 * channel.max_A + 10 * channel.resolution_A

const zero_A = (channel: Channel): number => Math.max(channel.resolution_A, channel.accuracy_A.plus)

/** Half a resolution and half a digit of what was sent, as the line reads settings back. */
function near(text: string, unit: 'V' | 'A', sent: number, held: Held): string | null {
  const { channel } = held
  const value = numberIn(text, unit, held)
  if (value === null) return 'that is no number of section 2'
  const digits = unit === 'V' ? channel.set_digits_V : channel.set_digits_A
  const resolution = unit === 'V' ? channel.resolution_V : channel.resolution_A
  return Math.abs(value - sent) <= (resolution + Number(`1e-${digits}`)) / 2 + 1e-9 ? null : ''
}
