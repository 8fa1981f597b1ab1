import type { Bench } from '../bench/index.js'
import type { ChartOhms, ChartVolts, Equipment, ModeName, NodeName } from '../equipment/index.js'
import { linesIn, nodeOhm, ohmsIn, railOfLine, takenAt } from './chart-lines.js'
import type { SetPoints } from './guards.js'

/** The voltmeter whose readings node volts are told for. */
export interface NodeMeter {
  readonly name: string
  readonly ohm: number
}

/** The bench's meter for volts that is taken in the hand, else any; a modern one of 10 MΩ where it names none. */
export function nodeMeter(bench: Bench): NodeMeter {
  const all = Object.entries(bench.meters).filter(([, { measures }]) => measures === 'V')
  const [name, meter] = all.find(([, { line, at }]) => line === null && at === null) ?? all[0] ?? []
  return name === undefined || meter === undefined
    ? { name: 'a 10 MΩ meter', ohm: 10e6 }
    : { name, ohm: meter.ohm }
}

/**
 * A chart's reading as another meter would read it: both load the node, each by its own resistance. As the chart has it
 * where nothing says what the node's own resistance is.
 */
export function asRead_V(equipment: Equipment, line: ChartVolts, meter: NodeMeter): number {
  const ohm = nodeOhm(equipment, line)
  return ohm === null ? line.volts : (line.volts * (1 + ohm / line.meter_ohm)) / (1 + ohm / meter.ohm)
}

/**
 * Volts at the charts' nodes with the rails at these set-points, as `meter` reads them. A rail's own node stands at its
 * set-point, a cathode follows its tube's current (V^1.4, as the rail's), all else falls with the rail. Nodes of rails that
 * are down are left out.
 */
export function chartNodes(
  equipment: Equipment,
  mode: ModeName,
  volts: SetPoints,
  meter: NodeMeter,
): Record<NodeName, number> {
  const nodes: Record<NodeName, number> = {}
  for (const line of linesIn(equipment, mode)) {
    const rail = railOfLine(equipment, line)
    const V = rail === null ? 0 : (volts[rail] ?? 0)
    const at = rail === null ? null : takenAt(equipment, rail, mode)
    if (!(V > 0) || at === null) continue
    const ratio = V / at.V
    const cathode = line.of?.electrode === 'cathode'
    nodes[line.node] = asRead_V(equipment, line, meter) * (cathode ? Math.exp(1.4 * Math.log(ratio)) : ratio)
  }
  return nodes
}

/** Old carbon composition drifts high by 10 to 50 % (physics.md section 3): room above what a chart allows. */
const drift = 0.1
/** Test leads and contacts, where a chart says 0 Ω. */
const leads_ohm = 1

/** A cold reading that the chart leads to expect, and what a healthy set stays between. */
export interface ColdReading {
  readonly node: NodeName
  readonly to: NodeName
  readonly ohm: number
  readonly low_ohm: number
  readonly high_ohm: number
  readonly source: string
}

/** What an ohmmeter should read, set off, in the mode's control positions. */
export function coldReadings(equipment: Equipment, mode: ModeName): ColdReading[] {
  return ohmsIn(equipment, mode).map((line) => coldReading(equipment, line))
}

function coldReading({ charts }: Equipment, { node, to, ohm, source }: ChartOhms): ColdReading {
  return {
    node,
    to,
    ohm,
    low_ohm: ohm * (1 - charts.within),
    high_ohm: ohm * (1 + charts.within + drift) + leads_ohm,
    source,
  }
}

/** The resistance chart's own reading across a rail, both ways written; null where it has none. */
export function railOhm(equipment: Equipment, name: string, mode: ModeName): ColdReading | null {
  const rail = equipment.rails[name]
  if (rail === undefined) return null
  const ends = [rail.positive, rail.negative]
  const line = ohmsIn(equipment, mode).find(
    ({ node, to }) => node !== to && ends.includes(node) && ends.includes(to),
  )
  return line === undefined || !(line.ohm > 0) ? null : coldReading(equipment, line)
}
