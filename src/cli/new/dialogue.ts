import type { Parsed, Unit } from '../../quantities/index.js'
import { formatQuantity, parseQuantity } from '../../quantities/index.js'

/** What a person's answer came to: a value, or what is wrong with it and what would be right. */
export type Answer<T> =
  | { readonly ok: true; readonly value: T }
  | { readonly ok: false; readonly problem: string; readonly remedy: string }

/** A question: asked again until the answer can be read. */
export interface Question<T> {
  readonly ask: string
  /** Taken when the answer is empty; null = an answer is needed. */
  readonly fallback: string | null
  readonly read: (text: string) => Answer<T>
}

/** The answers came to an end at a question that needs one. */
export class AnswersEnded extends Error {}

/** Whoever is asked: answers come as lines, or have been given beforehand. */
export interface Asks {
  tell(text: string): void
  ask<T>(question: Question<T>): Promise<T>
}

/** Asks questions of whoever gives the lines: a person at a terminal, or a pipe. */
export class Dialogue implements Asks {
  private asked = 0
  private readonly lines: AsyncIterator<string>
  private readonly say: (text: string) => void

  constructor(lines: AsyncIterator<string>, say: (text: string) => void) {
    this.lines = lines
    this.say = say
  }

  tell(text: string): void {
    this.say(text)
  }

  async ask<T>({ ask, fallback, read }: Question<T>): Promise<T> {
    this.asked += 1
    for (;;) {
      this.say(`${this.asked}. ${ask}${fallback === null ? '' : ` [${fallback === '' ? 'none' : fallback}]`}`)
      const line = await this.lines.next()
      const given = line.done === true ? '' : line.value.trim()
      if (given === '' && fallback === null) {
        if (line.done === true) throw new AnswersEnded(ask)
        this.say('   An answer is needed here.')
        continue
      }
      const answer = read(given === '' ? (fallback ?? '') : given)
      if (answer.ok) return answer.value
      this.say(`   ${answer.problem}: ${answer.remedy}.`)
      if (line.done === true) throw new AnswersEnded(ask)
    }
  }
}

export const word = (text: string): Answer<string> =>
  text.length <= 200
    ? { ok: true, value: text }
    : { ok: false, problem: 'this is too long', remedy: 'keep it under 200 characters' }

export function quantityOf(unit: Unit, least = 0, most = Infinity): (text: string) => Answer<number> {
  return (text) => {
    const read: Parsed = parseQuantity(text, unit)
    if (!read.ok) return read
    if (read.value > least && read.value <= most) return read
    return {
      ok: false,
      problem: `${formatQuantity(read.value, unit)} cannot be`,
      remedy: `write more than ${formatQuantity(least, unit)}${most === Infinity ? '' : `, ${formatQuantity(most, unit)} at most`}`,
    }
  }
}

/** The same, where nothing is an answer too. */
export function quantityOrNone(unit: Unit): (text: string) => Answer<number | null> {
  const read = quantityOf(unit)
  return (text) => (/^(?:|none|no|-)$/i.test(text) ? { ok: true, value: null } : read(text))
}

export function oneOf<const T extends readonly string[]>(choices: T): (text: string) => Answer<T[number]> {
  return (text) => {
    const hit = choices.find(
      (choice) => choice.toLowerCase() === text.toLowerCase() || choice[0] === text.toLowerCase(),
    )
    return hit === undefined
      ? { ok: false, problem: `'${text}' is none of them`, remedy: `answer one of: ${choices.join(', ')}` }
      : { ok: true, value: hit }
  }
}

/** Items parted by commas; empty or "none" is none. */
export function items(text: string): string[] {
  if (/^(?:|none|no|-)$/i.test(text)) return []
  return text
    .split(',')
    .map((item) => item.trim())
    .filter((item) => item !== '')
}
