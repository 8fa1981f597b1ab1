import type { BookEntry } from '../../book/index.js'
import type { ItemStanding } from '../../worksheet/index.js'
import { escaped, paragraph, section, table } from '../report/html.js'
import { bodyText, type Life, lifeLines } from './book-text.js'
import { printable } from './printable.js'
import { day, summaryLines, waivedLines } from './worksheet-text.js'

/** The whole book as one page, photographs in it. `picture`: bytes of a photograph, or why there are none. */
export function bookPage(
  life: Life,
  standing: readonly ItemStanding[],
  picture: (entry: BookEntry) => Uint8Array | { readonly trouble: string },
  printed: string,
): string {
  const of = (...kinds: string[]): BookEntry[] => life.entries.filter(({ body }) => kinds.includes(body.kind))
  return printable(`The book of ${life.equipment}`, [
    paragraph(`Printed ${printed}.${life.last === null ? '' : ` Last link of the book: ${life.last}.`}`),
    section('The set', ...of('description', 'serial').map(({ body }) => paragraph(bodyText(body)))),
    section('Waived', ...waivedLines(standing).map(paragraph)),
    section('Cold checks', ...summaryLines(standing).map(paragraph)),
    section(
      'Parts replaced',
      table(
        ['day', 'part', 'was', 'now', 'why', 'by'],
        of('replaced').flatMap(({ at, on, by, body }) =>
          body.kind === 'replaced' ? [[on ?? day(at), body.part, body.was, body.now, body.text, by]] : [],
        ),
      ),
    ),
    section('Photographs', ...of('photograph').map((entry) => figure(entry, picture(entry)))),
    section(
      'All that was written, in order',
      table(
        ['no.', 'written (UTC)', 'what', 'by', ''],
        lifeLines(life).map(({ at, seq, by, kind, text }) => [
          ...[seq === null ? '' : String(seq + 1), at.slice(0, 16).replace('T', ' '), kind, by, text],
        ]),
      ),
    ),
  ])
}

function figure({ body, at }: BookEntry, data: Uint8Array | { readonly trouble: string }): string {
  if (body.kind !== 'photograph') return ''
  if ('trouble' in data) return paragraph(data.trouble)
  const caption = `${body.name}, ${day(at)}${body.caption === '' ? '' : `: ${body.caption}`}`
  const type = imageType(data)
  // What is no picture that a browser draws is named; the archive holds its bytes.
  if (type === null) return paragraph(caption)
  return `<figure><img alt="${escaped(body.caption === '' ? body.name : body.caption)}" src="data:${type};base64,${Buffer.from(data).toString('base64')}"><figcaption>${escaped(caption)}</figcaption></figure>`
}

/** By its first bytes, never by its name. */
export function imageType(data: Uint8Array): 'image/jpeg' | 'image/png' | 'image/webp' | null {
  const head = Buffer.from(data.subarray(0, 12)).toString('latin1')
  if (head.startsWith('\xff\xd8\xff')) return 'image/jpeg'
  if (head.startsWith('\x89PNG\r\n\x1a\n')) return 'image/png'
  return head.startsWith('RIFF') && head.slice(8) === 'WEBP' ? 'image/webp' : null
}
