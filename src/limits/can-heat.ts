import type { Equipment, PartName, RailName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { feedOf, voltsForWatts } from './feeds.js'
import { type RailsAtPoint, type Reaches, reachesOf } from './guards.js'
import { across } from './moved.js'
import { show } from './rail-limits.js'
import { ownerOf } from './sampling.js'
import type { CanHeat, Guard } from './types.js'

/** What one can may turn into heat by its leakage. No figure is published: our choice, that of a reform. */
const can_W = 0.5
/** A can with less across it would have to leak tens of milliamps: it is shorted before it is warm. */
const stands_V = 30
/** Where it takes longer to agree, its feed resistor is about all that there is. */
const rounds = 6

/**
 * An electrolytic that leaks heats its can, and what it leaks is on top of what the rail draws. Where that shows before the
 * can is too warm it is a ceiling; where it drowns in what healthy sets differ by, the part is named. What stands behind a
 * resistor that cannot bring it so much is neither.
 */
export function canHeat(
  equipment: Equipment,
  elements: readonly Element[],
  nominal: Solution,
  at: RailsAtPoint,
  solve: (changed: readonly Element[]) => Solution,
  amps: (solution: Solution) => Readonly<Record<RailName, number>>,
): { readonly guards: Record<RailName, Guard[]>; readonly unseen: CanHeat[] } {
  const guards: Record<RailName, Guard[]> = {}
  const unseen: CanHeat[] = []
  const reaches = new Map<RailName, Reaches>()
  const all_V = Object.values(at.volts).reduce((sum, V) => sum + V, 0)
  for (const element of elements) {
    if (element.kind !== 'capacitor') continue
    const part = ownerOf(equipment, element.name)
    const rail = at.leaning.get(element.name)
    if (part === null || rail === undefined || !isElectrolytic(equipment, part)) continue
    if (Math.abs(across(nominal, element)) < stands_V) continue
    const feed_S = Math.min(...[element.a, element.b].map((node) => feedOf(elements, node) || Infinity))
    // The resistor may be smaller than it is marked.
    if (0.9 * voltsForWatts(can_W, feed_S) > all_V) continue
    const warm = leaking(element, nominal, solve)
    if (warm === null) continue
    const reach = reaches.get(rail) ?? reachesOf(rail, at)
    reaches.set(rail, reach)
    const ceiling_A = reach.lower + (amps(warm.solution)[rail] ?? 0) - reach.expected
    if (!(ceiling_A >= reach.trip)) {
      unseen.push({ part, rail, V: warm.V, leaks_A: warm.A, W: can_W })
      continue
    }
    const text = `heat in ${part}, ${show(can_W, 'W')}, allows ${show(warm.A, 'A')} of leakage at ${show(warm.V, 'V')}; what else hangs on the rail draws at least ${show(reach.lower, 'A')}`
    const source = 'our choice, no published figure'
    guards[rail] = [...(guards[rail] ?? []), { part, ceiling_A, text, source }]
  }
  return { guards, unseen }
}

/** The circuit with this one leaking as much as makes it too warm; null where what feeds it cannot bring it there. */
function leaking(
  element: Extract<Element, { readonly kind: 'capacitor' }>,
  nominal: Solution,
  solve: (changed: readonly Element[]) => Solution,
): { readonly solution: Solution; readonly V: number; readonly A: number } | null {
  let V = Math.abs(across(nominal, element))
  // Its volts give way to what it leaks.
  for (let round = 0; round < rounds; round++) {
    const leak_S = can_W / (V * V)
    const solution = solve([{ ...element, leak_S }])
    V = Math.abs(across(solution, element))
    if (!solution.converged || !(V > 0)) return null
    if (V * V * leak_S > 0.97 * can_W) return { solution, V, A: V * leak_S }
  }
  return null
}

function isElectrolytic(equipment: Equipment, name: PartName): boolean {
  const part = equipment.parts[name]
  return part?.kind === 'capacitor' && part.dielectric === 'electrolytic'
}
