import { appendToBook, type BookBody, type ColdState } from '../../book/index.js'
import { judgeReading } from '../../worksheet/index.js'
import { exits } from '../exits.js'
import type { Refusal } from '../refuse.js'

export interface Kept {
  readonly item: string
  readonly verdict: string
  readonly text: string
}
export interface Taken {
  readonly meter: string
  readonly by: string
  /** Day on which it was done, where that is not today. */
  readonly on: string | null
}

/** Keeps lines of ITEM=VALUE, all of them or none: a slip in the last must not leave the first ones half told. */
export function keepReadings(
  lines: readonly string[],
  { sheet, book }: ColdState,
  { meter, by, on }: Taken,
): readonly Kept[] | Refusal {
  const usage = (what: string, remedy: string): Refusal => ({ exit: exits.usage, what, remedy })
  const kept: Kept[] = []
  const bodies: BookBody[] = []
  for (const line of lines) {
    const cut = line.lastIndexOf('=')
    const item = line.slice(0, Math.max(0, cut)).trim()
    const value = line.slice(cut + 1).trim()
    if (item === '' || value === '')
      return usage(
        `'${line}' is no reading. Nothing was kept.`,
        'Write ITEM=VALUE, as "chain A=1.2 Ω" or "look dust=good".',
      )
    const check = sheet.checks.find((each) => each.item.toLowerCase() === item.toLowerCase())
    if (check === undefined) {
      const near = sheet.checks.filter((each) => each.item.toLowerCase().includes(item.toLowerCase()))
      return usage(
        `There is no item '${item}' on the sheet. Nothing was kept.`,
        near.length === 0
          ? 'The sheet names them.'
          : `Did you mean ${near
              .slice(0, 5)
              .map((each) => each.item)
              .join(', ')}?`,
      )
    }
    const judged = judgeReading(check, value)
    if (!judged.ok) return usage(`${check.item}: ${judged.problem}. Nothing was kept.`, `${judged.remedy}.`)
    if (check.kind === 'reading' && meter.trim() === '')
      return usage(
        `Nothing says which meter ${check.item} was read with. Nothing was kept.`,
        'Name it: --meter "my meter, 10 MΩ"; on the page, the field above the sheet.',
      )
    const { verdict, text } = judged
    kept.push({ item: check.item, verdict, text })
    bodies.push({
      ...{ kind: 'reading', item: check.item, value: judged.value, unit: check.unit, written: value },
      ...{ verdict, wanted: check.wanted, meter },
    })
  }
  if (bodies.length === 0) return usage('No reading was given. Nothing was kept.', 'Write ITEM=VALUE.')
  const done = appendToBook(
    book.path,
    { at: new Date().toISOString(), by, expects: book.entries.length },
    bodies.map((body) => ({ body, on })),
  )
  return 'trouble' in done ? { exit: exits.recordNotAvailable, where: book.path, what: done.trouble } : kept
}

/** A waiver says what it lets stand and why; what life hangs on is not waived. */
export function waiverOf(item: string, reason: string, { standing }: ColdState): BookBody | Refusal {
  const found = standing.find((each) => each.item.toLowerCase() === item.toLowerCase())
  if (found === undefined)
    return {
      exit: exits.usage,
      what: `There is no cold check '${item}'.`,
      remedy: 'slowglow worksheet names them.',
    }
  if (reason.trim().length < 10)
    return {
      exit: exits.usage,
      what: `Why ${found.item} may stand as it is is not said.`,
      remedy: 'Give a reason that somebody else will understand in ten years (--because).',
    }
  if (found.check?.waivable === false)
    return {
      exit: exits.finding,
      what: `${found.item} is not waived: a life hangs on it, and taking it costs minutes.`,
      remedy: 'Make it good, and read it.',
    }
  if (found.state === 'in range' || found.state === 'marginal')
    return { exit: exits.usage, what: `${found.item} is ${found.state}: there is nothing to waive.` }
  const { text, reading } = found
  return { kind: 'waiver', item: found.item, of: reading?.seq ?? null, about: text, reason: reason.trim() }
}
