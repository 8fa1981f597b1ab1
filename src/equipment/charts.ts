import type * as z from 'zod'
import { formatQuantity, nearest, own, type Path, type Report } from '../quantities/index.js'
import type { chartsShape } from './chart-shape.js'
import type { Known } from './known.js'
import { did, nodesOf, unknown } from './meaning.js'
import type { ChartVolts, Charts, Electrode, Equipment, NodeName, Tube } from './types.js'

type Written = z.output<typeof chartsShape>
type Line = Written['voltages'][number]

/** Ranges of ordinary meters of the time, volts: which of them a chart's reading was taken on where it does not say so. */
const usualRanges_V = [2.5, 10, 50, 250, 500, 1000, 2500, 5000]
/** How far handbooks let a reading be off their chart (common practice, no source). */
const usual = 0.2

/** Charts with every line whole: what the chart says once is in each of its lines. */
export function toCharts(
  written: Written | undefined,
  tubes: Readonly<Record<string, Tube>>,
  chassis: NodeName,
  report: Report,
): Charts {
  if (written === undefined) return { within: usual, voltages: [], resistances: [] }
  const sourceOf = (line: { readonly source?: string | undefined }, path: Path): string => {
    const source = line.source ?? written.source
    if (source === undefined)
      report.error(
        path,
        'this line of a chart has no source',
        'write source: at the line, or once for all of them under charts',
      )
    return source ?? ''
  }
  return {
    within: written.within ?? usual,
    voltages: written.voltages.flatMap((line, i) => {
      const path: Path = ['charts', 'voltages', i]
      const meter = meterOf(written, line, path, report)
      const source = sourceOf(line, path)
      if (meter === null) return []
      return [
        {
          node: line.node,
          mode: line.mode,
          volts: line.volts,
          ...meter,
          of: electrodeOf(tubes, line.is ?? line.node),
          through:
            line.through === undefined ? null : { ohm: line.through.ohm, to: line.through.to ?? chassis },
          rail: line.rail ?? null,
          controls: line.controls ?? {},
          source,
        },
      ]
    }),
    resistances: written.resistances.map((line, i) => ({
      node: line.node,
      to: line.to ?? chassis,
      mode: line.mode ?? null,
      ohm: line.ohm,
      of: electrodeAt(tubes, line, ['charts', 'resistances', i], report),
      source: sourceOf(line, ['charts', 'resistances', i]),
    })),
  }
}

/** The meter a reading was taken with; told and null where the chart does not name one: without it the volts say little. */
function meterOf(
  charts: Written,
  line: Line,
  path: Path,
  report: Report,
): Pick<ChartVolts, 'meter_ohm' | 'range_V' | 'meter' | 'range_taken'> | null {
  const fixed =
    line.ohms_per_volt === undefined ? (line.meter_resistance ?? charts.meter_resistance) : undefined
  if (fixed !== undefined)
    return {
      meter_ohm: fixed,
      range_V: null,
      meter: `a ${formatQuantity(fixed, 'Ω')} meter`,
      range_taken: false,
    }
  const perVolt = line.ohms_per_volt ?? charts.ohms_per_volt
  if (perVolt === undefined) {
    report.error(
      path,
      `the reading at ${line.node} does not say what meter it was taken with`,
      'write ohms_per_volt: 1000 Ω and its ranges: [10 V, 50 V, 250 V] once under charts, or at the line with its range:; for a valve voltmeter meter_resistance: 11 MΩ',
    )
    return null
  }
  const volts = Math.abs(line.volts)
  const ranges = [...(charts.ranges ?? usualRanges_V)].sort((a, b) => a - b)
  const range = line.range ?? ranges.find((each) => each >= volts)
  if (range === undefined || range < volts) {
    report.error(
      path,
      `${formatQuantity(line.volts, 'V')} at ${line.node} is more than ${range === undefined ? 'any range' : 'the range'} of its meter`,
      'correct the reading, or the range',
    )
    return null
  }
  const range_taken = line.range === undefined && charts.ranges === undefined
  return {
    meter_ohm: perVolt * range,
    range_V: range,
    // Ohms per volt are spoken of in whole ohms: 1000, 20000.
    meter: `a ${perVolt} Ω/V meter on ${formatQuantity(range, 'V')}`,
    range_taken,
  }
}

const electrodes: Readonly<Record<string, Electrode>> = {
  plate: 'plate',
  anode: 'plate',
  screen: 'screen',
  grid: 'grid',
  cathode: 'cathode',
  filament: 'cathode',
}

/** `V4 cathode`, `V7 plate 2`: the electrode that a name or the set's circuit gives to a node; null where neither does. */
function electrodeOf(tubes: Readonly<Record<string, Tube>>, words: string): ChartVolts['of'] {
  const named = /^(.+?) (plate|anode|screen|grid|cathode|filament)(?: (\d))?$/i.exec(words)
  const [, name, electrode, section] = named ?? []
  const is = electrodes[electrode?.toLowerCase() ?? '']
  const tube = Object.keys(tubes).find((each) => each.toLowerCase() === name?.toLowerCase())
  if (is === undefined || tube === undefined) return null
  return { tube, electrode: is, section: Math.max(0, Number(section ?? 1) - 1) }
}

function electrodeAt(
  tubes: Readonly<Record<string, Tube>>,
  { node, is }: { readonly node: NodeName; readonly is?: string | undefined },
  path: Path,
  report: Report,
): ChartVolts['of'] {
  const found = electrodeOf(tubes, is ?? node)
  if (is !== undefined && found === null)
    report.error(
      [...path, 'is'],
      `'${is}' names no electrode of a tube of this file`,
      'write a tube and plate, screen, grid or cathode, such as V4 cathode; of a tube with two sections V7 plate 2',
    )
  return found
}

/** Whether the charts' names are names of the file, and their currents can be told. */
export function checkCharts(equipment: Equipment, known: Known, report: Report): void {
  const { voltages, resistances } = equipment.charts
  const all = equipment.level === 3 ? nodesOf(equipment) : null
  const inMode = (path: Path, mode: string): void => {
    if (!Object.hasOwn(equipment.modes, mode))
      unknown([...path, 'mode'], 'mode', mode, equipment.modes, known.has('modes', mode), report)
  }
  const isNode = (path: Path, node: NodeName): void => {
    if (all !== null && !all.has(node) && !known.anyBroken('parts', 'tubes', 'rails'))
      report.error(path, `'${node}' is no node of the network`, did(nearest(node, all)))
  }
  const seen = new Set<string>()
  voltages.forEach((line, i) => {
    const path: Path = ['charts', 'voltages', i]
    inMode(path, line.mode)
    isNode([...path, 'node'], line.node)
    const key = JSON.stringify([line.node, line.mode, line.meter_ohm, line.controls])
    if (seen.has(key))
      report.error(
        [...path, 'node'],
        `the chart says twice what ${line.node} reads in ${line.mode} by the same meter`,
        'leave out one of the two',
      )
    seen.add(key)
    if (line.rail !== null && !Object.hasOwn(equipment.rails, line.rail))
      unknown([...path, 'rail'], 'rail', line.rail, equipment.rails, known.has('rails', line.rail), report)
    const otherwise = otherControls(equipment, line)
    if (otherwise !== null)
      report.warn(
        path,
        `the reading at ${line.node} was taken with ${otherwise.control} at ${otherwise.taken}, and mode ${line.mode} sets it to ${otherwise.set}: it judges nothing`,
        `give that position a mode of its own, or set it in ${line.mode}`,
      )
    if (line.through !== null) checkThrough(equipment, line, [...path, 'through'], isNode, report)
  })
  resistances.forEach((line, i) => {
    const path: Path = ['charts', 'resistances', i]
    if (line.mode !== null) inMode(path, line.mode)
    isNode([...path, 'node'], line.node)
    isNode([...path, 'to'], line.to)
    if (line.to === line.node)
      report.error([...path, 'to'], `both ends of this reading are ${line.node}`, 'name two different nodes')
  })
}

/** The first control that a line was taken at in another position than its mode sets; null where there is none. */
export function otherControls(
  { modes }: Equipment,
  { mode, controls }: Pick<ChartVolts, 'mode' | 'controls'>,
): { readonly control: string; readonly taken: string; readonly set: string } | null {
  const sets = own(modes, mode)?.controls ?? {}
  for (const [control, taken] of Object.entries(controls)) {
    const set = own(sets, control)
    if (set !== taken) return { control, taken, set: set ?? 'no stated position' }
  }
  return null
}

function checkThrough(
  equipment: Equipment,
  line: ChartVolts,
  path: Path,
  isNode: (path: Path, node: NodeName) => void,
  report: Report,
): void {
  const to = line.through?.to ?? equipment.chassis_node
  isNode([...path, 'to'], to)
  const isKnown =
    to === equipment.chassis_node ||
    Object.values(equipment.rails).some(({ positive, negative }) => to === positive || to === negative) ||
    equipment.charts.voltages.some((other) => other.node === to && other.mode === line.mode)
  if (!isKnown)
    report.error(
      [...path, 'to'],
      `the chart does not say what stands at ${to} in ${line.mode}, so the resistor from ${line.node} tells no current`,
      `add a line for ${to}, or write the node of a rail`,
    )
}
