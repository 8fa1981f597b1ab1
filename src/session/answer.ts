import { type Ask, open_ohm } from '../plan/index.js'
import { parseQuantity } from '../quantities/index.js'

/** What people write for an ohmmeter that shows nothing through. */
const readsOpen = /^(?:o\.?l\.?|open|inf(?:inite|inity)?|∞|over(?:load| ?range)?)$/i

/** Questions whose no is no stop. */
const otherNo: Readonly<Record<string, string>> = {
  'nothing moved': 'no goes through it wire by wire',
  mercury: 'no heats the filament alone for the long time',
}

/** What a no to this question does. */
export const noMeans = ({ about }: Ask): string => otherNo[about] ?? 'no stops the run'

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
    const no = noMeans(ask)
    return { problem: `Type y for yes or n for no (${no}).` }
  }
  if (text === '' && shown !== null) return { value: shown }
  // A bare number is volts or ohms, as the question says; for amps the unit is wanted, since meters show milliamps.
  if (ask.wants.unit !== 'A' && /^[+-]?\d+(\.\d+)?$/.test(text)) return { value: Number(text) }
  if (ask.wants.unit === 'Ω' && readsOpen.test(text)) return { value: open_ohm }
  const parsed = parseQuantity(text, ask.wants.unit)
  return parsed.ok ? { value: parsed.value } : { problem: `${parsed.problem}; ${parsed.remedy}.` }
}
