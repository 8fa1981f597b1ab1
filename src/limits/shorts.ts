import type { Equipment, RailName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { stresses } from './ratings.js'
import type { Stress } from './stress.js'
import { ownerOf } from './sampling.js'
import type { HiddenShort, RailLimits, ShortCase } from './types.js'

/** A shorted capacitor, siemens: a dead one measures well below an ohm (common practice, no source). */
const short_S = 2
/** A capacitor with less across it moves nothing that could burn. */
const stands_V = 1

/** Of what a rating allows: less than this over it is the arithmetic's rounding. */
const harms = 1.0005

/**
 * Each capacitor that stands at volts, shorted by itself: a bypass that shorts takes its feed resistor's whole rail and cuts
 * its tube off, a coupling that shorts drives a tube on. Cases in which no part comes to harm are left out.
 *
 * @param whole - stresses of the set as it should be: what is over its rating already is not the short's doing
 */
export function shortCases(
  equipment: Equipment,
  elements: readonly Element[],
  nominal: Solution,
  whole: readonly Stress[],
  solve: (changed: readonly Element[]) => Solution,
  amps: (solution: Solution) => Record<RailName, number>,
): ShortCase[] {
  const over = new Set(whole.filter(({ ratio }) => ratio > 1).map(({ part }) => part))
  const cases: ShortCase[] = []
  for (const element of elements) {
    if (element.kind !== 'capacitor') continue
    const capacitor = ownerOf(equipment, element.name)
    const V = Math.abs((nominal.volts[element.a] ?? 0) - (nominal.volts[element.b] ?? 0))
    if (capacitor === null || V < stands_V) continue
    const shorted = solve([{ ...element, leak_S: short_S }])
    if (!shorted.converged) continue
    const worst = new Map<string, Stress>()
    for (const stress of stresses(equipment, elements, shorted, harms)) {
      if (!stress.by_current || over.has(stress.part)) continue
      if (stress.of_rating > (worst.get(stress.part)?.of_rating ?? 0)) worst.set(stress.part, stress)
    }
    if (worst.size === 0) continue
    cases.push({
      capacitor,
      stands_V: V,
      amps: amps(shorted),
      over: [...worst.values()].map(({ part, what, of_rating, rating, heat }) => ({
        part,
        what,
        of_rating,
        rating,
        heat,
      })),
    })
  }
  return cases
}

/** Those of them that keep every rail inside its trip. */
export function hiddenShorts(
  cases: readonly ShortCase[],
  limits: Readonly<Record<RailName, RailLimits>>,
): HiddenShort[] {
  return cases.flatMap((each) => {
    const rails = Object.entries(limits).filter(([rail]) => each.amps[rail] !== undefined)
    const read = (rail: RailName): number => each.amps[rail] ?? 0
    if (rails.length === 0 || rails.some(([rail, { trip_A }]) => read(rail) > trip_A)) return []
    const moved = (rail: RailName, { expected_A }: RailLimits): number => Math.abs(read(rail) - expected_A)
    const [rail, own] = rails.reduce((most, next) => (moved(...next) > moved(...most) ? next : most))
    const asked = rails.some(([name, { ask_A }]) => read(name) < ask_A)
    return [{ ...each, rail, at_V: own.at_V, reads_A: read(rail), trip_A: own.trip_A, asked }]
  })
}
