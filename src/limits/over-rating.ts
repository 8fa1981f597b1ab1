import type { Equipment, RailName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { master, type RailsAtPoint } from './guards.js'
import type { Stress } from './stress.js'
import type { RatingWatch } from './types.js'

/** A cathode with less under it tells no current by its volts (our choice). */
export const readable_V = 0.3

/**
 * Tubes whose rating system leaves room above the bare rating, with the rail current at which each would pass the rating:
 * the run goes on there, says so, and has the tube's cathode read. Only a tube that leads its rail, or is over its rating
 * with nominal parts, is told by the rail's current; the others are taken at what they should draw.
 */
export function ratingWatches(
  equipment: Equipment,
  elements: readonly Element[],
  nominal: Solution,
  held: readonly Stress[],
  at: Pick<RailsAtPoint, 'shares' | 'leaning' | 'expected_A'>,
): Record<RailName, RatingWatch[]> {
  const first = new Map<string, { rail: RailName; watch: RatingWatch }>()
  for (const stress of held) {
    const rail = at.leaning.get(stress.element)
    const roomy = stress.by_current && stress.of_rating > stress.ratio * 1.0001
    if (rail === undefined || !roomy || !(stress.ratio > 0)) continue
    const expected_A = at.expected_A[rail] ?? 0
    const share_A = at.shares[rail]?.find(({ tube }) => tube === stress.part)?.A ?? 0
    const leads = share_A > master * expected_A || stress.of_rating > 1.0005
    if (!leads || !(share_A > 0)) continue
    const at_A = Math.max(0, expected_A + share_A * (1 / stress.of_rating - 1))
    const before = first.get(stress.part)
    if (before !== undefined && before.watch.at_A <= at_A) continue
    const watch: RatingWatch = {
      part: stress.part,
      what: stress.what,
      of_rating: stress.of_rating,
      share_A,
      at_A,
      rating: stress.rating,
      source: stress.source,
      unverified: stress.unverified,
      cathode: cathodeOf(equipment, elements, nominal, stress),
    }
    first.set(stress.part, { rail, watch })
  }
  const watches: Record<RailName, RatingWatch[]> = {}
  for (const { rail, watch } of first.values()) watches[rail] = [...(watches[rail] ?? []), watch]
  return watches
}

/** Cathode current is cathode volts over one resistor, so volts stand to the rating as watts do, plate volts unchanged. */
function cathodeOf(
  equipment: Equipment,
  elements: readonly Element[],
  nominal: Solution,
  stress: Stress,
): RatingWatch['cathode'] {
  const element = elements.find(({ name }) => name === stress.element)
  if (element === undefined || !('cathode' in element)) return null
  const V = (nominal.volts[element.cathode] ?? 0) - (nominal.volts[equipment.chassis_node] ?? 0)
  if (element.cathode === equipment.chassis_node || V < readable_V) return null
  return { node: element.cathode, V, rated_V: V / stress.of_rating, most_V: V / stress.ratio }
}
