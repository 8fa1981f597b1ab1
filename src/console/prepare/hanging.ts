import type { Equipment } from '../../equipment/index.js'
import { endsOf, valueOf } from './part-words.js'

export interface Thing {
  readonly id: string
  readonly kind: 'part' | 'tube'
  readonly lines: readonly string[]
  readonly ends: readonly string[]
}

/**
 * What hangs on one rail, and how many parts lie between each node and the rail.
 *
 * @param start - where the rail is fed
 * @param about - as `drawNetwork` takes it
 */
export function hanging(
  equipment: Equipment,
  rail: string,
  start: string,
  about?: ReadonlySet<string>,
): { readonly things: readonly Thing[]; readonly depth: ReadonlyMap<string, number> } {
  const chassis = equipment.chassis_node
  const things = thingsOf(equipment, rail, start)
  const depth = reached(things, start, chassis, otherRails(equipment, rail, chassis))
  return { things: about === undefined ? things : near(things, depth, about), depth }
}

function otherRails({ rails }: Equipment, rail: string, chassis: string): ReadonlySet<string> {
  return new Set(
    Object.entries(rails)
      .filter(([name]) => name !== rail)
      .flatMap(([, { positive, negative }]) => [positive, negative])
      .filter((node) => node !== chassis),
  )
}

function thingsOf(equipment: Equipment, rail: string, start: string): readonly Thing[] {
  const things: Thing[] = []
  for (const [id, part] of Object.entries(equipment.parts)) {
    const ends = endsOf(part)
    if (ends.length > 0)
      things.push({ id, kind: 'part', lines: [id, valueOf(part)].filter((line) => line !== ''), ends })
  }
  for (const [id, capacitor] of Object.entries(equipment.rail_capacitors))
    if (capacitor.rail === rail)
      things.push({
        id,
        kind: 'part',
        lines: [id, valueOf({ kind: 'capacitor', between: [start, equipment.chassis_node], ...capacitor })],
        ends: [start, equipment.chassis_node],
      })
  for (const [id, tube] of Object.entries(equipment.tubes)) {
    const ends = tube.sections.flatMap(({ plate, screen, grid, cathode }) =>
      [plate, screen, grid, cathode].filter((end) => end !== undefined),
    )
    if (ends.length > 0) things.push({ id, kind: 'tube', lines: [id, tube.type], ends })
    else if (tube.rail === rail)
      things.push({ id, kind: 'tube', lines: [id, tube.type], ends: [start, equipment.chassis_node] })
  }
  return things
}

/** Parts that are spoken of or hang on a node that is, and of each node the shortest way back to the rail. */
function near(
  things: readonly Thing[],
  depth: ReadonlyMap<string, number>,
  about: ReadonlySet<string>,
): readonly Thing[] {
  const endsIn = ({ ends }: Thing): readonly string[] => ends.filter((end) => depth.has(end))
  const nodes = new Set(
    things.flatMap((thing) =>
      endsIn(thing).filter((end) => about.has(`node ${end}`) || about.has(`part ${thing.id}`)),
    ),
  )
  const kept = new Set(
    things.filter(
      (thing) => about.has(`part ${thing.id}`) || endsIn(thing).some((end) => about.has(`node ${end}`)),
    ),
  )
  for (const node of nodes) {
    const at = depth.get(node) ?? 0
    if (at === 0) continue
    // A set that iterates sees what is put into it on the way: the walk ends at the rail.
    for (const thing of things) {
      const before = endsIn(thing).find((end) => depth.get(end) === at - 1)
      if (before === undefined || !thing.ends.includes(node)) continue
      kept.add(thing)
      nodes.add(before)
      break
    }
  }
  return things.filter((thing) => kept.has(thing))
}

/** How many parts lie between each node and the rail; the chassis and the other rails end the way. */
function reached(
  things: readonly Thing[],
  start: string,
  chassis: string,
  ends: ReadonlySet<string>,
): ReadonlyMap<string, number> {
  const depth = new Map([[start, 0]])
  const at = new Map<string, Thing[]>()
  for (const thing of things) for (const end of thing.ends) at.set(end, [...(at.get(end) ?? []), thing])
  const queue = [start]
  for (let node = queue.shift(); node !== undefined; node = queue.shift()) {
    if (ends.has(node)) continue
    for (const thing of at.get(node) ?? [])
      for (const next of thing.ends)
        if (next !== chassis && !depth.has(next)) {
          depth.set(next, (depth.get(node) ?? 0) + 1)
          queue.push(next)
        }
  }
  return depth
}
