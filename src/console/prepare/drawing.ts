import { type EdgeLabel, Graph, type GraphLabel, layout, type NodeLabel } from '@dagrejs/dagre'
import type { Equipment } from '../../equipment/index.js'
import { endsOf, valueOf } from './part-words.js'

export interface Drawing {
  readonly width: number
  readonly height: number
  readonly boxes: readonly {
    readonly id: string
    readonly x: number
    readonly y: number
    readonly width: number
    readonly height: number
    readonly kind: 'node' | 'part' | 'tube' | 'rail'
    readonly lines: readonly string[]
    /** One end is at the chassis. */
    readonly grounded: boolean
  }[]
  readonly wires: readonly {
    readonly id: string
    readonly points: readonly { readonly x: number; readonly y: number }[]
  }[]
}
interface Thing {
  readonly id: string
  readonly kind: 'part' | 'tube'
  readonly lines: readonly string[]
  readonly ends: readonly string[]
}

/**
 * What hangs on one rail, from its hot end towards the chassis: current flows from left to right. Nodes and parts alternate, and
 * every end at the chassis is marked on its part, since one common chassis would tie all lines into one knot.
 */
export function drawNetwork(equipment: Equipment, rail: string): Drawing {
  const given = equipment.rails[rail]
  if (given === undefined) return { width: 0, height: 0, boxes: [], wires: [] }
  const chassis = equipment.chassis_node
  const start = given.positive === chassis ? given.negative : given.positive
  const things = thingsOf(equipment, rail, start)
  const depth = reached(things, start, chassis, otherRails(equipment, rail, chassis))
  const graph = new Graph<GraphLabel, NodeLabel, EdgeLabel>({ multigraph: true })
  graph.setGraph({ rankdir: 'LR', nodesep: 10, ranksep: 46, marginx: 12, marginy: 18 })
  graph.setDefaultEdgeLabel(() => ({}))
  const kinds = new Map<string, Pick<Drawing['boxes'][number], 'kind' | 'lines' | 'grounded'>>()
  const put = (
    id: string,
    kind: Drawing['boxes'][number]['kind'],
    lines: readonly string[],
    grounded = false,
  ): void => {
    if (kinds.has(id)) return
    kinds.set(id, { kind, lines, grounded })
    const wide = Math.max(...lines.map((line) => line.length)) * 6.6 + 14
    // A node is a dot; its name stands above it and may lie over the gap between two ranks.
    graph.setNode(
      id,
      kind === 'node'
        ? { width: 8, height: 34 }
        : { width: Math.max(60, wide), height: lines.length * 14 + 12 + (grounded ? 14 : 0) },
    )
  }
  for (const { id, kind, lines, ends } of things) {
    const known = ends.filter((end) => depth.has(end))
    if (known.length === 0) continue
    const grounded = ends.includes(chassis)
    put(`part ${id}`, kind, lines, grounded)
    const nearest = known.toSorted((a, b) => (depth.get(a) ?? 0) - (depth.get(b) ?? 0))[0]
    for (const end of new Set(known)) {
      put(`node ${end}`, end === start ? 'rail' : 'node', [end === start ? `${rail}: ${end}` : end])
      if (end === nearest) graph.setEdge(`node ${end}`, `part ${id}`)
      else graph.setEdge(`part ${id}`, `node ${end}`)
    }
  }
  if (kinds.size === 0) put(`node ${start}`, 'rail', [rail])
  layout(graph)
  const { width = 0, height = 0 } = graph.graph()
  return {
    width: Math.ceil(width),
    height: Math.ceil(height),
    boxes: graph.nodes().flatMap((id) => {
      const known = kinds.get(id)
      const { x = 0, y = 0, width: wide, height: high } = graph.node(id)
      return known === undefined ? [] : [{ id, x, y, width: wide, height: high, ...known }]
    }),
    wires: graph.edges().map((edge) => ({
      id: `${edge.v} to ${edge.w}`,
      points: (graph.edge(edge).points ?? []).map(({ x, y }) => ({ x: Math.round(x), y: Math.round(y) })),
    })),
  }
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
