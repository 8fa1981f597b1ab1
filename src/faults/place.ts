import type { Equipment, NodeName, PartName } from '../equipment/index.js'

/** The two ends of a meter. */
export interface Ends {
  readonly a: NodeName
  readonly b: NodeName
}

const between = ' to '

/** A place as it is told and written: a node against the chassis, or `A to B` across a part. */
export const placeOf = ({ a, b }: Ends, chassis: NodeName): string =>
  b === chassis ? a : `${a}${between}${b}`

/** Where a meter stands that is put at a place; null where no such nodes are known. */
export function endsOf(place: string, chassis: NodeName, known: (node: NodeName) => boolean): Ends | null {
  if (known(place)) return { a: place, b: chassis }
  // A node's own name may hold the word.
  for (let at = place.indexOf(between); at >= 0; at = place.indexOf(between, at + 1)) {
    const a = place.slice(0, at)
    const b = place.slice(at + between.length)
    if (known(a) && (known(b) || b === chassis)) return { a, b }
  }
  return null
}

/** Nodes of a part, in the order of its file. */
export function nodesOfPart({ parts, tubes, rails }: Equipment, part: PartName): NodeName[] {
  const own = parts[part]
  if (own !== undefined)
    return 'ends' in own ? [...own.ends, own.wiper] : 'between' in own ? [...(own.between ?? [])] : []
  const tube = tubes[part]
  if (tube !== undefined)
    return tube.sections.flatMap(({ plate, screen, grid, cathode }) =>
      [plate, screen, grid, cathode].filter((node) => node !== undefined),
    )
  const rail = rails[part]
  return rail === undefined ? [] : [rail.positive, rail.negative]
}

/** What somebody puts a meter across to try one part: its two ends, and electrodes that may touch or show a tube's bias. */
export function acrossPart(equipment: Equipment, part: PartName): Ends[] {
  const { parts, tubes, chassis_node: chassis } = equipment
  const tube = tubes[part]
  const pairs =
    tube === undefined
      ? parts[part] !== undefined && 'between' in parts[part]
        ? [nodesOfPart(equipment, part)]
        : []
      : tube.sections.flatMap(({ plate, screen, grid, cathode }) => [
          [screen, plate],
          [grid, cathode],
        ])
  return pairs.flatMap(([a, b]) =>
    a === undefined || b === undefined || a === b || a === chassis || b === chassis ? [] : [{ a, b }],
  )
}

/** What feeds a tube's electrodes: volts across it tell the current of one electrode. */
export function feeding({ parts, tubes }: Equipment, tube: PartName): PartName[] {
  const nodes = new Set(
    (tubes[tube]?.sections ?? []).flatMap(({ plate, screen, cathode }) => [plate, screen, cathode]),
  )
  return Object.entries(parts).flatMap(([name, part]) =>
    (part.kind === 'resistor' || part.kind === 'winding' || part.kind === 'choke') &&
    part.between.some((node) => nodes.has(node))
      ? [name]
      : [],
  )
}

/** What a voltmeter shows there. */
export const voltsBetween = (
  { volt }: { readonly volt: (node: NodeName) => number },
  { a, b }: Ends,
): number => volt(a) - volt(b)
