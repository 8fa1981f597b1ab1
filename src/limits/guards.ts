import type { Equipment, PartName, RailName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import { floor_A } from './rail-limits.js'
import { stresses, type Stress } from './ratings.js'
import { fitLogNormal, logNormalPoint, quantile } from './spread.js'
import type { Guard, LimitProblem, RailBench, ShortCase } from './types.js'

/** Set-points all rails stand at, by name; rails at 0 V are off. */
export type SetPoints = Readonly<Record<RailName, number>>

/** What a solved operating point knows of its rails. */
export interface RailsAtPoint {
  readonly shares: Readonly<Record<RailName, readonly { readonly tube: PartName; readonly A: number }[]>>
  /** Element → the rail whose volts move its current most. */
  readonly leaning: ReadonlyMap<string, RailName>
  readonly expected_A: Readonly<Record<RailName, number>>
  readonly samples_A: Readonly<Record<RailName, readonly number[]>>
  readonly rails: Readonly<Record<RailName, RailBench>>
  readonly volts: SetPoints
  readonly shorts: readonly ShortCase[]
}

/** A part with a third of the rail's current is its master: its ceiling may come below what healthy sets may reach. */
export const master = 1 / 3
/** A part this near its rating (as a factor on its present current) is named where the rail cannot guard it. */
const near = 1.5

/**
 * Ceiling a part sets on its rail: the part at its allowance, everything else on the rail at its lower bound. A small part
 * whose ceiling lies where healthy sets go cannot be guarded by the rail's current: it is named instead, since a limit
 * there would trip healthy sets and still not see that part. No part is said to be guarded that the volts at this step
 * cannot bring to its rating, nor one that a shorted capacitor burns while it cuts a tube off, so that the rail reads
 * what it always does (`shorts`).
 */
export function guardsOf(
  held: readonly Stress[],
  at: RailsAtPoint,
): { guards: Record<RailName, Guard[]>; unguarded: string[] } {
  const guards: Record<RailName, Guard[]> = {}
  const unguarded = new Set<string>()
  const burnt = burntUnseen(at)
  const reaches = new Map<RailName, Reaches>()
  for (const stress of held) {
    const rail = at.leaning.get(stress.element)
    if (
      rail === undefined ||
      !stress.by_current ||
      stress.needs_V > (at.volts[rail] ?? 0) ||
      burnt.has(stress.part) ||
      !(stress.A > 0) ||
      !(stress.ratio > 0)
    )
      continue
    const reach = reaches.get(rail) ?? reachesOf(rail, at)
    reaches.set(rail, reach)
    const share =
      at.shares[rail]?.find(({ tube }) => tube === stress.part)?.A ?? Math.min(stress.A, reach.expected)
    if (!(share > 0) || !(reach.expected > 0)) continue
    const more = stress.squared ? 1 / Math.sqrt(stress.ratio) : 1 / stress.ratio
    const ceiling_A = reach.lower * Math.max(0, 1 - share / reach.expected) + share * more
    const least = share > master * reach.expected ? reach.upper : reach.trip
    if (ceiling_A < least) {
      if (more < near) unguarded.add(stress.part)
      continue
    }
    const text = `${stress.what} would reach ${stress.rating}, the rest of the rail at its lowest`
    guards[rail] = [...(guards[rail] ?? []), { part: stress.part, ceiling_A, text, source: stress.source }]
  }
  return { guards, unguarded: [...unguarded] }
}

/** Parts beyond their ratings with some capacitor shorted, while no rail reads more than a healthy set may. */
function burntUnseen(at: RailsAtPoint): ReadonlySet<PartName> {
  const unseen = at.shorts.filter(({ amps }) =>
    Object.entries(amps).every(([rail, A]) => A <= reachesOf(rail, at).trip),
  )
  return new Set(unseen.flatMap(({ over }) => over.map(({ part }) => part)))
}

/** Where healthy sets go on a rail: bounds of the band, and the trip that their spread alone would make. */
interface Reaches {
  readonly expected: number
  readonly lower: number
  readonly upper: number
  readonly trip: number
}

function reachesOf(rail: RailName, at: RailsAtPoint): Reaches {
  const expected = at.expected_A[rail] ?? 0
  const samples = at.samples_A[rail] ?? []
  const shape = fitLogNormal(samples)
  const upper = Math.max(expected, quantile(samples, 0.95))
  const high = Math.max(upper, shape === null ? 0 : logNormalPoint(shape, '99.9 %'))
  return {
    expected,
    lower: Math.min(expected, quantile(samples, 0.05)),
    upper,
    trip: high + floor_A(expected, at.rails[rail]?.resolution_A ?? 0),
  }
}

export function troubles(nominal: Solution, volts: SetPoints): LimitProblem[] {
  if (nominal.converged) return []
  return [
    {
      severity: 'error',
      what: `The circuit could not be solved at ${inWords(volts)}: ${nominal.trouble ?? 'no steady state was found'}.`,
      remedy: 'Check the parts around the node named; a missing cathode or grid resistor is the usual cause.',
    },
  ]
}

/** Ratings that nominal parts would pass: refused beyond the rating system's allowance, said between. */
export function overRatings(held: readonly Stress[], volts: SetPoints): LimitProblem[] {
  const problems: LimitProblem[] = []
  for (const stress of held) {
    if (stress.ratio > 1.0005) {
      problems.push({
        severity: 'error',
        what: `${stress.what} would stand at ${percent(stress.of_rating)} of its rating (${stress.rating}; ${stress.source}) at ${inWords(volts)}.`,
        remedy: 'Lower the target in the profile, or correct the part in the set file.',
      })
    } else if (stress.of_rating > 1.0005) {
      problems.push({
        severity: 'warning',
        what: `${stress.what} is over its rating: ${percent(stress.of_rating)} of ${stress.rating} at ${inWords(volts)} (${stress.source}).`,
        remedy: 'Many output stages were run so. Take its cathode reading once, with the outputs off.',
      })
    }
  }
  return problems
}

/** With heaters out every capacitor sees more: said, since a heater that fails at full HT does just that. */
export function coldVolts(
  equipment: Equipment,
  elements: readonly Element[],
  cold: Solution,
): LimitProblem[] {
  return stresses(equipment, elements, cold)
    .filter(
      (stress) =>
        !stress.by_current && stress.ratio > 1.0005 && equipment.parts[stress.part]?.kind === 'capacitor',
    )
    .map((stress) => ({
      severity: 'warning' as const,
      what: `With tubes cold, ${stress.what} would stand at ${percent(stress.ratio)} of its ${stress.rating} rating.`,
      remedy: 'HT comes on with heaters hot only; a part rated for the whole rail would be better.',
    }))
}

function percent(ratio: number): string {
  return `${(100 * ratio).toFixed(0)} %`
}

/** `HT 250 V, bias 20 V`: rails that stand. */
export function inWords(volts: SetPoints): string {
  return Object.entries(volts)
    .filter(([, V]) => V > 0)
    .map(([rail, V]) => `${rail} ${formatQuantity(V, 'V')}`)
    .join(', ')
}
