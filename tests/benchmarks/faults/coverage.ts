import { chance } from '../../../src/chance/index.js'
import { coverageOf, type CoveredFault } from '../../../src/faults/index.js'
import { createTrial } from '../../../src/faults/tried.js'
import { benchRails, sampleElements } from '../../../src/limits/index.js'
import type { Figure } from '../figures.js'
import type { Set } from './cases.js'

/** Faults that are tried in each drawn set. */
const faultsOfSet = 10

interface Held {
  readonly told: CoveredFault
  readonly drawn: CoveredFault
}

/**
 * What coverage tells of a set with nominal parts, held against sets whose parts are drawn and whose currents are read with the
 * bench's accuracy and resolution: a share of all faults, as they come in the library.
 *
 * @param n - drawn sets of each profile
 */
export function coverageFigures(sets: readonly Set[], n: number, seed: number): Figure[] {
  const held = sets.flatMap((set) => heldIn(set, n, seed))
  const share = (what: string, of: readonly Held[], is: (each: Held) => boolean): Figure => ({
    what: `coverage of drawn sets: ${what}`,
    value: (100 * of.filter(is).length) / Math.max(1, of.length),
    unit: '%',
    yardstick: `${of.length} faults, each in a drawn set, ${n} sets of each of ${sets.length} profiles`,
    ratio: null,
    target: 'shown',
    met: null,
  })
  const inTime = held.filter(({ told }) => told.caught && told.early)
  const surely = held.filter(({ told }) => told.surely)
  const harmless = held.filter(({ told }) => !told.caught && told.early)
  return [
    share(
      'noticed at the step that is told, or not at all as told',
      held,
      ({ told, drawn }) => told.step === drawn.step,
    ),
    share('in time or not, as told', held, ({ told, drawn }) => told.early === drawn.early),
    share(
      'of those told as noticed in time, too late or never',
      inTime,
      ({ drawn }) => !drawn.caught || !drawn.early,
    ),
    share('of these, a part stands beyond what its rating allows', inTime, ({ drawn }) => !drawn.early),
    share('of those told as noticed in every set, not noticed', surely, ({ drawn }) => !drawn.caught),
    share(
      'of those told as harming nothing, a part stands beyond its rating',
      harmless,
      ({ drawn }) => !drawn.early,
    ),
  ]
}

function heldIn({ equipment, bench, plan, single, path }: Set, n: number, seed: number): Held[] {
  const rails = benchRails(equipment, bench)
  const told = new Map(coverageOf({ equipment, bench, plan }).faults.map((each) => [each.fault, each]))
  return Array.from({ length: n }, (_, at) => {
    const source = chance(seed).fork(`coverage of ${path} ${at}`)
    const pick = source.fork('faults')
    const noise = source.fork('noise')
    const trial = createTrial(equipment, bench, plan, {
      elements: (bed) => sampleElements(equipment, bed.network.elements, source),
      read(rail, A) {
        const own = rails[rail]
        if (own === undefined) return A
        const off = Math.max(-1, Math.min(1, noise.normal() / 2))
        const seenAs = A + off * (own.accuracy_A.of_reading * A + own.accuracy_A.plus)
        const { resolution_A: step } = own
        return Math.max(0, step > 0 ? Math.round(seenAs / step) * step : seenAs)
      },
    })
    return Array.from({ length: faultsOfSet }, () => single[Math.floor(pick.next() * single.length)]).flatMap(
      (fault) => {
        const as = fault === undefined ? undefined : told.get(fault.fault)
        return fault === undefined || as === undefined ? [] : [{ told: as, drawn: trial.of(fault).covered }]
      },
    )
  }).flat()
}
