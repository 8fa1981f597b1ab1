import { type EdgeLabel, Graph, type GraphLabel, layout, type NodeLabel } from '@dagrejs/dagre'
import type { Equipment } from '../../equipment/index.js'
import { type Drawing, letter } from './drawing-shape.js'
import { hanging } from './hanging.js'

/**
 * What hangs on one rail, from its hot end towards the chassis: current flows from left to right. Nodes and parts alternate, and
 * every end at the chassis is marked on its part, since one common chassis would tie all lines into one knot.
 *
 * @param about - ids of boxes: only these, what hangs beside them and the way to them is drawn; left out, everything
 */
export function drawNetwork(equipment: Equipment, rail: string, about?: ReadonlySet<string>): Drawing {
  const given = equipment.rails[rail]
  if (given === undefined) return { width: 0, height: 0, boxes: [], wires: [] }
  const chassis = equipment.chassis_node
  const start = given.positive === chassis ? given.negative : given.positive
  const { things, depth } = hanging(equipment, rail, start, about)
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
    const wide = Math.max(...lines.map((line) => line.length)) * letter.usual + 14
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
