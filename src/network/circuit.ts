import { layPattern, type Pattern } from './sparse.js'
import type { Element, Network } from './types.js'

/** No path is better than this many ohms; keeps contacts, leads and bonds apart from one another. Our choice. */
export const smallest_ohm = 1e-3

export type TwoTerminal = Exclude<Element, { kind: 'triode' | 'screen tube' }>
export type Valve = Extract<Element, { kind: 'triode' | 'screen tube' }>

/** Whether a supply holds its volts, holds its current limit, or is pushed above its volts and gives nothing. */
export const holding = 0
export const limited = 1
export const open = 2

/** Plate, screen, grid, cathode of a valve, in this order everywhere. */
export const electrodes = 4

/** A network laid out in typed arrays; the topology is fixed, the values of its elements may change. */
export interface Circuit {
  readonly ground: string
  readonly nodes: readonly string[]
  /** Numbers of the nodes by name; the ground has none. */
  readonly numbers: ReadonlyMap<string, number>
  readonly pattern: Pattern
  readonly branches: TwoTerminal[]
  /** Ends of each branch; ground is `nodes.length`. */
  readonly a: Int32Array
  readonly b: Int32Array
  readonly place_aa: Int32Array
  readonly place_ab: Int32Array
  readonly place_ba: Int32Array
  readonly place_bb: Int32Array
  /** Each branch as I = g·(Va − Vb) + j, as last linearised. */
  readonly g: Float64Array
  readonly j: Float64Array
  /** Volts at which a branch or a valve electrode (against its cathode) was last evaluated. */
  readonly branch_V: Float64Array
  readonly supplyState: Uint8Array
  readonly valves: Valve[]
  readonly valveNode: Int32Array
  readonly valvePlace: Int32Array
  readonly valve_V: Float64Array
  /** Positions in `branches` whose current is not a straight line through its volts. */
  bent: Int32Array
  supplies: Int32Array
  /** All others: what they conduct does not change from pass to pass. */
  straight: Int32Array
  readonly where: ReadonlyMap<string, { readonly valve: boolean; readonly at: number }>
  /** Nodes by number that have no path to ground for direct current, and a word on them. */
  floating: Int32Array
  trouble: string | null
}

export function isValve(element: Element): element is Valve {
  return element.kind === 'triode' || element.kind === 'screen tube'
}

/** Whether its current is no straight line through its volts (a supply is one, in each of its states). */
export function isCurved(branch: TwoTerminal): boolean {
  return (
    branch.kind === 'junction' ||
    branch.kind === 'diode tube' ||
    branch.kind === 'heater' ||
    branch.kind === 'regulator'
  )
}

export function endsOf(element: TwoTerminal): readonly [string, string] {
  return element.kind === 'diode tube' ? [element.plate, element.cathode] : [element.a, element.b]
}

/** Plate, screen, grid, cathode; a triode has no screen. */
function electrodeNodes(valve: Valve): readonly [string, string | null, string, string] {
  return [valve.plate, valve.kind === 'triode' ? null : valve.screen, valve.grid, valve.cathode]
}

/** Numbers nodes, lays the pattern and the elimination order. */
export function layOut(network: Network): Circuit {
  const branches: TwoTerminal[] = []
  const valves: Valve[] = []
  const where = new Map<string, { valve: boolean; at: number }>()
  const numbers = new Map<string, number>()
  const nodes: string[] = []
  let twice: string | null = null
  const see = (node: string): void => {
    if (node === network.ground || numbers.has(node)) return
    numbers.set(node, nodes.length)
    nodes.push(node)
  }
  for (const element of network.elements) {
    if (where.has(element.name)) twice = element.name
    if (isValve(element)) {
      where.set(element.name, { valve: true, at: valves.length })
      valves.push(element)
      for (const node of electrodeNodes(element)) if (node !== null) see(node)
    } else {
      where.set(element.name, { valve: false, at: branches.length })
      branches.push(element)
      endsOf(element).forEach(see)
    }
  }
  const n = nodes.length
  const number = (node: string | null): number => (node === null ? n : (numbers.get(node) ?? n))
  const a = Int32Array.from(branches, (branch) => number(endsOf(branch)[0]))
  const b = Int32Array.from(branches, (branch) => number(endsOf(branch)[1]))
  const valveNode = Int32Array.from(valves.flatMap((valve) => electrodeNodes(valve).map(number)))
  const pairs: [number, number][] = branches.map((_, i) => [a[i] ?? n, b[i] ?? n])
  for (let t = 0; t < valves.length; t++) {
    const own = valveNode.subarray(t * electrodes, (t + 1) * electrodes)
    for (const i of own) for (const k of own) pairs.push([i, k])
  }
  const pattern = layPattern(n, pairs)
  const places = (rows: Int32Array, columns: Int32Array): Int32Array =>
    Int32Array.from(rows, (row, i) => pattern.place(row, columns[i] ?? n))
  const valvePlace = new Int32Array(valves.length * electrodes * electrodes)
  for (let t = 0; t < valves.length; t++) {
    for (let r = 0; r < electrodes; r++) {
      for (let c = 0; c < electrodes; c++) {
        valvePlace[(t * electrodes + r) * electrodes + c] = pattern.place(
          valveNode[t * electrodes + r] ?? n,
          valveNode[t * electrodes + c] ?? n,
        )
      }
    }
  }
  const circuit: Circuit = {
    ground: network.ground,
    nodes,
    numbers,
    pattern,
    branches,
    a,
    b,
    place_aa: places(a, a),
    place_ab: places(a, b),
    place_ba: places(b, a),
    place_bb: places(b, b),
    g: new Float64Array(branches.length),
    j: new Float64Array(branches.length),
    branch_V: new Float64Array(branches.length),
    supplyState: new Uint8Array(branches.length),
    valves,
    valveNode,
    valvePlace,
    valve_V: new Float64Array(valves.length * electrodes),
    bent: new Int32Array(0),
    supplies: new Int32Array(0),
    straight: new Int32Array(0),
    where,
    floating: new Int32Array(0),
    trouble: twice === null ? null : `two elements are named ${twice}: give each its own name`,
  }
  sortBranches(circuit)
  return circuit
}

/** Which branches are curved and which are supplies: asked again when an element changes its kind. */
function sortBranches(circuit: Circuit): void {
  const pick = (wanted: (branch: TwoTerminal) => boolean): Int32Array => {
    const found: number[] = []
    for (const [i, branch] of circuit.branches.entries()) if (wanted(branch)) found.push(i)
    return Int32Array.from(found)
  }
  circuit.bent = pick(isCurved)
  circuit.supplies = pick((branch) => branch.kind === 'supply')
  circuit.straight = pick((branch) => branch.kind !== 'supply' && !isCurved(branch))
}

/**
 * Puts changed elements in the place of those of the same name and the same terminals. A two-terminal element may
 * become another kind (a capacitor shorted becomes a resistor). `trouble` says for people what could not be placed;
 * `reshaped` that an element changed its kind or whether it conducts at all.
 */
export function putElements(
  circuit: Circuit,
  changed: readonly Element[],
): { readonly trouble: string | null; readonly reshaped: boolean } {
  let trouble: string | null = null
  let reshaped = false
  let rekinded = false
  for (const element of changed) {
    const place = circuit.where.get(element.name)
    if (place === undefined) {
      trouble = `${element.name} is not in this network: its change was left out`
    } else if (isValve(element)) {
      const old = circuit.valves[place.at]
      if (!place.valve || old === undefined || !sameNodes(electrodeNodes(old), electrodeNodes(element))) {
        trouble = `${element.name} is joined to other nodes than before: its change was left out`
      } else {
        reshaped ||= old.kind !== element.kind || old.emission > 0 !== element.emission > 0
        circuit.valves[place.at] = element
      }
    } else {
      const old = circuit.branches[place.at]
      if (place.valve || old === undefined || !sameNodes(endsOf(old), endsOf(element))) {
        trouble = `${element.name} is joined to other nodes than before: its change was left out`
      } else {
        rekinded ||= old.kind !== element.kind
        reshaped ||= rekinded || conducts(old, false) !== conducts(element, false)
        circuit.branches[place.at] = element
      }
    }
  }
  if (rekinded) sortBranches(circuit)
  return { trouble, reshaped }
}

function sameNodes(one: readonly (string | null)[], other: readonly (string | null)[]): boolean {
  return one.length === other.length && one.every((node, i) => node === other[i])
}

/** The first element whose values cannot be computed with (no number, or negative where that means nothing), in words. */
export function unusable(circuit: Circuit): string | null {
  const found =
    circuit.branches.find((branch) => !isUsable(branch)) ?? circuit.valves.find((of) => !isUsable(of))
  if (found === undefined) return null
  return `${found.name} has a value that is negative or no number: this solution does not count until it is put right`
}

/** Whether an element's values can be computed with. */
export function isUsable(element: Element): boolean {
  if (isValve(element))
    return element.emission >= 0 && element.emission < Infinity && Number.isFinite(element.gas)
  return usable(element)
}

function usable(branch: TwoTerminal): boolean {
  switch (branch.kind) {
    case 'resistor':
    case 'meter':
    case 'contact':
      return branch.ohm >= 0
    case 'capacitor':
      return branch.F >= 0 && branch.leak_S >= 0 && branch.series_ohm >= 0
    case 'inductor':
      return branch.H >= 0 && branch.ohm >= 0
    case 'supply':
      return Number.isFinite(branch.V) && branch.limit_A >= 0 && branch.ohm >= 0
    case 'diode tube':
      return branch.emission >= 0 && branch.emission < Infinity
    case 'heater':
      return branch.hot_V >= 0 && branch.hot_A >= 0 && Number.isFinite(branch.warmth)
    case 'junction':
    case 'regulator':
      return true
  }
}

/** Whether an element lets direct current through at all. */
function conducts(branch: TwoTerminal, capacitorsToo: boolean): boolean {
  switch (branch.kind) {
    case 'resistor':
    case 'meter':
      return Number.isFinite(branch.ohm)
    case 'contact':
      return branch.closed && Number.isFinite(branch.ohm)
    case 'capacitor':
      return capacitorsToo || branch.leak_S > 0
    case 'diode tube':
      return branch.emission > 0
    case 'inductor':
      return Number.isFinite(branch.ohm)
    case 'supply':
    case 'junction':
    case 'regulator':
    case 'heater':
      return true
  }
}

/** Finds the nodes that nothing joins to ground; grids do not count as a path. */
export function findFloating(circuit: Circuit, capacitorsToo: boolean): void {
  const n = circuit.nodes.length
  const parent = new Int32Array(n + 1)
  for (let i = 0; i <= n; i++) parent[i] = i
  const root = (start: number): number => {
    let i = start
    while (parent[i] !== i) {
      const up = parent[i] ?? i
      parent[i] = parent[up] ?? up
      i = parent[i] ?? i
    }
    return i
  }
  for (const [i, branch] of circuit.branches.entries()) {
    if (conducts(branch, capacitorsToo)) parent[root(circuit.a[i] ?? n)] = root(circuit.b[i] ?? n)
  }
  for (const [t, valve] of circuit.valves.entries()) {
    if (!(valve.emission > 0)) continue
    const cathode = circuit.valveNode[t * electrodes + 3] ?? n
    parent[root(circuit.valveNode[t * electrodes] ?? n)] = root(cathode)
    if (valve.kind === 'screen tube') {
      parent[root(circuit.valveNode[t * electrodes + 1] ?? n)] = root(cathode)
    }
  }
  const home = root(n)
  const floating: number[] = []
  for (let i = 0; i < n; i++) if (root(i) !== home) floating.push(i)
  circuit.floating = Int32Array.from(floating)
}
