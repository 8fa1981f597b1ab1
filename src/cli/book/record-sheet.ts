import type { BookEntry, ColdState } from '../../book/index.js'
import { escaped, paragraph, section, table } from '../report/html.js'
import { bodyText, type Life, lifeLines } from './book-text.js'
import { printable } from './printable.js'
import { runFacts } from './run-facts.js'
import { day, summaryLines, waiverWords } from './worksheet-text.js'

/** What the set has shown by now, as data: the last proof of each kind, and whether something was done to the set since. */
export interface Shown {
  readonly of: 'receive' | 'transmit' | 'aerial'
  readonly verdict: 'shown' | 'marginal' | 'not shown' | 'to be shown again'
  readonly entry: BookEntry | null
}

export function shownBy(entries: readonly BookEntry[]): Shown[] {
  const repair = entries.findLast(({ body }) => body.kind === 'repair' || body.kind === 'replaced')
  return (['receive', 'transmit', 'aerial'] as const).map((of) => {
    const entry = entries.findLast(({ body }) => body.kind === 'proof' && body.of === of) ?? null
    if (entry?.body.kind !== 'proof') return { of, verdict: 'not shown', entry: null }
    return { of, verdict: (repair?.seq ?? -1) > entry.seq ? 'to be shown again' : entry.body.verdict, entry }
  })
}

/** The end of the job on paper: what was shown, with which instruments, against which limits, by whom, what was waived. */
export function recordSheet(life: Life, { standing }: ColdState, printed: string): string {
  const shown = shownBy(life.entries)
  const of = (...kinds: string[]): BookEntry[] => life.entries.filter(({ body }) => kinds.includes(body.kind))
  const waivers = of('waiver').map(({ by, at, body }) => `${bodyText(body)} (${by}, ${day(at)})`)
  const runs = lifeLines(life).filter(({ kind, seq }) => kind === 'run' && seq !== null)
  const work = of('finding', 'repair', 'replaced')
  return printable(`Test record: ${life.equipment}`, [
    paragraph(
      `Printed ${printed}.${life.last === null ? '' : ` Last link of the set's book: ${life.last}.`}`,
    ),
    section('The set', ...of('description', 'serial').map(({ body }) => paragraph(bodyText(body)))),
    section(
      'Shown at radio frequency',
      table(
        ['proof', 'verdict', 'read', 'computed', 'held against', 'instruments', 'by, day'],
        shown.map((each) => proofRow(each)),
      ),
      ...[
        ...new Set(shown.flatMap(({ entry }) => (entry?.body.kind === 'proof' ? entry.body.sources : []))),
      ].map((source) => paragraph(`Source: ${source}`)),
    ),
    section(
      'Cold checks',
      ...summaryLines(standing).map(paragraph),
      table(
        ['item', 'reading', 'by, day', 'meter'],
        standing.flatMap(({ item, text, reading, state }) =>
          reading === null
            ? []
            : [[item, `${state}: ${text}`, `${reading.by}, ${day(reading.at)}`, meterOf(life, reading.seq)]],
        ),
      ),
    ),
    section(
      'Waived, ever',
      ...(waivers.length === 0 ? [paragraph('Nothing.')] : waivers.map(paragraph)),
      ...standing.flatMap(({ item, waiver }) =>
        waiver === null ? [] : [paragraph(`In force: ${item}, ${waiverWords(waiver)}`)],
      ),
    ),
    section(
      'Runs',
      table(
        ['written (UTC)', 'run', 'supplies, limits'],
        runs.map(({ at, text, run }) => [
          at.slice(0, 16).replace('T', ' '),
          text,
          run === null ? '' : runFacts(life, run),
        ]),
      ),
    ),
    section(
      'Found, mended and replaced',
      ...(work.length === 0
        ? [paragraph('Nothing is written.')]
        : work.map(({ by, on, at, body }) =>
            paragraph(`${body.kind}: ${bodyText(body)} (${by}, ${on ?? day(at)})`),
          )),
    ),
    ...['Shown by', 'Witnessed by'].map(
      (who) => `<p class="sign">${escaped(who)}<span></span>Date<span class="short"></span></p>`,
    ),
  ])
}

const meterOf = ({ entries }: Life, seq: number): string => {
  const body = entries[seq]?.body
  return body?.kind === 'reading' ? body.meter : ''
}

function proofRow({ of, verdict, entry }: Shown): string[] {
  const body = entry?.body
  if (entry === null || body?.kind !== 'proof') return [of, verdict, '', '', '', '', '']
  return [
    `${of}, ${body.what}`,
    verdict === 'to be shown again'
      ? `${body.verdict}, but the set was worked on since: to be shown again`
      : verdict,
    ...[body.readings, body.figures].map((figures) => figures.map(({ text }) => text).join('; ')),
    body.judged.join('; '),
    body.instruments.join('; '),
    `${entry.by}, ${entry.on ?? day(entry.at)}`,
  ]
}
