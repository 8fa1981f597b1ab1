import type { Equipment, PartName, RailName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import { floor_A, show } from './rail-limits.js'
import { stresses } from './ratings.js'
import { fitLogNormal, logNormalPoint, quantile } from './spread.js'
import type { Stress } from './stress.js'
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
  // A tube may stand between two rails.
  const all_V = Object.values(at.volts).reduce((sum, V) => sum + V, 0)
  for (const stress of held) {
    const rail = at.leaning.get(stress.element)
    if (
      rail === undefined ||
      !stress.by_current ||
      // Its resistors may be smaller than they are marked.
      0.9 * stress.needs_V > (stress.draws === undefined ? (at.volts[rail] ?? 0) : all_V) ||
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
    const text = ceilingWords(stress, more, ceiling_A - share * more, at.shares[rail] ?? [])
    const { part, source, unverified } = stress
    guards[rail] = [...(guards[rail] ?? []), { part, ceiling_A, text, source, unverified }]
  }
  return { guards, unguarded: [...unguarded] }
}

/** What the part would draw at its rating, at which volts, and what the others leave it. */
function ceilingWords(
  stress: Stress,
  more: number,
  rest_A: number,
  shares: RailsAtPoint['shares'][string],
): string {
  const { what, rating, draws } = stress
  const others = shares.filter(({ tube, A }) => tube !== stress.part && A > 0).length
  const isTube = draws !== undefined && others > 0
  const rest = `${isTube ? `the other ${others === 1 ? 'tube' : `${others} tubes`} and ` : ''}what else hangs on the rail draw${isTube ? '' : 's'} at least ${show(rest_A, 'A')}`
  // A rated current is the current that it allows.
  if (draws === undefined && / current$/.test(what)) return `${what} may reach ${rating}; ${rest}`
  return `${what}, ${rating}, allows ${allowed(stress, more)}; ${rest}`
}

function allowed({ draws, A }: Stress, more: number): string {
  if (draws === undefined) return show(A * more, 'A')
  const plate = `${show(draws.plate_A * more, 'A')} plate`
  const screen = draws.screen_A > 0 ? `${show(draws.screen_A * more, 'A')} screen` : null
  const at = ` at ${show(draws.V, 'V')}`
  if (draws.of === 'screen') return `${screen ?? ''}${at} and ${plate}`
  return `${plate}${screen === null ? '' : ` and ${screen}`}${at}`
}

/** Parts beyond their ratings with some capacitor shorted, while no rail reads more than a healthy set may. */
function burntUnseen(at: RailsAtPoint): ReadonlySet<PartName> {
  const unseen = at.shorts.filter(({ amps }) =>
    Object.entries(amps).every(([rail, A]) => A <= reachesOf(rail, at).trip),
  )
  return new Set(unseen.flatMap(({ over }) => over.map(({ part }) => part)))
}

/** Where healthy sets go on a rail: bounds of the band, and the trip that their spread alone would make. */
export interface Reaches {
  readonly expected: number
  readonly lower: number
  readonly upper: number
  readonly trip: number
}

export function reachesOf(rail: RailName, at: RailsAtPoint): Reaches {
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
    if (stress.of_rating > 1.0005 && stress.assumed === true) {
      problems.push({
        severity: 'warning',
        what: `${stress.what} would stand at ${percent(stress.of_rating)} of what is usual (${stress.rating}; ${stress.source}) at ${inWords(volts)}.`,
        remedy:
          "Look its limit up in your manual. Sets with such a cathode often tie that heater's winding to a node at its volts: give it a heater rail of its own between those nodes.",
      })
    } else if (stress.ratio > 1.0005) {
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
