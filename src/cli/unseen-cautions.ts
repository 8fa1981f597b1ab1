import { cautionsFor } from '../cautions/index.js'
import type { CoverageOf, CoveredFault } from '../faults/index.js'
import { findersOf, makeWorksheet } from '../worksheet/index.js'
import { covered } from './book/unseen.js'

/** Those that burn most stand first; of the rest only how many they are is told. */
const told = 10
/** The same text goes to terminal and page. */
const namedWhere = 'named by slowglow coverage, and on the page by Prepare'

interface Started extends CoverageOf {
  /** Input files as they were. */
  readonly files: Readonly<Record<string, string>>
  /** Parts lifted out of the set are on the bench: there is no circuit in which a fault could be tried. */
  readonly lifted: boolean
}

/**
 * The cautions of a run's start: with the faults that would burn a part before its plan shows them, and how many it cannot show at
 * all. Takes seconds of a large set, so it is asked for before anything is opened.
 */
export function startCautions(started: Started): string {
  return cautionsFor(started.plan.figures, started.plan, {
    burning: burnsUnseen(started),
    never: cannotShow(started),
  })
}

/** How many faults nothing in the plan would ever show, in a line; none where none was tried. */
function cannotShow({ files, lifted, ...of }: Started): string | null {
  if (lifted) return null
  const { faults, total } = covered(files, of)
  const never = faults.filter(({ caught }) => !caught)
  if (never.length === 0) return null
  const sheet = makeWorksheet(of.equipment)
  const found = never.filter(({ part }) => findersOf(sheet, part).length > 0).length
  const checks =
    found === never.length
      ? 'the worksheet has a check for each'
      : `the worksheet has a check for ${found} of them, and for the others there is one in the coverage`
  return `${never.length} faults this plan cannot show, of ${total} that were tried; ${checks} (${namedWhere}).`
}

/** The faults that would burn a part before the plan shows them, with what finds them by hand. */
export function burnsUnseen({ files, lifted, ...of }: Started): string[] {
  if (lifted) return []
  const sheet = makeWorksheet(of.equipment)
  const burning = covered(files, of)
    .faults.filter(({ early }) => !early)
    .sort((a, b) => (b.stress?.of_allowed ?? 0) - (a.stress?.of_allowed ?? 0))
  const more = burning.length - told
  return [
    ...burning.slice(0, told).map((fault) => lineOf(fault, findersOf(sheet, fault.part))),
    ...(more > 0 ? [`and ${more} more, each with its check by hand: ${namedWhere}.`] : []),
  ]
}

function lineOf({ text, stress, step }: CoveredFault, items: readonly string[]): string {
  const burns =
    stress === null ? '' : `: ${stress.what} at ${(100 * stress.of_rating).toFixed(0)} % of ${stress.rating}`
  const late = step === null ? ', never shown' : `, shown in step ${step}`
  return `${text}${burns}${late}${items.length === 0 ? '' : ` (worksheet: ${items.slice(0, 3).join(', ')})`}`
}
