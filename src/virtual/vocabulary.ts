import type { Bits, Dialect, Question, Telling } from '../bench/index.js'
import { grammar, type Answer, type Call, type Command } from './scpi.js'

/**
 * What an instrument understands: the words its dialect describes, and nothing that the dialect says it lacks. Where those
 * words are the standard's it also takes the standard's long forms, suffixes and channel lists, as firmware for it would.
 * This reads the description backwards, from text to meaning; the driver's own writing of it is not used.
 */
export type Word = Question | Telling | 'identify' | 'clear' | 'remote' | 'local'

/** One word of the dialect: the standard's header for it, and what it does. `answered` by `ask`, or only `done`. */
export interface Role {
  readonly word: Word
  readonly header: string
  readonly run: (call: Call) => Answer
  /** Parameter that the words hold already, `ON` of `:OUTP ON`: what a phrase of the instrument's own stands for. */
  readonly fixed?: string
}

/** The pattern of the messages that a template makes. */
export function phrase(template: string): RegExp {
  const pattern = template
    .trim()
    .split(/(\{[nvas]\}|\s+)/)
    .map((piece) => {
      if (piece === '{n}') return '(?<n>\\d{1,2})'
      if (/^\{[vas]\}$/.test(piece)) return '(?<v>[\\w.+-]+)'
      return /^\s+$/.test(piece) ? '\\s+' : piece.replace(/[.*+?^$()|[\]\\{}]/g, '\\$&')
    })
    .join('')
  return new RegExp(`^${pattern}$`, 'i')
}

/** The words of a dialect for one meaning; null = it has none. */
function said(dialect: Dialect, word: Word): string | null {
  const words: string | Bits | null = dialect[word]
  return typeof words === 'string' || words === null ? words : words.query
}

/** Whether words are the standard's for this header: parsed as the standard does, a number put in for every place. */
function isStandard(words: string, header: string): boolean {
  const filled = words.replace(/\{[nvas]\}/g, '1')
  const units = grammar([{ header }]).units(filled)
  return units.length === 1 && units.every((found) => !('error' in found))
}

export function vocabulary(dialect: Dialect, roles: readonly Role[]): Command[] {
  const commands: Command[] = []
  for (const { word, header, run, fixed } of roles) {
    const words = said(dialect, word)
    if (words === null) continue
    const query = words.trim().endsWith('?') || /\?[\s(]/.test(words)
    const slow_s = word in dialect.slow_s ? dialect.slow_s[word as Question | Telling] : undefined
    // A little under what is promised.
    const us = slow_s === undefined ? undefined : Math.round(slow_s * 800_000)
    const takes_us = us === undefined ? {} : { takes_us: query ? { ask: us } : { set: us } }
    const own = !isStandard(words, header)
    const act = own && fixed !== undefined ? (call: Call) => run({ ...call, parameters: [fixed] }) : run
    commands.push({
      header: own ? phrase(words) : header,
      ...(query ? { ask: act } : { set: act }),
      ...takes_us,
    })
  }
  return merged(commands)
}

/** A header's set and ask, which stand apart in a dialect, as one command. */
function merged(commands: readonly Command[]): Command[] {
  const out: Command[] = []
  for (const command of commands) {
    const at = out.findIndex(({ header }) => typeof header === 'string' && header === command.header)
    const before = out[at]
    if (before === undefined) out.push(command)
    else {
      out[at] = { ...before, ...command, takes_us: { ...before.takes_us, ...command.takes_us } }
    }
  }
  return out
}

/** A number as this instrument prints it. */
export function printed(dialect: Dialect, value: number, digits: number, unit: 'V' | 'A'): string {
  const fixed = value.toFixed(digits)
  const glued = dialect.unit_in_reply ? unit : ''
  switch (dialect.number_form) {
    case 'fixed':
      return fixed + glued
    case 'padded':
      return `${value < 0 ? '-' : '+'}${fixed.replace('-', '').padStart(digits + 5, '0')}${glued}`
    case 'exponent': {
      const figures = fixed.replace(/[-.]/g, '').replace(/^0+/, '').length
      const [mantissa = '0', power = '+0'] = value.toExponential(Math.max(0, figures - 1)).split('e')
      const sign = value < 0 ? '' : '+'
      return `${sign}${mantissa}E${power.charAt(0)}${power.slice(1).padStart(2, '0')}${glued}`
    }
  }
}

export function printedSwitch(dialect: Dialect, on: boolean): string {
  return dialect.switch_in_words ? (on ? 'ON' : 'OFF') : on ? '1' : '0'
}

/** An answer with what this instrument says around it. */
export function dressed(dialect: Dialect, word: Word, answer: Answer): Answer {
  const template = word in dialect.answers ? dialect.answers[word as Question] : undefined
  return typeof answer === 'string' && template !== undefined ? template.replace('{x}', answer) : answer
}
