import type { Bench } from '../bench/index.js'
import { type Equipment, type ModeName, type RailName, unchartedSections } from '../equipment/index.js'
import {
  asRead_V,
  chartCurrents,
  coldReadings,
  type Lack,
  lackingOf,
  type LimitProblem,
  linesIn,
  networkOhms,
  networkReadings,
  nodeMeter,
  nodeOhm,
  show,
} from '../limits/index.js'
import { isHot } from './stages.js'
import type { ChartCold, ChartNode, ChartRail, PlanCharts, Step } from './types.js'

/** Modes in which the steps raise something that the charts could speak of, with the rails that they raise. */
function raised(equipment: Equipment, steps: readonly Step[]): ReadonlyMap<ModeName, ReadonlySet<RailName>> {
  const found = new Map<ModeName, Set<RailName>>()
  for (const { mode, rail, do: does } of steps)
    if (does === 'raise' && rail !== null && equipment.rails[rail]?.role !== 'heater')
      found.set(mode, (found.get(mode) ?? new Set()).add(rail))
  return found
}

/**
 * What the handbook's charts add to a plan, and where they and the set's circuit disagree: both are told, none is taken for
 * the truth. Null where the file has no charts.
 */
export function planCharts(
  equipment: Equipment,
  bench: Bench,
  steps: readonly Step[],
): { readonly charts: PlanCharts | null; readonly problems: readonly LimitProblem[] } {
  const { charts } = equipment
  if (charts.voltages.length + charts.resistances.length === 0) return { charts: null, problems: [] }
  const modes = raised(equipment, steps)
  const meter = nodeMeter(bench)
  const of = [...modes.keys()]
  const nodes = of.flatMap((mode) => nodesOf(equipment, bench, mode))
  const cold = distinctCold(of.flatMap((mode) => coldOf(equipment, mode)))
  const rails = [...modes].flatMap(([mode, names]) =>
    [...names].flatMap((name) => railOf(equipment, name, mode) ?? []),
  )
  const made: PlanCharts = {
    meter: meter.name,
    meter_ohm: meter.ohm,
    within: charts.within,
    nodes,
    cold,
    rails,
    judges: judgesWords(equipment, nodes, cold, rails),
  }
  return { charts: made, problems: disagreements(equipment, made) }
}

function nodesOf(equipment: Equipment, bench: Bench, mode: ModeName): ChartNode[] {
  const meter = nodeMeter(bench)
  const readings = equipment.level === 3 ? networkReadings(equipment, mode) : []
  // A supply stands behind a rail's own node: no meter loads it.
  const stiff = new Set(
    Object.values(equipment.rails).flatMap(({ positive, negative }) => [positive, negative]),
  )
  // What only stands in for a tube without curves is not held against a chart.
  const untold = new Set(
    unchartedSections(equipment).flatMap(({ plate, screen, cathode }) => [plate, screen ?? plate, cathode]),
  )
  return linesIn(equipment, mode).map((line) => {
    const solved = untold.has(line.node) ? undefined : readings.find((each) => each.line.node === line.node)
    const network_V = solved?.metered_V ?? null
    const says = `chart says ${show(line.volts, 'V')} at ${line.node} with ${line.meter}${line.range_taken ? ' (its range is not stated: the lowest usual one)' : ''}`
    const circuit =
      network_V === null
        ? ''
        : `; the circuit with that meter gives ${show(network_V, 'V')}${apart(solved?.apart ?? null)}`
    return {
      mode,
      node: line.node,
      chart_V: line.volts,
      chart_meter: line.meter,
      chart_meter_ohm: line.meter_ohm,
      reads_V:
        equipment.level === 3
          ? (loaded(solved?.open_V, network_V, line.meter_ohm, meter.ohm) ?? line.volts)
          : asRead_V(equipment, line, meter),
      /** Without a resistance at the node the chart's reading is handed on as it is. */
      corrected:
        equipment.level === 3
          ? network_V !== null
          : stiff.has(line.node) || nodeOhm(equipment, line) !== null,
      network_V,
      network_open_V: solved?.open_V ?? null,
      apart: solved?.apart ?? null,
      agrees: network_V === null ? null : (solved?.agrees ?? null),
      text: `${says}${circuit}`,
      source: line.source,
    }
  })
}

/** What another meter reads where the open volts and those under one meter are known (Thévenin). */
function loaded(
  open_V: number | null | undefined,
  under_V: number | null,
  under_ohm: number,
  ohm: number,
): number | null {
  if (open_V === null || open_V === undefined || under_V === null) return null
  if (Math.abs(under_V) < 1e-6) return open_V
  const own_ohm = Math.max(0, under_ohm * (open_V / under_V - 1))
  return open_V / (1 + own_ohm / ohm)
}

const apart = (part: number | null): string =>
  part === null ? '' : `: ${Math.abs(100 * part).toFixed(0)} % apart`

function coldOf(equipment: Equipment, mode: ModeName): ChartCold[] {
  const ohms = equipment.level === 3 ? networkOhms(equipment, mode) : []
  return coldReadings(equipment, mode).map((reading, i) => {
    const network_ohm = ohms[i] ?? null
    const agrees =
      equipment.level === 3
        ? network_ohm !== null && network_ohm >= reading.low_ohm && network_ohm <= reading.high_ohm
        : null
    const circuit =
      equipment.level < 3
        ? ''
        : network_ohm === null
          ? '; by the circuit nothing conducts there'
          : `; the circuit gives ${show(network_ohm, 'Ω')}`
    return {
      ...reading,
      mode,
      network_ohm,
      agrees,
      text: `chart says ${show(reading.ohm, 'Ω')} from ${reading.node} to ${reading.to}; healthy between ${show(reading.low_ohm, 'Ω')} and ${show(reading.high_ohm, 'Ω')}${circuit}`,
    }
  })
}

/** A line that holds in every mode stands once. */
function distinctCold(all: readonly ChartCold[]): ChartCold[] {
  const kept = new Map<string, ChartCold>()
  for (const each of all) {
    const key = JSON.stringify([each.node, each.to, each.ohm, each.network_ohm?.toPrecision(4)])
    if (!kept.has(key)) kept.set(key, each)
  }
  return [...kept.values()]
}

function railOf(equipment: Equipment, name: RailName, mode: ModeName): ChartRail | null {
  const currents = chartCurrents(equipment, name, mode)
  if (currents === null) return null
  const chart_A = currents.shares.reduce((sum, { A }) => sum + A, 0)
  const total = equipment.rails[name]?.totals[mode]
  const known = currents.shares.filter(({ by }) => by !== 'type').map(({ part }) => part)
  const by_type = currents.shares.filter(({ by }) => by === 'type').map(({ part }) => part)
  // A total taken at other rail volts is not held against the chart's sum: two laws would then be compared, not two figures.
  const near = total !== undefined && Math.abs(total.at_V / currents.at_V - 1) < 0.1
  const between = near ? chart_A / ((total.current_A * currents.at_V) / total.at_V) - 1 : null
  const agrees = between === null ? null : Math.abs(between) <= equipment.charts.within
  const types = by_type.length === 0 ? '' : `, ${by_type.join(', ')} by type alone`
  const beside =
    total === undefined
      ? ''
      : `; its total says ${show(total.current_A, 'A')} at ${show(total.at_V, 'V')}${apart(between)}`
  return {
    rail: name,
    mode,
    at_V: currents.at_V,
    chart_A,
    total_A: total?.current_A ?? null,
    apart: between,
    agrees,
    shares: currents.shares.map(({ part, A, how, by }) => ({ part, A, how, by })),
    text: `the chart's currents of ${name} in ${mode} add up to ${show(chart_A, 'A')} at ${show(currents.at_V, 'V')} (${known.join(', ')}${types})${beside}`,
    source: currents.sources.join('; '),
  }
}

/** What a plan of a level-2 file can judge that one of level 1 cannot. */
function judgesWords(
  equipment: Equipment,
  nodes: readonly ChartNode[],
  cold: readonly ChartCold[],
  rails: readonly ChartRail[],
): string[] {
  const words: string[] = []
  for (const { rail, mode, shares } of rails) {
    const tubes = shares.filter(({ by }) => by === 'chart').map(({ part, A }) => `${part} ${show(A, 'A')}`)
    words.push(`${rail} in ${mode} by what each tube draws: ${tubes.join(', ')}.`)
  }
  if (nodes.length > 0)
    words.push(
      `Volts at ${nodes.length} ${nodes.length === 1 ? 'node' : 'nodes'} at every step, as your own meter reads them.`,
    )
  if (cold.length > 0)
    words.push(
      `${cold.length} cold ${cold.length === 1 ? 'resistance' : 'resistances'} by ohmmeter, before any power.`,
    )
  return equipment.level === 2 ? words : []
}

function disagreements(equipment: Equipment, { nodes, cold, rails, within }: PlanCharts): LimitProblem[] {
  const per_cent = `${(100 * within).toFixed(0)} %`
  const nodesOff = nodes.filter(({ agrees }) => agrees === false)
  const coldOff = cold.filter(({ agrees }) => agrees === false)
  const made: LimitProblem[] = []
  if (nodesOff.length > 0)
    made.push({
      severity: 'warning',
      what: `Handbook chart and circuit disagree at ${nodesOff.length} of ${nodes.length} nodes by more than ${per_cent}: ${nodesOff.map(({ text }) => text).join('. ')}.`,
      remedy: 'Look at the part there: another value than the handbook had, or a slip in one of the two.',
    })
  if (coldOff.length > 0)
    made.push({
      severity: 'warning',
      what: `Resistance chart and circuit disagree at ${coldOff.length} of ${cold.length} readings: ${coldOff.map(({ text }) => text).join('. ')}.`,
      remedy: 'Correct the chart or the circuit in the file, or find the part that differs.',
    })
  for (const { agrees, text } of rails)
    if (agrees === false)
      made.push({
        severity: 'warning',
        what: `${text.charAt(0).toUpperCase()}${text.slice(1)}, more than ${per_cent}.`,
        remedy: `A tube, a bleeder or a divider may be missing from the chart, or the total was taken otherwise; limits are by the chart where it tells every tube.`,
      })
  return made
}

/** What the limits of the rails that a plan raises had to do without, with what to add to the file; the same once. */
export function planLacks(
  equipment: Equipment,
  steps: readonly Step[],
): (Lack & { readonly rail: RailName })[] {
  const kept = new Map<string, Lack & { readonly rail: RailName }>()
  for (const [mode, names] of raised(equipment, steps))
    for (const name of names)
      if (isHot(equipment, name))
        for (const lack of lackingOf(equipment, name, mode)) kept.set(lack.lacks, { rail: name, ...lack })
  return [...kept.values()]
}
