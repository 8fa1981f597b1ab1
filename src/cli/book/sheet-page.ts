import type { ColdState } from '../../book/index.js'
import { type ItemStanding, valueText } from '../../worksheet/index.js'
import { paragraph, section, table } from '../report/html.js'
import { printable } from './printable.js'
import { day, usualWords, waiversOf } from './worksheet-text.js'

/** The paper sheet: blank columns for reading, meter and initials; what is kept already stands in them. */
export function sheetPage({ sheet, standing }: ColdState, printed: string): string {
  const groups = [...new Set(sheet.checks.map(({ group }) => group))]
  const controls = Object.entries(sheet.controls).map(([control, at]) => `${control}: ${at}`)
  const head = ['item', 'what', 'wanted (usual)', 'reading', 'meter', 'by, day', 'how, why, source']
  return printable(`Cold checks: ${sheet.equipment}`, [
    paragraph(
      `Printed ${printed}. Set off and unplugged, every bench lead off. Measure before touching: stored charge first. Items with * must be taken before the first volt on a real bench. Type readings in with: slowglow worksheet FILE --record "ITEM=VALUE".`,
    ),
    ...(controls.length === 0
      ? []
      : [paragraph(`Controls as in mode ${sheet.mode}: ${controls.join(', ')}.`)]),
    ...groups.map((group) =>
      section(
        group,
        table(
          head,
          standing.flatMap((each) => (each.check?.group === group ? row(each) : [])),
        ),
      ),
    ),
    ...sheet.not_computed.map(paragraph),
  ])
}

function row(each: ItemStanding): string[][] {
  const { item, check, reading, state } = each
  if (check === null) return []
  const { must, what, wanted, usual, method, meter, because, source, cautions } = check
  return [
    [
      `${item}${must ? ' *' : ''}`,
      what,
      `${wanted}${usual === null || usual === 0 ? '' : ` (${usualWords(check)})`}`,
      reading === null ? '' : `${valueText(reading.unit, reading.value)}: ${state}`,
      '',
      reading === null ? '' : `${reading.by}, ${day(reading.at)}`,
      [
        `${method} Meter: ${meter}. Why: ${because}. Source: ${source}.`,
        ...cautions,
        ...waiversOf(each),
      ].join(' '),
    ],
  ]
}
