import {
  type Circuit,
  findFloating,
  isUsable,
  layOut,
  limited,
  putElements,
  smallest_ohm,
  unusable,
} from './circuit.js'
import { conductance } from './devices.js'
import { createWork, layBase, leakage, letGo, lineAtRest, newton, settle, type Work } from './newton.js'
import { branchAmps, currentsOf, readSolution } from './solution.js'
import { startFrom, type Volts } from './solver.js'
import type { Element, ElementCurrents, Network, Solution } from './types.js'

/** Error allowed to one step, of a capacitor's volts and a choke's amps. Our choice: a curve then keeps to about 0.1 %. */
const relative = 5e-4
const absolute_V = 1e-3
const absolute_A = 1e-5
/** Below this many seconds a step is not shortened any more: what then still fails is a jump. */
const shortest_s = 1e-7
/** Tries in one advance after which steps are taken as they come: a bound on its cost, not reached by sound networks. */
const patience = 5_000
/** A state that moved less than this part of the error allowed over an advance stands still. */
const stillness = 1e-6
/** Volts are looked at without going on by solving over this short a time. */
const instant_s = 1e-6

export interface Transient {
  /**
   * Goes on by `dt_s` seconds and gives the volts and currents at its end. Elements given replace those of the same
   * name from the start of this advance on and stay so; a capacitor keeps its volts, a choke its current.
   */
  advance(dt_s: number, elementsChanged?: readonly Element[]): Solution
  /** The same without putting every volt and current under its name: for whoever looks at a few of them. */
  goOn(dt_s: number, elementsChanged?: readonly Element[]): void
  /** All of it as it stands. */
  readonly solution: Solution
  /** Volts by node as they stand. */
  readonly volts: Volts
  /** Volts of one node as they stand; 0 where the network has no such node. */
  volt(node: string): number
  /** What flows into one element as it stands; nothing where the network has none of this name. */
  currents(element: string): ElementCurrents
  /** Volts of all nodes in an order that stays, then a 0 for ground; the next advance writes over them. */
  readonly nodeVolts: Float64Array
  /** For whoever asks for the same ones many thousand times: a node's place in `nodeVolts`, ground's where it is not known. */
  placeOf(node: string): number
  /** The number of a two-terminal element; null where the network has none of this name. */
  numberOf(element: string): number | null
  /** What flows into its first terminal as it stands. */
  amps(number: number): number
  /** Whether it is a supply in current limit. */
  limits(number: number): boolean
}

/** Capacitors and chokes, flat: what a step asks of each, many thousand times. */
interface Held {
  /** Branch number. */
  readonly at: Int32Array
  readonly isChoke: Uint8Array
  /** Farads or henries. */
  readonly size: Float64Array
  /** Series or winding resistance. */
  readonly ohm: Float64Array
  readonly leak_S: Float64Array
}

/** What capacitors and chokes hold: volts of the one, amps of the other, by branch. */
interface Store {
  readonly circuit: Circuit
  readonly work: Work
  held: Held
  readonly state: Float64Array
  readonly before: Float64Array
  readonly whole: Float64Array
  readonly volts: Float64Array
  readonly supplies: Uint8Array
}

/**
 * The network in time, from `start` (volts of a solution) or with everything uncharged. Chokes carry on with their
 * current in `currents`, when it is given (from a solution that was not at rest), else with what `start` drives through
 * their winding. Backward Euler
 * in one whole and two half steps: their difference steers the step, and extrapolation takes out most of the error.
 * It forgets fast transients that are over within a step, so steps are long when nothing moves. Never throws.
 */
export function createTransient(network: Network, start?: Volts, currents?: Solution['currents']): Transient {
  const circuit = layOut(network)
  const work = createWork(circuit)
  const count = circuit.branches.length
  const store: Store = {
    circuit,
    work,
    held: layHeld(circuit),
    state: new Float64Array(count),
    before: new Float64Array(count),
    whole: new Float64Array(count),
    volts: new Float64Array(work.v.length),
    supplies: new Uint8Array(count),
  }
  findFloating(circuit, true)
  startFrom(circuit, work, start)
  for (const i of store.held.at) {
    const branch = circuit.branches[i]
    const V = across(circuit, work.v, i)
    store.state[i] =
      branch?.kind === 'inductor' ? (currents?.[branch.name]?.a ?? V * conductance(branch.ohm)) : V
  }
  let step_s = Infinity
  let last: Solution | null = null
  /** How the last advance went; null before the first. */
  let went: { readonly well: boolean; readonly trouble: string | null } | null = null
  let still = false
  let bad = unusable(circuit)
  const begun = new Float64Array(count)
  const numbers = new Map(circuit.nodes.map((node, i) => [node, i]))
  /** Volts as they stand, without going on: the state is not moved. */
  const look = (): boolean => {
    lineHeld(store, instant_s)
    layBase(work)
    return newton(work, 1, 0, false) || settle(work, true)
  }
  lineAtRest(circuit)
  const goOn = (dt_s: number, elementsChanged: readonly Element[]): void => {
    let trouble: string | null = null
    if (elementsChanged.length > 0) {
      still = false
      const put = putElements(circuit, elementsChanged)
      trouble = put.trouble
      if (put.reshaped) {
        store.held = layHeld(circuit)
        findFloating(circuit, true)
      } else fillHeld(circuit, store.held)
      lineAtRest(circuit)
      if (bad !== null || !elementsChanged.every(isUsable)) bad = unusable(circuit)
    }
    if (still) return
    work.iterations = 0
    let left_s = dt_s > 0 && dt_s < Infinity ? dt_s : 0
    let well = left_s > 0 || look()
    let tries = 0
    begun.set(store.state)
    while (left_s > 0) {
      tries++
      const h = step_s >= 0.999 * left_s ? left_s : Math.max(Math.min(step_s, left_s / 2), shortest_s)
      const grow = tryStep(store, h, tries > patience)
      if (grow === null || grow < 1) {
        step_s = h * (grow ?? 0.1)
        if (grow === null && step_s < shortest_s) {
          if (!jump(store)) {
            well = false
            step_s = Infinity
            break
          }
          step_s = 10 * shortest_s
        }
        continue
      }
      left_s = h >= left_s ? 0 : left_s - h
      // A step cut short by the end of this advance says nothing against a longer one.
      step_s = h < step_s ? Math.max(step_s, h * grow) : h * grow
    }
    still = well && apart(store, begun) < stillness
    last = null
    went = { well, trouble }
  }
  const asItStands = (): { readonly well: boolean; readonly trouble: string | null } =>
    (went ??= { well: look(), trouble: null })
  const read = (): Solution => {
    const { well, trouble } = asItStands()
    return (last ??= readSolution(work, well, bad, trouble))
  }
  return {
    advance(dt_s, elementsChanged = []) {
      goOn(dt_s, elementsChanged)
      return read()
    },
    goOn(dt_s, elementsChanged = []) {
      goOn(dt_s, elementsChanged)
    },
    get solution() {
      return read()
    },
    get volts() {
      return read().volts
    },
    get nodeVolts() {
      asItStands()
      return work.v
    },
    placeOf: (node) => numbers.get(node) ?? circuit.nodes.length,
    numberOf(element) {
      const place = circuit.where.get(element)
      return place === undefined || place.valve ? null : place.at
    },
    amps(number) {
      asItStands()
      return branchAmps(work, number)
    },
    volt(node) {
      asItStands()
      const number = numbers.get(node)
      return number === undefined ? 0 : (work.v[number] ?? 0)
    },
    currents(element) {
      asItStands()
      return currentsOf(work, element)
    },
    limits(number) {
      asItStands()
      return circuit.branches[number]?.kind === 'supply' && circuit.supplyState[number] === limited
    },
  }
}

function layHeld(circuit: Circuit): Held {
  const at: number[] = []
  for (const i of circuit.straight) {
    const kind = circuit.branches[i]?.kind
    if (kind === 'capacitor' || kind === 'inductor') at.push(i)
  }
  const held: Held = {
    at: Int32Array.from(at),
    isChoke: new Uint8Array(at.length),
    size: new Float64Array(at.length),
    ohm: new Float64Array(at.length),
    leak_S: new Float64Array(at.length),
  }
  fillHeld(circuit, held)
  return held
}

/** Their values, where those may have changed and nothing else. */
function fillHeld({ branches }: Circuit, { at, isChoke, size, ohm, leak_S }: Held): void {
  for (let k = 0; k < at.length; k++) {
    const branch = branches[at[k] ?? 0]
    if (branch?.kind === 'capacitor') {
      size[k] = branch.F
      ohm[k] = Math.max(branch.series_ohm, smallest_ohm)
      leak_S[k] = leakage(branch)
    } else if (branch?.kind === 'inductor') {
      isChoke[k] = 1
      size[k] = Math.max(branch.H, 1e-9)
      ohm[k] = Math.max(branch.ohm, smallest_ohm)
    }
  }
}

function across(circuit: Circuit, v: Float64Array, i: number): number {
  return (v[circuit.a[i] ?? 0] ?? 0) - (v[circuit.b[i] ?? 0] ?? 0)
}

/** Capacitors and chokes as they look over a step of h seconds from their state, by backward Euler. */
function lineHeld(store: Store, h: number): void {
  const { circuit, state, held } = store
  const { at, isChoke, size, ohm, leak_S } = held
  const { g, j } = circuit
  for (let k = 0; k < at.length; k++) {
    const i = at[k] ?? 0
    const here = state[i] ?? 0
    const of = size[k] ?? 0
    const R = ohm[k] ?? 0
    if (isChoke[k] === 1) {
      const per_ohm = h / of
      g[i] = Number.isFinite(R) ? per_ohm / (1 + per_ohm * R) : 0
      j[i] = Number.isFinite(R) ? here / (1 + per_ohm * R) : 0
    } else {
      const S = of > 0 ? 1 / (R + h / of) : 0
      g[i] = S + (leak_S[k] ?? 0)
      j[i] = -S * here
    }
  }
}

/** Finds where volts jump to when they cannot go on steadily; what capacitors and chokes hold stays. */
function jump(store: Store): boolean {
  lineHeld(store, shortest_s)
  layBase(store.work)
  return letGo(store.work)
}

/** One backward Euler step of h seconds: state and volts move on; false when the network did not settle. */
function euler(store: Store, h: number): boolean {
  const { circuit, work, state, held } = store
  lineHeld(store, h)
  layBase(work)
  if (!newton(work, 1, 0, false)) return false
  const { at, isChoke, size, ohm } = held
  for (let k = 0; k < at.length; k++) {
    const i = at[k] ?? 0
    const V = across(circuit, work.v, i)
    const of = size[k] ?? 0
    if (isChoke[k] === 1) state[i] = (circuit.g[i] ?? 0) * V + (circuit.j[i] ?? 0)
    else if (of > 0) {
      const here = state[i] ?? 0
      state[i] = here + (h / of) * ((V - here) / ((ohm[k] ?? 0) + h / of))
    } else state[i] = V
  }
  return true
}

/**
 * Tries a step. Null: the network did not settle, nothing moved. Below 1: too coarse, nothing moved, try that much
 * shorter. Else it is done, and the next may be longer by this factor. In a hurry no step is too coarse.
 */
function tryStep(store: Store, h: number, hurry: boolean): number | null {
  const { circuit, work, state, before, whole, volts, supplies } = store
  before.set(state)
  volts.set(work.v)
  supplies.set(circuit.supplyState)
  if (!euler(store, h)) {
    undo(store)
    return null
  }
  // A step over which hardly anything moved needs no second opinion: its error is smaller than the move.
  if (apart(store, before) < 0.2) return 4
  whole.set(state)
  undo(store)
  if (!euler(store, h / 2) || !euler(store, h / 2)) {
    undo(store)
    return null
  }
  const error = apart(store, whole)
  const factor = error > 0 ? Math.min(4, Math.max(0.1, 0.9 / Math.sqrt(error))) : 4
  if (error > 1 && h > shortest_s && !hurry) {
    undo(store)
    return Math.min(factor, 0.9)
  }
  // Across a supply's change of state the error is no smooth series, and extrapolating would overshoot its volts.
  if (sameSupplies(circuit, supplies)) {
    for (const i of store.held.at) state[i] = 2 * (state[i] ?? 0) - (whole[i] ?? 0)
  }
  return hurry ? 4 : Math.max(factor, 1)
}

/** Back to where the step began. */
function undo({ circuit, work, state, before, volts, supplies }: Store): void {
  state.set(before)
  work.v.set(volts)
  circuit.supplyState.set(supplies)
}

function sameSupplies(circuit: Circuit, earlier: Uint8Array): boolean {
  for (const i of circuit.supplies) if (circuit.supplyState[i] !== earlier[i]) return false
  return true
}

/** Largest difference between the state and another, in units of the error allowed. */
function apart({ state, held }: Store, other: Float64Array): number {
  const { at, isChoke } = held
  let worst = 0
  for (let k = 0; k < at.length; k++) {
    const i = at[k] ?? 0
    const here = state[i] ?? 0
    const absolute = isChoke[k] === 1 ? absolute_A : absolute_V
    const by = Math.abs(here - (other[i] ?? 0)) / (absolute + relative * Math.abs(here))
    if (by > worst) worst = by
  }
  return worst
}
