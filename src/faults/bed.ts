import {
  type ClippedMeter,
  drivenStages,
  type Equipment,
  type Feed,
  type ModeName,
  type PartName,
  type RailName,
  toNetwork,
} from '../equipment/index.js'
import { heaterPoint, type RailBench } from '../limits/index.js'
import {
  createSolver,
  type Element,
  type Network,
  regulatorsToChange,
  type Solution,
  type Solved,
  type Volts,
} from '../network/index.js'
import { heatersWith } from './heaters.js'
import type { Change, Fault, Point, Shown } from './types.js'

/** Ohms of a path that is broken, and of a dead short inside a part (common practice, no source). */
export const broken_ohm = 1e10
export const shorted_ohm = 0.5
/** A pin in its socket, whole. */
const joint_ohm = 1e-2
/**
 * From a grid that hangs in the air to its cathode. It settles near it: what it catches charges it a volt or so down, what it emits and
 * gas lift it (from memory, no source). The cathode itself is taken, since a bias that no longer reaches the tube holds nothing back.
 */
export const afloat_ohm = 1e6
/** Below this part of its rated volts a heater gives no emission worth speaking of (our choice). */
const coldBelow = 0.6

/** Element between two electrodes that should not touch: it conducts only in a fault. */
export const link = (section: string, between: string): string => `${section} ${between}`
/** Element in the way to an electrode, so that it can be open. */
export const joint = (section: string, electrode: 'plate' | 'screen' | 'grid'): string =>
  `${section} ${electrode} pin`
/** Element between a potentiometer's wiper and what it is wired to. */
export const wiper = (part: string): string => `${part} wiper`

type Regulator = Extract<Element, { readonly kind: 'regulator' }>
type Supply = Extract<Element, { readonly kind: 'supply' }>

/** A set's network in one mode, laid out so that any fault of the library is a change of values. */
export interface Bed {
  readonly equipment: Equipment
  readonly mode: ModeName
  /** Across the terminals of a rail's supply. */
  readonly bleeder_ohm: (rail: RailName) => number | null
  readonly network: Network
  readonly elements: ReadonlyMap<string, Element>
  /** Elements at a node, and grids that are led to it: each by its pin and by what joins it to its cathode when it hangs in the air. */
  readonly at: (node: string) => readonly string[]
  readonly gridsAt: (node: string) => readonly { readonly joint: string; readonly link: string }[]
  /** Stages whose drive is reckoned with in this mode. */
  readonly stages: ReturnType<typeof drivenStages>
  /** Tubes that go cold when one heater of their chain is open or shorted. */
  readonly gonesCold: (fault: Fault) => readonly PartName[]
  /**
   * Solves it with these elements in place of those of the same name, gas tubes settled. Each call takes the changes of the
   * call before back. `lit` are the gas tubes that were lit before.
   */
  solve(
    point: Point,
    changed: readonly Element[],
    lit: ReadonlySet<string>,
    start?: Volts,
    /** Currents of the supplies alone are read out. */
    brief?: boolean,
  ): {
    readonly solution: Solved
    readonly lit: ReadonlySet<string>
    readonly now: (name: string) => Element | undefined
  }
}

export function createBed(
  equipment: Equipment,
  mode: ModeName,
  rails: Readonly<Record<RailName, RailBench>>,
  meters: readonly ClippedMeter[],
  /** More elements: what somebody may clip on. */
  extra: readonly Element[] = [],
): Bed {
  const feeds: Record<RailName, Feed> = {}
  for (const { name, role, lead_ohm } of Object.values(rails))
    if (role !== 'heater') feeds[name] = { V: 0, limit_A: 1e3, ohm: Math.max(lead_ohm, 1e-3) }
  const laid = toNetwork(equipment, mode, feeds, { heaters: false, lit: () => false, meters })
  const network = withJoints(equipment, { ...laid, elements: [...laid.elements, ...extra] })
  const elements = new Map(network.elements.map((element) => [element.name, element]))
  const supplies = network.elements.filter((element): element is Supply => element.kind === 'supply')
  const regulators = network.elements.filter((element): element is Regulator => element.kind === 'regulator')
  const valves = network.elements.filter(
    (element) => element.kind === 'triode' || element.kind === 'screen tube' || element.kind === 'diode tube',
  )
  const solver = createSolver(network)
  const supplied = new Set(supplies.map(({ name }) => name))
  let undo: Element[] = []
  const cold = new Map<string, readonly PartName[]>()
  const meeting = new Map<string, string[]>()
  const grids = new Map<string, { joint: string; link: string }[]>()
  for (const element of network.elements) {
    for (const node of new Set(nodesOf(element)))
      meeting.set(node, [...(meeting.get(node) ?? []), element.name])
    const own = element.kind === 'triode' || element.kind === 'screen tube' ? joint(element.name, 'grid') : ''
    const pin = elements.get(own)
    if (pin?.kind === 'resistor')
      grids.set(pin.a, [
        ...(grids.get(pin.a) ?? []),
        { joint: own, link: link(element.name, 'grid-cathode') },
      ])
  }
  return {
    equipment,
    mode,
    bleeder_ohm: (rail) => rails[rail]?.bleeder_ohm ?? null,
    network,
    elements,
    at: (node) => meeting.get(node) ?? [],
    gridsAt: (node) => grids.get(node) ?? [],
    stages: drivenStages(equipment, mode),
    gonesCold(fault) {
      const key = `${fault.heater ?? ''} ${fault.heater_shorted ?? false}`
      const known = cold.get(key) ?? gonesCold(equipment, fault)
      cold.set(key, known)
      return known
    },
    solve(point, changed, lit, start, brief = false) {
      const only = brief ? supplied : undefined
      const put = new Map<string, Element>()
      for (const element of undo) put.set(element.name, element)
      if (!point.hot) for (const valve of valves) put.set(valve.name, { ...valve, emission: 0 })
      for (const each of regulators) if (lit.has(each.name)) put.set(each.name, { ...each, lit: true })
      for (const element of changed) {
        if (!point.hot && isAfloat(element)) continue
        const old =
          element.kind === 'regulator' && lit.has(element.name) ? { ...element, lit: true } : element
        put.set(element.name, !point.hot && 'emission' in old ? { ...old, emission: 0 } : old)
      }
      const own = new Map([...changed.map(({ name }) => name), ...lit].map((name) => [name, put.get(name)]))
      for (const supply of supplies) {
        const mine = put.get(supply.name)
        const V = point.volts[supply.name] ?? 0
        const limit_A = point.limits_A?.[supply.name] ?? 1e3
        const base = mine?.kind === 'supply' ? mine : supply
        // A rail that is not on is no path.
        put.set(supply.name, { ...base, V, limit_A, ohm: V > 0 ? base.ohm : broken_ohm })
      }
      let solution = solver.solve([...put.values()], start, only)
      const burning = new Map(regulators.map((each) => [each.name, put.get(each.name) ?? each]))
      const turned = new Set<string>()
      for (let round = 0; round < 4; round++) {
        const next = regulatorsToChange([...burning.values()], solution)
        if (next.length === 0) break
        for (const each of next) {
          burning.set(each.name, each)
          turned.add(each.name)
        }
        solution = solver.solve(next, solution.volts, only)
      }
      const touched = [...own.keys(), ...turned, ...(point.hot ? [] : valves.map(({ name }) => name))]
      undo = touched.flatMap((name) => elements.get(name) ?? [])
      return {
        solution,
        lit: new Set(
          [...burning].flatMap(([name, each]) => (each.kind === 'regulator' && each.lit ? [name] : [])),
        ),
        now: (name) => burning.get(name) ?? put.get(name) ?? elements.get(name),
      }
    },
  }
}

/** Nodes of one element, inner ones of its joints among them. */
export function nodesOf(element: Element): string[] {
  const nodes: string[] = []
  for (const end of ['a', 'b', 'plate', 'screen', 'grid', 'cathode'] as const) {
    const node = (element as Partial<Record<typeof end, string>>)[end]
    if (node !== undefined) nodes.push(node)
  }
  return nodes
}

/** Pins that can be open and electrodes that can touch, as elements of their own. */
function withJoints(equipment: Equipment, network: Network): Network {
  const made: Element[] = []
  const wipers = new Map<string, string>()
  for (const [name, part] of Object.entries(equipment.parts))
    if (part.kind === 'potentiometer' && !part.ends.includes(part.wiper)) {
      for (const half of ['a', 'b']) wipers.set(`${name}.${half}`, part.wiper)
      made.push({ kind: 'resistor', name: wiper(name), a: part.wiper, b: `${name}:wiper`, ohm: joint_ohm })
    }
  const resistor = (name: string, a: string, b: string, ohm: number): void => {
    made.push({ kind: 'resistor', name, a, b, ohm })
  }
  for (const element of network.elements) {
    if (element.kind === 'junction')
      resistor(link(element.name, 'backwards'), element.a, element.b, broken_ohm)
    if (element.kind === 'diode tube') {
      const { name, plate, cathode } = element
      resistor(link(name, 'plate-cathode'), plate, cathode, broken_ohm)
      if (cathode !== network.ground)
        resistor(link(name, 'heater-cathode'), cathode, network.ground, broken_ohm)
    }
    if (element.kind !== 'triode' && element.kind !== 'screen tube') {
      const at = wipers.get(element.name)
      if (at === undefined || !('a' in element)) made.push(element)
      else {
        const inner = `${element.name.slice(0, -2)}:wiper`
        const to = (node: string): string => (node === at ? inner : node)
        made.push({ ...element, a: to(element.a), b: to(element.b) })
      }
      continue
    }
    const { name, cathode } = element
    const grid = element.grid === cathode ? cathode : `${name}:grid`
    if (grid !== cathode) {
      resistor(joint(name, 'grid'), element.grid, grid, joint_ohm)
      resistor(link(name, 'grid-cathode'), grid, cathode, broken_ohm)
    }
    if (cathode !== network.ground)
      resistor(link(name, 'heater-cathode'), cathode, network.ground, broken_ohm)
    const plate = `${name}:plate`
    resistor(joint(name, 'plate'), element.plate, plate, joint_ohm)
    if (element.kind === 'triode' || element.screen === element.plate) {
      // A screen tied to its plate goes with it.
      made.push(
        element.kind === 'triode' ? { ...element, grid, plate } : { ...element, grid, plate, screen: plate },
      )
      continue
    }
    const screen = `${name}:screen`
    resistor(joint(name, 'screen'), element.screen, screen, joint_ohm)
    resistor(link(name, 'plate-screen'), plate, screen, broken_ohm)
    made.push({ ...element, grid, plate, screen })
  }
  return { ...network, elements: made }
}

/** An element with a change made to it; null where the change is none of its kind's. */
export function changedElement(element: Element, change: Change): Element | null {
  switch (change.is) {
    case 'resistance':
      if (element.kind === 'supply') return { ...element, ohm: change.ohm }
      if (!('a' in element)) return null
      return { kind: 'resistor', name: element.name, a: element.a, b: element.b, ohm: change.ohm }
    case 'ohm times':
      return element.kind === 'resistor' ? { ...element, ohm: element.ohm * change.by } : null
    case 'leaks':
      if (element.kind === 'resistor') return { ...element, ohm: 1 / (1 / element.ohm + 1 / change.ohm) }
      return element.kind === 'capacitor' ? { ...element, leak_S: element.leak_S + 1 / change.ohm } : null
    case 'emission times':
      return 'emission' in element ? { ...element, emission: element.emission * change.by } : null
    case 'gas':
      return element.kind === 'triode' || element.kind === 'screen tube'
        ? { ...element, gas: change.of_plate }
        : null
    case 'dark':
      return element.kind === 'regulator'
        ? { kind: 'resistor', name: element.name, a: element.a, b: element.b, ohm: broken_ohm }
        : null
    case 'model':
      if (element.kind === 'triode' && change.model.form === 'triode')
        return { ...element, model: change.model }
      if (element.kind === 'screen tube' && change.model.form === 'screen')
        return { ...element, model: change.model }
      if (element.kind === 'regulator' && change.model.form === 'regulator')
        return { ...element, model: change.model }
      return null
    case 'contact':
      return element.kind === 'contact' ? { ...element, closed: change.closed } : null
  }
}

/**
 * The elements that a fault changes, in this set; `own` are the set's own values where they are not nominal. A stuck contact
 * that is closed anyway changes nothing.
 */
export function faulted(bed: Bed, fault: Fault, own: ReadonlyMap<string, Element> = bed.elements): Element[] {
  const put = new Map<string, Element>()
  const change = (each: Change): void => {
    const element = put.get(each.element) ?? own.get(each.element) ?? bed.elements.get(each.element)
    const made = element === undefined ? null : changedElement(element, each)
    if (made !== null) put.set(made.name, made)
  }
  fault.changes.forEach(change)
  if (fault.heater !== null)
    for (const tube of bed.gonesCold(fault))
      for (const [name, element] of bed.elements)
        if ('emission' in element && (name === tube || name.startsWith(`${tube}.`)))
          change({ element: name, is: 'emission times', by: 0 })
  for (const name of hanging(bed, put)) {
    const grid = bed.elements.get(name)
    if (grid?.kind === 'resistor') put.set(name, { ...grid, ohm: Math.min(grid.ohm, afloat_ohm) })
  }
  for (const name of undriven(bed, put)) {
    const element = put.get(name) ?? own.get(name) ?? bed.elements.get(name)
    if (element?.kind === 'triode' || element?.kind === 'screen tube')
      put.set(name, { ...element, driven: undefined })
  }
  return [...put.values()]
}

/** Stands for what a hot tube's grid draws and gives: nothing of it is there while the tube is cold. */
export const isAfloat = (element: Element): boolean =>
  element.kind === 'resistor' && element.ohm === afloat_ohm && element.name.endsWith(link('', 'grid-cathode'))

/** Below this a path holds no grid: what an insulator leaks. */
const holds_S = 5e-8

/** Between grid and cathode of tubes whose grid hangs in the air with these elements, since the part that held it is open. */
function hanging(bed: Bed, put: ReadonlyMap<string, Element>): string[] {
  const found: string[] = []
  for (const open of put.values()) {
    if (open.kind !== 'resistor' || open.ohm < broken_ohm) continue
    for (const node of [open.a, open.b])
      for (const pin of bed.gridsAt(node)) {
        const isHeld = bed.at(node).some((name) => {
          const other = put.get(name) ?? bed.elements.get(name)
          if (other === undefined || name === pin.joint) return false
          return holdsBy(other) > holds_S
        })
        if (!isHeld) found.push(pin.link)
      }
  }
  return found
}

/** What it conducts of a grid's own small current. */
function holdsBy(element: Element): number {
  switch (element.kind) {
    case 'resistor':
    case 'inductor':
    case 'supply':
      return 1 / Math.max(element.ohm, 1e-3)
    case 'contact':
      return element.closed ? 1 : 0
    case 'meter':
      // It comes and goes.
      return 0
    case 'capacitor':
      return element.leak_S
    case 'junction':
    case 'heater':
    case 'triode':
    case 'screen tube':
    case 'diode tube':
    case 'regulator':
      // Something that conducts by its own law may hold it.
      return 1
  }
}

/** Driven stages whose drive is gone with these elements: a stage before them gives nothing, or their own grid is not reached. */
export function undriven(bed: Bed, put: ReadonlyMap<string, Element>): string[] {
  const { stages } = bed
  if (stages.length === 0) return []
  const lost = new Set<string>()
  const dead = (tube: string): boolean =>
    [...put.values()].some(
      (element) =>
        'emission' in element &&
        element.emission === 0 &&
        (element.name === tube || element.name.startsWith(`${tube}.`)),
    )
  const afloat = (tube: string): boolean =>
    [...put.values()].some(
      (element) =>
        element.kind === 'resistor' &&
        element.ohm >= broken_ohm &&
        element.name.endsWith(joint('', 'grid')) &&
        (element.name === joint(tube, 'grid') || element.name.startsWith(`${tube}.`)),
    )
  for (const { tube } of stages) if (afloat(tube)) lost.add(tube)
  for (let round = 0; round < stages.length; round++)
    for (const {
      tube,
      stage: { from },
    } of stages)
      if (from !== undefined && (dead(from) || afloat(from) || lost.has(from))) lost.add(tube)
  return [...bed.elements.keys()].filter((name) =>
    [...lost].some((tube) => name === tube || (name.startsWith(`${tube}.`) && !name.includes(' '))),
  )
}

function gonesCold(equipment: Equipment, fault: Fault): PartName[] {
  const { heater } = fault
  if (heater === null) return []
  const chains = Object.values(equipment.heater_chains).filter(({ series }) => series.flat().includes(heater))
  return chains.flatMap(({ rail }) => {
    const V = equipment.rails[rail]?.working_V ?? 0
    const point = heaterPoint(equipment, rail, V, 0, heatersWith(fault))
    return point.chains.flatMap(({ elements }) =>
      elements.flatMap(({ part, volts, rated_V }) =>
        equipment.tubes[part] !== undefined && (part === heater || volts < coldBelow * (rated_V ?? 0))
          ? [part]
          : [],
      ),
    )
  })
}

/** Amps that the bench reads on each rail: through its leads, and what the bleeders across its terminals take. */
export function railAmps(
  rails: Readonly<Record<RailName, RailBench>>,
  point: Point,
  solution: Solution,
): Shown['amps'] {
  const amps: Record<RailName, number> = {}
  for (const { name, role, bleeder_ohm } of Object.values(rails)) {
    const V = point.volts[name] ?? 0
    if (role === 'heater' || V <= 0) continue
    const through = Math.max(0, -(solution.currents[name]?.a ?? 0))
    amps[name] = through + (bleeder_ohm === null ? 0 : V / bleeder_ohm)
  }
  return amps
}
