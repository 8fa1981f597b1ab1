import {
  type ChartOhms,
  type ChartVolts,
  type Electrode,
  type Equipment,
  type ModeName,
  type NodeName,
  otherControls,
  type RailName,
  recordOf,
} from '../equipment/index.js'
import type { OperatingPoint } from '../tubes/index.js'
import { parallel_ohm } from './discharge.js'

/* What a single line of a handbook's chart says. */

/** Lines of the voltage chart that hold in this mode, the first of each node. */
export function linesIn(equipment: Equipment, mode: ModeName): ChartVolts[] {
  const byNode = new Map<NodeName, ChartVolts>()
  for (const line of equipment.charts.voltages)
    if (line.mode === mode && otherControls(equipment, line) === null && !byNode.has(line.node))
      byNode.set(line.node, line)
  return [...byNode.values()]
}

/** Lines of the resistance chart that hold in this mode. */
export function ohmsIn(equipment: Equipment, mode: ModeName): ChartOhms[] {
  return equipment.charts.resistances.filter((line) => line.mode === null || line.mode === mode)
}

/** Rail volts that the chart of a mode was taken at, and how that is known. */
export function takenAt(
  equipment: Equipment,
  name: RailName,
  mode: ModeName,
): { readonly V: number; readonly how: string } | null {
  const rail = equipment.rails[name]
  if (rail === undefined) return null
  const driven = rail.polarity === 'negative' ? rail.negative : rail.positive
  const line = linesIn(equipment, mode).find(({ node }) => node === driven)
  if (line !== undefined && line.volts !== 0) return { V: Math.abs(line.volts), how: `the chart's ${driven}` }
  const total = rail.totals[mode]
  if (total !== undefined) return { V: total.at_V, how: "its total's rail volts" }
  return { V: rail.working_V, how: "the rail's working volts: the chart does not give them" }
}

/** The rail whose volts move a node: as the line says, its own tube's, the bias rail for a grid, else the only HT rail. */
export function railOfLine(equipment: Equipment, line: ChartVolts): RailName | null {
  if (line.rail !== null) return line.rail
  const rails = Object.entries(equipment.rails)
  const own = rails.find(
    ([, { positive, negative }]) =>
      line.node !== equipment.chassis_node && (line.node === positive || line.node === negative),
  )
  if (own !== undefined) return own[0]
  const bias = rails.filter(([, { role }]) => role === 'bias')
  if (line.volts < 0 && bias.length === 1) return bias[0]?.[0] ?? null
  const tube = line.of === null ? undefined : equipment.tubes[line.of.tube]
  if (tube?.rail !== undefined) return tube.rail
  const high = rails.filter(([, { role }]) => role === 'HT')
  return high.length === 1 ? (high[0]?.[0] ?? null) : null
}

/** Volts of a node against chassis when the chart was taken; null where the chart does not tell. */
export function chartVolts(equipment: Equipment, node: NodeName, mode: ModeName): number | null {
  if (node === equipment.chassis_node) return 0
  const line = linesIn(equipment, mode).find((each) => each.node === node)
  if (line !== undefined) return line.volts
  for (const [name, { positive, negative }] of Object.entries(equipment.rails)) {
    const V = takenAt(equipment, name, mode)?.V
    if (V === undefined) continue
    if (node === positive && negative === equipment.chassis_node) return V
    if (node === negative && positive === equipment.chassis_node) return -V
  }
  return null
}

/** The resistor at a line's node: as the line says, or for a cathode what the resistance chart reads there to chassis. */
export function resistorAt(
  equipment: Equipment,
  line: ChartVolts,
): { readonly ohm: number; readonly to: NodeName; readonly by_ohmmeter: boolean } | null {
  if (line.through !== null) return { ...line.through, by_ohmmeter: false }
  if (line.of?.electrode !== 'cathode') return null
  const read = ohmsIn(equipment, line.mode).find(
    ({ node, to, ohm }) => node === line.node && to === equipment.chassis_node && ohm > 0,
  )
  return read === undefined ? null : { ohm: read.ohm, to: read.to, by_ohmmeter: true }
}

/** What flows through the resistor at a node by its chart, towards its other end, amps; the meter's own share is counted. */
export function currentThrough(equipment: Equipment, line: ChartVolts): number | null {
  const resistor = resistorAt(equipment, line)
  if (resistor === null) return null
  const other_V = chartVolts(equipment, resistor.to, line.mode)
  return other_V === null ? null : (line.volts - other_V) / resistor.ohm
}

/** The published point of a tube's section nearest to some plate volts that has what is asked for. */
export function nearestPoint(
  equipment: Equipment,
  of: NonNullable<ChartVolts['of']>,
  volts: number,
  has: (point: OperatingPoint) => boolean,
): OperatingPoint | null {
  const tube = equipment.tubes[of.tube]
  const record = tube === undefined ? null : recordOf(tube)
  const points = record?.points ?? []
  // Equal sections share the points of the first; a system of its own has its own.
  const own = points.some(({ section }) => section === of.section) ? of.section : 0
  const fits = points.filter((point) => point.doubtful === null && point.section === own && has(point))
  return fits.reduce<OperatingPoint | null>(
    (best, point) =>
      best === null || Math.abs(point.plate_V - volts) < Math.abs(best.plate_V - volts) ? point : best,
    null,
  )
}

/**
 * Resistance a meter sees at a node, ohm: the resistor there beside the tube's own, which its cathode resistor raises
 * (small-signal theory: rp + (1 + mu)·Rk at a plate, (rp + Rload) / (1 + mu) at a cathode; a screen after the 3/2 law,
 * V / 1.5 I, times 1 + gm·Rk). Null where the chart names no resistor that feeds the node: then nothing says how far a meter
 * loads it.
 */
export function nodeOhm(equipment: Equipment, line: ChartVolts): number | null {
  const { of } = line
  const resistor = resistorAt(equipment, line)
  if (resistor === null || of === null) return null
  const sibling = (electrode: Electrode): number => {
    const other = linesIn(equipment, line.mode).find(
      (each) =>
        each.of?.tube === of.tube && each.of.section === of.section && each.of.electrode === electrode,
    )
    return other === undefined ? 0 : (resistorAt(equipment, other)?.ohm ?? 0)
  }
  const point = nearestPoint(equipment, of, line.volts, ({ gm_S }) => gm_S !== null && gm_S > 0)
  const gm = point?.gm_S ?? null
  const rp = point?.rp_ohm ?? null
  const mu = point?.mu ?? (gm === null || rp === null ? null : gm * rp)
  switch (of.electrode) {
    case 'plate':
      return parallel_ohm([
        resistor.ohm,
        rp === null || mu === null ? null : rp + (1 + mu) * sibling('cathode'),
      ])
    case 'cathode': {
      const own =
        rp !== null && mu !== null ? (rp + sibling('plate')) / (1 + mu) : gm === null ? null : 1 / gm
      return parallel_ohm([resistor.ohm, own])
    }
    case 'screen': {
      const A = Math.abs(currentThrough(equipment, line) ?? 0)
      const raised = 1 + (gm ?? 0) * sibling('cathode')
      return parallel_ohm([resistor.ohm, A > 0 ? (raised * Math.abs(line.volts)) / (1.5 * A) : null])
    }
    case 'grid':
      return resistor.ohm
  }
}
