import type { Coverage, CoveredFault } from '../faults/index.js'
import { columns } from './columns.js'

/** With the items of the worksheet that each check by hand is on, and the pairs that hide one another. */
export type CoverageTold = Omit<Coverage, 'hand_checks'> & {
  readonly hand_checks: readonly (Coverage['hand_checks'][number] & { readonly items: readonly string[] })[]
  readonly hiding: readonly string[]
}

/** Lines of a list before the rest is only counted. */
const shownFirst = 24

/** What a plan notices of every single fault, on a page. */
export function coverageText(coverage: CoverageTold, all: boolean): string {
  const { faults, pairs, caught, total, late, burns_unseen, harmless_unseen, share, likely_share } = coverage
  const most = all ? Infinity : shownFirst
  if (total === 0) return [`${coverage.equipment}, ${coverage.profile}`, ...coverage.notes].join('\n')
  const burning = faults.filter((each) => !each.caught && !each.early)
  const tooLate = faults.filter((each) => each.caught && !each.early)
  const inTime = faults.filter((each) => each.caught && each.early)
  const rest = faults.filter((each) => !each.caught && each.early)
  return [
    `${coverage.equipment}, ${coverage.profile}`,
    `Of ${total} single faults this plan notices ${caught} before any part stands beyond what its rating allows (${percent(share)}), ${late} too late;`,
    `${burns_unseen} burn a part and are never noticed, ${harmless_unseen} are never noticed and harm no part whose rating is known.`,
    `Counted by how often faults come, ${percent(likely_share)} are noticed in time.`,
    ...pairWords(coverage),
    ...section(
      'Burns a part and is never noticed',
      columns(burning.map((each) => [each.text, stressWords(each)])),
      most,
    ),
    ...section(
      'Noticed too late',
      columns(
        tooLate.map((each) => [
          each.text,
          `step ${each.step ?? ''}: ${each.noticed ?? ''}`,
          stressWords(each),
        ]),
      ),
      most,
    ),
    ...section(
      'Noticed in time',
      columns(
        inTime.map((each) => [
          each.text,
          `step ${each.step ?? ''}`,
          each.how ?? '',
          each.noticed ?? '',
          each.surely ? '' : 'not in every set',
          stressWords(each),
        ]),
      ),
      most,
    ),
    ...(all
      ? section(
          'Never noticed, no known rating passed',
          rest.map(({ text }) => text),
          most,
        )
      : []),
    ...section(
      'Pairs that hide one another: not noticed in time, though one of them alone is',
      pairs.filter(({ fault }) => coverage.hiding.includes(fault)).map(({ text }) => text),
      most,
    ),
    ...section(
      'To look for by hand, with the set off, its charge measured away first',
      coverage.hand_checks.map(
        ({ text, burns, items }) =>
          `${text}${burns ? ' A part may burn here.' : ''}${items.length === 0 ? '' : ` (worksheet: ${items.join(', ')})`}`,
      ),
      most,
    ),
    ...section(
      'What would see more',
      coverage.suggestions.map(({ text, saved }) =>
        saved > 0 ? `${text} ${saved} of them burn a part now.` : text,
      ),
      Infinity,
    ),
    ...section('What was learned of this set', coverage.learned, Infinity),
    '',
    ...coverage.notes,
  ].join('\n')
}

/** The likeliest pairs in a sentence. */
function pairWords({ pairs }: CoverageTold): string[] {
  const count = (is: (each: CoveredFault) => boolean): number => pairs.filter(is).length
  return pairs.length === 0
    ? []
    : [
        `Of the ${pairs.length} likeliest pairs of them ${count((each) => each.caught && each.early)} are noticed in time, ${count((each) => each.caught && !each.early)} too late, ${count((each) => !each.caught)} never (${count((each) => !each.caught && !each.early)} of these burn a part).`,
      ]
}

/** Pairs that are not noticed in time though one of them alone is, by their names. */
export function hidingIn({ faults, pairs }: Pick<Coverage, 'faults' | 'pairs'>): string[] {
  const inTime = new Set(faults.filter(({ caught, early }) => caught && early).map(({ fault }) => fault))
  return pairs
    .filter(
      ({ fault, caught, early }) => !(caught && early) && fault.split(' + ').some((half) => inTime.has(half)),
    )
    .map(({ fault }) => fault)
}

function section(title: string, lines: readonly string[], most: number): string[] {
  if (lines.length === 0) return []
  const more = lines.length - most
  return [
    '',
    `${title}:`,
    ...lines.slice(0, most).map((line) => `  ${line}`),
    ...(more > 0 ? [`  and ${more} more (--all)`] : []),
  ]
}

/** The worst that a part stood at, or why that is not told. */
function stressWords({ stress, no_stress }: CoveredFault): string {
  return stress === null
    ? (no_stress ?? '')
    : `${stress.what} at ${percent(stress.of_rating)} of ${stress.rating} in step ${stress.step}${stress.as_whole ? ', as in a whole set' : ''}`
}

function percent(part: number): string {
  return `${(100 * part).toFixed(0)} %`
}
