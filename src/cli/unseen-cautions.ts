import type { CoverageOf, CoveredFault } from '../faults/index.js'
import { findersOf, makeWorksheet } from '../worksheet/index.js'
import { covered } from './book/unseen.js'

/** Those that burn most stand first; of the rest only how many they are is told. */
const told = 10

interface Started extends CoverageOf {
  /** Input files as they were. */
  readonly files: Readonly<Record<string, string>>
  /** Parts lifted out of the set are on the bench: there is no circuit in which a fault could be tried. */
  readonly lifted: boolean
}

/**
 * For the cautions of a run's start: the faults that would burn a part before its plan shows them, with what finds them by hand.
 * Takes seconds of a large set, so it is asked for before anything is opened.
 */
export function burnsUnseen({ files, lifted, ...of }: Started): string[] {
  if (lifted) return []
  const sheet = makeWorksheet(of.equipment)
  const burning = covered(files, of)
    .faults.filter(({ early }) => !early)
    .sort((a, b) => (b.stress?.of_allowed ?? 0) - (a.stress?.of_allowed ?? 0))
  const more = burning.length - told
  return [
    ...burning.slice(0, told).map((fault) => lineOf(fault, findersOf(sheet, fault.part))),
    ...(more > 0 ? [`and ${more} more: slowglow coverage names them, each with its check by hand.`] : []),
  ]
}

function lineOf({ text, stress, step }: CoveredFault, items: readonly string[]): string {
  const burns =
    stress === null ? '' : `: ${stress.what} at ${(100 * stress.of_rating).toFixed(0)} % of ${stress.rating}`
  const late = step === null ? ', never shown' : `, shown in step ${step}`
  return `${text}${burns}${late}${items.length === 0 ? '' : ` (worksheet: ${items.slice(0, 3).join(', ')})`}`
}
