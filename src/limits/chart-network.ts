import {
  type ChartVolts,
  type ClippedMeter,
  type Equipment,
  type Feed,
  type ModeName,
  type RailName,
  toNetwork,
} from '../equipment/index.js'
import {
  createSolver,
  type Element,
  regulatorsToChange,
  type Solution,
  type Solver,
} from '../network/index.js'
import { ohmsIn, linesIn, takenAt } from './chart-lines.js'

/* A handbook's charts against the set's own circuit: the chart's meter is solved as part of the network. */

/** Beside its chart's tolerance a reading is off by what its needle shows: 3 % of the range (common practice, no source). */
const needle = 0.03
/** A meter that is not clipped on. */
const away_ohm = 1e15

/** What the network gives where the chart has a reading. */
export interface NetworkReading {
  readonly line: ChartVolts
  /** With the chart's meter at the node, volts; null where the network did not solve. */
  readonly metered_V: number | null
  /** With no meter. */
  readonly open_V: number | null
  /** Of the chart's reading, with sign; null where either is none. */
  readonly apart: number | null
  readonly agrees: boolean
}

/** Every usable line of a mode's voltage chart, by the network at the chart's own rail volts. */
export function networkReadings(equipment: Equipment, mode: ModeName): NetworkReading[] {
  const lines = linesIn(equipment, mode)
  if (lines.length === 0) return []
  const feeds: Record<RailName, Feed> = {}
  for (const [name, { role }] of Object.entries(equipment.rails)) {
    const at = takenAt(equipment, name, mode)
    if (role !== 'heater' && at !== null) feeds[name] = { V: at.V, limit_A: 1e3, ohm: 1e-3 }
  }
  const meters: ClippedMeter[] = lines.map(({ node }, i) => ({
    name: `chart meter ${i}`,
    a: node,
    b: equipment.chassis_node,
    ohm: away_ohm,
  }))
  // Heaters would be dead weight; where a filament on direct current stands is counted all the same.
  const network = toNetwork(onItsOwn(equipment), mode, feeds, { meters, heaters: false })
  const solver = createSolver(network)
  const state = settled(solver, network.elements, [], undefined)
  const { within } = equipment.charts
  return lines.map((line, i) => {
    const meter = meters[i]
    if (meter === undefined || !state.solution.converged)
      return { line, metered_V: null, open_V: null, apart: null, agrees: true }
    const on: Element = { kind: 'meter', ...meter, ohm: line.meter_ohm }
    const loaded = settled(solver, state.elements, [on], state.solution)
    // The next line finds the set as it was: no meter on it, its gas tubes as they were.
    solver.solve([{ kind: 'meter', ...meter }, ...state.elements.filter(isRegulator)], state.solution.volts)
    const open_V = state.solution.volts[line.node] ?? 0
    const metered_V = loaded.solution.converged ? (loaded.solution.volts[line.node] ?? 0) : null
    const off_V = metered_V === null ? 0 : metered_V - line.volts
    const room_V = Math.max(within * Math.abs(line.volts), needle * (line.range_V ?? 0), 0.1)
    return {
      line,
      metered_V,
      open_V,
      apart: metered_V === null || line.volts === 0 ? null : off_V / Math.abs(line.volts),
      agrees: Math.abs(off_V) <= room_V,
    }
  })
}

/** The set as its handbook had it: no bench fuse, diode, resistor or bleeder in the feeds. */
function onItsOwn(equipment: Equipment): Equipment {
  const rails = Object.entries(equipment.rails).map(([name, rail]) => {
    const { positive_at, negative_at, lift, pull } = rail.feeds
    return [name, { ...rail, feeds: { positive_at, negative_at, lift, pull } }] as const
  })
  return { ...equipment, rails: Object.fromEntries(rails) }
}

function isRegulator(element: Element): element is Extract<Element, { readonly kind: 'regulator' }> {
  return element.kind === 'regulator'
}

/** Solves with some elements changed until every gas tube is lit or dark as its volts have it. */
function settled(
  solver: Solver,
  elements: readonly Element[],
  changed: readonly Element[],
  near: Solution | undefined,
): { readonly solution: Solution; readonly elements: readonly Element[] } {
  let solution = solver.solve([...changed], near?.volts)
  let now = elements
  for (let round = 0; round < 4; round++) {
    const turned = regulatorsToChange(now.filter(isRegulator), solution)
    if (turned.length === 0) break
    now = now.map((old) => turned.find(({ name }) => name === old.name) ?? old)
    solution = solver.solve(turned, solution.volts)
  }
  return { solution, elements: now }
}

/**
 * What an ohmmeter reads between two nodes of the cold set by its circuit, ohm: tubes cold, every supply off, capacitors
 * charged through. In the order of the mode's resistance chart; null where nothing conducts.
 */
export function networkOhms(equipment: Equipment, mode: ModeName): (number | null)[] {
  return ohmsIn(equipment, mode).map(({ node, to }) => {
    const network = toNetwork(
      { ...equipment, heater_chains: {} },
      mode,
      {},
      { emission: () => 0, lit: () => false },
    )
    // 0.2 V: below what makes a semiconductor diode conduct.
    const test = { V: 0.2, name: 'ohmmeter' } as const
    const meter: Element = {
      kind: 'supply',
      name: test.name,
      a: node,
      b: to,
      V: test.V,
      limit_A: 1e3,
      ohm: 1e-3,
    }
    const solution = createSolver({ ...network, elements: [...network.elements, meter] }).solve()
    const A = -(solution.currents[test.name]?.a ?? 0)
    return solution.converged && A > test.V / 1e9 ? test.V / A : null
  })
}
