import type { ColdState } from '../../book/index.js'
import { type ColdCheck, type ItemStanding, valueText } from '../../worksheet/index.js'

/** One check with its reading, as the sheet tells it. */
export function itemLines(each: ItemStanding): string[] {
  const { item, check, state, text, reading } = each
  const waived = waiversOf(each).map((words) => `    ${words}`)
  if (check === null) return [`- ${item} [${state}]: ${text}`, ...waived]
  const { what, wanted, because, source, method, meter, cautions, must, usual } = check
  return [
    `${reading === null ? '[ ]' : '[x]'} ${item}${must ? ' (must be taken)' : ''}: ${what}`,
    `    wanted: ${wanted}${usual === null || usual === 0 ? '' : `, usually ${usualWords(check)}`}. Why: ${because}. Source: ${source}`,
    `    ${method} Meter: ${meter}.`,
    ...cautions.map((caution) => `    ! ${caution}`),
    ...(reading === null ? [] : [`    ${state.toUpperCase()}: ${text} (${reading.by}, ${day(reading.at)})`]),
    ...waived,
  ]
}

export function usualWords({ usual, unit }: ColdCheck): string {
  return usual === null || unit === null ? '' : valueText(unit, usual)
}

export const waiverWords = ({ by, at, reason }: NonNullable<ItemStanding['waiver']>): string =>
  `WAIVED by ${by} on ${day(at)}: ${reason}`

/** The one in force first, then those that were: they follow the set for ever. */
export const waiversOf = ({ waiver, once }: ItemStanding): string[] => [
  ...(waiver === null ? [] : [waiverWords(waiver)]),
  ...once.map(({ by, at, reason }) => `Waived once, no longer in force: by ${by} on ${day(at)}: ${reason}`),
]

/** Each of them with what it lets stand, for a view of the whole set. */
export const waivedLines = (standing: readonly ItemStanding[]): string[] =>
  standing.flatMap((each) => waiversOf(each).map((words) => `${each.item}: ${each.text} ${words}`))

export const day = (at: string): string => at.slice(0, 10)

/** The whole sheet for a terminal: groups in the order in which they are best taken. */
export function worksheetText({ sheet, standing, book }: ColdState): string {
  const groups = [...new Set(sheet.checks.map(({ group }) => group))]
  const gone = standing.filter(({ check }) => check === null)
  const controls = Object.entries(sheet.controls).map(([control, at]) => `${control}: ${at}`)
  return [
    `Cold checks of ${sheet.equipment} (file level ${sheet.level} of 3)`,
    'Set off and unplugged, every bench lead off. Measure before touching: stored charge first.',
    ...(controls.length === 0 ? [] : [`Controls as in mode ${sheet.mode}: ${controls.join(', ')}`]),
    ...groups.flatMap((group) => [
      '',
      group.toUpperCase(),
      ...standing.filter(({ check }) => check?.group === group).flatMap(itemLines),
    ]),
    ...(gone.length === 0 ? [] : ['', 'READ ONCE, NO LONGER IN THE FILE', ...gone.flatMap(itemLines)]),
    ...sheet.not_computed.map((text) => `\nNot computed: ${text}`),
    '',
    ...summaryLines(standing),
    book.exists ? `Kept in ${book.path}` : `Nothing is kept yet; readings go into ${book.path}`,
  ].join('\n')
}

/** How the sheet stands, in a sentence each. */
export function summaryLines(standing: readonly ItemStanding[]): string[] {
  const of = (state: ItemStanding['state']): ItemStanding[] => standing.filter((each) => each.state === state)
  const open = standing.filter(
    ({ check, state, waiver }) =>
      check?.must === true && waiver === null && (state === 'not taken' || state === 'to be read again'),
  )
  const bad = of('out of range')
  const list = (items: readonly ItemStanding[]): string => items.map(({ item }) => item).join(', ')
  return [
    `${standing.length - of('not taken').length} of ${standing.length} taken: ${of('in range').length} in range, ${of('marginal').length} marginal, ${bad.length} out of range, ${of('to be read again').length} to be read again.`,
    ...(bad.length === 0 ? [] : [`Out of range: ${list(bad)}.`]),
    ...(open.length === 0 ? [] : [`To be taken before the first volt on a real bench: ${list(open)}.`]),
    ...standing.flatMap((each) => waiversOf(each).map((words) => `${each.item}: ${words}`)),
  ]
}
