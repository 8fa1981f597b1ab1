import type { Ask } from '../../plan/index.js'
import { open_ohm } from '../../plan/index.js'
import { parseQuantity } from '../../quantities/index.js'
import type { Key } from './terminal.js'

/** What is being typed, and whether outputs may be live (then s and r stop the run). */
export interface Typing {
  readonly buffer: string
  readonly live: boolean
  readonly asking: boolean
}

export type Typed =
  | { readonly kind: 'stop'; readonly by: string; readonly now: boolean }
  | { readonly kind: 'entered'; readonly text: string }
  /** Given up before anything was energised. */
  | { readonly kind: 'abandoned'; readonly by: string }

/**
 * Keys into what they mean. A stop never needs Enter and never hides behind a question: no answer begins with s or r, so at
 * the beginning of a line both always stop.
 */
export function typeKey(
  typing: Typing,
  key: Key,
): { readonly typing: Typing; readonly typed: readonly Typed[] } {
  const typed: Typed[] = []
  let { buffer } = typing
  const stop = (by: string, now: boolean): void => {
    typed.push(typing.live ? { kind: 'stop', by, now } : { kind: 'abandoned', by })
  }
  switch (key.kind) {
    case 'interrupt':
      stop('Ctrl-C', false)
      break
    case 'suspend':
      stop('Ctrl-Z', false)
      break
    case 'quit':
      stop('Ctrl-\\', true)
      break
    case 'end':
      if (!typing.live) stop('Ctrl-D', false)
      break
    case 'erase':
      buffer = Array.from(buffer).slice(0, -1).join('')
      break
    case 'enter':
      if (typing.asking) typed.push({ kind: 'entered', text: buffer.trim() })
      buffer = ''
      break
    case 'text':
      for (const character of key.text) {
        if (typing.live && buffer === '' && character === 's') stop('key s', true)
        else if (typing.live && buffer === '' && character === 'r') stop('key r', false)
        else if (typing.asking && buffer.length < 60) buffer += character
      }
      break
  }
  return { typing: { ...typing, buffer }, typed }
}

/** What people write for an ohmmeter that shows nothing through. */
const readsOpen = /^(?:o\.?l\.?|open|inf(?:inite|inity)?|∞|over(?:load| ?range)?)$/i

/** Questions whose no is no stop. */
const noMeans: Readonly<Record<string, string>> = {
  'nothing moved': 'no goes through it wire by wire',
  mercury: 'no heats the filament alone for the long time',
}

export type Answer = number | 'yes' | 'no' | 'go on'

/** A typed line as an answer to this question; `shown` is what a virtual meter reads and Enter alone accepts. */
export function answerOf(
  text: string,
  ask: Ask,
  shown: number | null,
): { readonly value: Answer } | { readonly problem: string } {
  const word = text.toLowerCase()
  if (word === 'n' || word === 'no') return { value: 'no' }
  if (ask.wants.kind === 'confirm') {
    if (word === 'y' || word === 'yes') return { value: 'yes' }
    if (word === 'g' || word === 'go on') return { value: 'go on' }
    const no = noMeans[ask.about] ?? 'no stops the run'
    return { problem: `Type y for yes or n for no (${no}).` }
  }
  if (text === '' && shown !== null) return { value: shown }
  // A bare number is volts or ohms, as the question says; for amps the unit is wanted, since meters show milliamps.
  if (ask.wants.unit !== 'A' && /^[+-]?\d+(\.\d+)?$/.test(text)) return { value: Number(text) }
  if (ask.wants.unit === 'Ω' && readsOpen.test(text)) return { value: open_ohm }
  const parsed = parseQuantity(text, ask.wants.unit)
  return parsed.ok ? { value: parsed.value } : { problem: `${parsed.problem}; ${parsed.remedy}.` }
}
