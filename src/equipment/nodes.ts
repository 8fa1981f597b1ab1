import { formatQuantity, nearest, type Path, type Report } from '../quantities/index.js'
import { did, nodesOf } from './meaning.js'
import type { Known } from './known.js'
import type { Equipment, NodeName } from './types.js'

/** One mention of a node, where it is written. */
interface Mention {
  readonly node: NodeName
  readonly path: Path
  readonly by: string
}
/** A DC way between two nodes; `wire`: no resistor, diode or tube in it. */
interface Way {
  readonly a: NodeName
  readonly b: NodeName
  readonly wire: boolean
}

/** Level 3: whether every node is joined to something, has a DC way to a rail, and every capacitor stands its volts. */
export function checkNodes(equipment: Equipment, known: Known, report: Report): void {
  // A part that could not be read may be the very one that joins a node: then nothing can be said.
  if (known.anyBroken('parts', 'tubes', 'rails')) return
  const lifted = liftedWindings(equipment)
  const mentions = mentionsOf(equipment).filter(({ by }) => !lifted.has(by))
  const counts = new Map<NodeName, number>()
  for (const { node } of mentions) counts.set(node, (counts.get(node) ?? 0) + 1)
  const chains = new Set(Object.values(equipment.heater_chains).map(({ rail }) => rail))
  for (const name of chains) {
    const rail = equipment.rails[name]
    for (const node of rail === undefined ? [] : [rail.positive, rail.negative])
      counts.set(node, (counts.get(node) ?? 0) + 1)
  }
  const reached = reach(equipment)
  const told = new Set<NodeName>()
  for (const { node, path, by } of mentions) {
    if (node === equipment.chassis_node || told.has(node)) continue
    if ((counts.get(node) ?? 0) < 2) {
      told.add(node)
      const near = nearest(
        node,
        [...counts.keys()].filter((other) => other !== node),
      )
      report.error(
        path,
        `node '${node}' is used only once, by ${by}: nothing else is joined to it`,
        near.length > 0
          ? `${did(near)} Two things are joined where their node has the same name`
          : 'name the same node at the part it is joined to',
      )
    } else if (!reached.has(node)) {
      told.add(node)
      report.error(
        path,
        `node '${node}' has no DC path to a rail or the chassis (first named by ${by})`,
        'add the resistor, choke or winding that joins it; capacitors and grids carry no DC',
      )
    }
  }
  const all = nodesOf(equipment)
  for (const node of Object.keys(equipment.test_points))
    if (!all.has(node))
      report.error(
        ['test_points', node],
        `test point '${node}' is no node of the network`,
        did(nearest(node, all)),
        'key',
      )
  checkCapacitors(equipment, report)
  checkWindings(equipment, lifted, report)
}

/** Every place where a part, tube or rail names a node. Pulled tubes are not there. */
function mentionsOf(equipment: Equipment): Mention[] {
  const made: Mention[] = []
  const mention = (by: string, path: Path, node: NodeName | undefined): void => {
    if (node !== undefined) made.push({ node, path, by })
  }
  for (const [name, { positive, negative }] of Object.entries(equipment.rails)) {
    mention(`rail ${name}`, ['rails', name, 'positive'], positive)
    mention(`rail ${name}`, ['rails', name, 'negative'], negative)
  }
  for (const [name, part] of Object.entries(equipment.parts)) {
    if (part.kind === 'heater resistor') continue
    if (part.kind === 'potentiometer') {
      part.ends.forEach((node, i) => {
        mention(name, ['parts', name, 'ends', i], node)
      })
      // A wiper joined to one end (a rheostat) is one joint, not two.
      if (!part.ends.includes(part.wiper)) mention(name, ['parts', name, 'wiper'], part.wiper)
    } else
      part.between?.forEach((node, i) => {
        mention(name, ['parts', name, 'between', i], node)
      })
  }
  for (const [name, tube] of Object.entries(equipment.tubes)) {
    tube.jumper?.forEach((node, i) => {
      mention(name, ['tubes', name, 'jumper', i], node)
    })
    tube.sections.forEach((section, i) => {
      const at = (key: string): Path =>
        tube.sections.length === 1 ? ['tubes', name, key] : ['tubes', name, 'sections', i, key]
      const nodes = new Set<NodeName>()
      for (const key of ['plate', 'screen', 'grid', 'cathode'] as const) {
        const node = section[key]
        if (node === undefined || nodes.has(node)) continue
        nodes.add(node)
        mention(name, at(key), node)
      }
    })
  }
  return made
}

/** Windings whose both ends touch nothing: lifted, and out of the network. */
export function liftedWindings(equipment: Equipment): ReadonlySet<string> {
  const counts = new Map<NodeName, number>()
  for (const { node } of mentionsOf(equipment)) counts.set(node, (counts.get(node) ?? 0) + 1)
  return new Set(
    Object.entries(equipment.parts).flatMap(([name, part]) =>
      part.kind === 'winding' && part.between.every((node) => counts.get(node) === 1) ? [name] : [],
    ),
  )
}

function waysOf(equipment: Equipment): Way[] {
  const made: Way[] = []
  for (const part of Object.values(equipment.parts)) {
    switch (part.kind) {
      case 'potentiometer':
        made.push(
          { a: part.ends[0], b: part.wiper, wire: false },
          { a: part.wiper, b: part.ends[1], wire: false },
        )
        break
      case 'choke':
      case 'winding':
      case 'contact':
      case 'fuse':
        made.push({ a: part.between[0], b: part.between[1], wire: true })
        break
      case 'resistor':
      case 'diode':
        made.push({ a: part.between[0], b: part.between[1], wire: false })
        break
      case 'lamp':
        if (part.between !== undefined) made.push({ a: part.between[0], b: part.between[1], wire: false })
        break
      case 'capacitor':
      case 'heater resistor':
        break
    }
  }
  for (const { sections, pulled, jumper } of Object.values(equipment.tubes)) {
    // Pulled or not: what hangs behind it belongs to the rail, and the plan says what is open without it.
    if (jumper !== undefined) made.push({ a: jumper[0], b: jumper[1], wire: true })
    for (const { plate, screen, cathode } of sections) {
      // A pulled rectifier still has its windings and its reservoir; its nodes count as joined through the socket.
      made.push({ a: plate, b: cathode, wire: false })
      if (screen !== undefined && pulled !== true) made.push({ a: screen, b: cathode, wire: false })
    }
  }
  return made
}

/** Nodes with a DC way to any rail or the chassis. */
function reach(equipment: Equipment): ReadonlySet<NodeName> {
  const from = [
    equipment.chassis_node,
    ...Object.values(equipment.rails).flatMap(({ positive, negative }) => [positive, negative]),
  ]
  return spread(from, waysOf(equipment))
}

function spread(from: readonly NodeName[], ways: readonly Way[]): ReadonlySet<NodeName> {
  const next = new Map<NodeName, NodeName[]>()
  for (const { a, b } of ways) {
    next.set(a, [...(next.get(a) ?? []), b])
    next.set(b, [...(next.get(b) ?? []), a])
  }
  const reached = new Set(from)
  const open = [...from]
  for (let node = open.pop(); node !== undefined; node = open.pop())
    for (const other of next.get(node) ?? [])
      if (!reached.has(other)) {
        reached.add(other)
        open.push(other)
      }
  return reached
}

/** A capacitor that only wire, chokes and contacts part from a rail carries that rail's whole working voltage. */
function checkCapacitors(equipment: Equipment, report: Report): void {
  const wires = waysOf(equipment).filter(({ wire }) => wire)
  for (const [name, rail] of Object.entries(equipment.rails)) {
    const sides = [rail.positive, rail.negative].map((node) => spread([node], wires))
    for (const [part, of] of Object.entries(equipment.parts)) {
      if (of.kind !== 'capacitor') continue
      const [first, second] = of.between
      const straight = sides[0]?.has(first) === true && sides[1]?.has(second) === true
      const reversed = sides[0]?.has(second) === true && sides[1]?.has(first) === true
      if (straight === reversed) continue
      if (of.rated_V < rail.working_V)
        report.error(
          ['parts', part, 'rated'],
          `${part} is rated ${formatQuantity(of.rated_V, 'V')} and stands across rail ${name}, which works at ${formatQuantity(rail.working_V, 'V')}`,
          `a capacitor of at least ${formatQuantity(rail.working_V, 'V')} belongs there; check the marking, or replace it before any power`,
        )
      if (reversed && of.dielectric === 'electrolytic')
        report.error(
          ['parts', part, 'between'],
          `${part} is an electrolytic and stands the wrong way round across rail ${name}`,
          `its positive node comes first: write between: [${second}, ${first}], and look at the part itself`,
        )
    }
  }
}

/** DC from a bench supply through a winding of the mains transformer would saturate or burn it. */
function checkWindings(equipment: Equipment, lifted: ReadonlySet<string>, report: Report): void {
  for (const [name, rail] of Object.entries(equipment.rails)) {
    if (rail.role !== 'heater' && rail.role !== 'bias') continue
    for (const [part, of] of Object.entries(equipment.parts))
      if (
        of.kind === 'winding' &&
        !lifted.has(part) &&
        of.between.includes(rail.positive) &&
        of.between.includes(rail.negative)
      )
        report.error(
          ['parts', part],
          `winding ${part} is connected across rail ${name}: direct current would flow through it and could burn it`,
          'lift both its wires: give its ends nodes of their own, and list them under feeds: lift',
          'key',
        )
  }
}
