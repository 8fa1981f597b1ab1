import { type Circuit, findFloating, layOut, putElements, smallest_ohm, unusable } from './circuit.js'
import { conductance } from './devices.js'
import { createWork, layBase, letGo, lineAtRest, newton, settle, type Work } from './newton.js'
import { readSolution } from './solution.js'
import { startFrom, type Volts } from './solver.js'
import type { Element, Network, Solution } from './types.js'

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
  /** Volts by node at the end of the last advance. */
  readonly volts: Volts
}

/** What capacitors and chokes hold: volts of the one, amps of the other, by branch. */
interface Store {
  readonly circuit: Circuit
  readonly work: Work
  /** Branch numbers of capacitors and chokes. */
  held: readonly number[]
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
    held: heldBranches(circuit),
    state: new Float64Array(count),
    before: new Float64Array(count),
    whole: new Float64Array(count),
    volts: new Float64Array(work.v.length),
    supplies: new Uint8Array(count),
  }
  findFloating(circuit, true)
  startFrom(circuit, work, start)
  for (const i of store.held) {
    const branch = circuit.branches[i]
    const V = across(circuit, work.v, i)
    store.state[i] =
      branch?.kind === 'inductor' ? (currents?.[branch.name]?.a ?? V * conductance(branch.ohm)) : V
  }
  let step_s = Infinity
  let last: Solution | null = null
  let still = false
  let bad = unusable(circuit)
  const begun = new Float64Array(count)
  /** Volts as they stand, without going on: the state is not moved. */
  const look = (): boolean => {
    lineHeld(store, instant_s)
    layBase(work)
    return newton(work, 1, 0, false) || settle(work, true)
  }
  lineAtRest(circuit)
  return {
    advance(dt_s, elementsChanged = []) {
      let trouble: string | null = null
      work.iterations = 0
      if (elementsChanged.length > 0) {
        still = false
        const put = putElements(circuit, elementsChanged)
        trouble = put.trouble
        if (put.reshaped) {
          store.held = heldBranches(circuit)
          findFloating(circuit, true)
        }
        lineAtRest(circuit)
        bad = unusable(circuit)
      }
      if (still && last !== null) return last
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
      const solution = readSolution(work, well, bad, trouble)
      last = solution
      return solution
    },
    get volts() {
      last ??= readSolution(work, look(), bad, null)
      return last.volts
    },
  }
}

function heldBranches(circuit: Circuit): readonly number[] {
  return circuit.branches.flatMap(({ kind }, i) => (kind === 'capacitor' || kind === 'inductor' ? [i] : []))
}

function across(circuit: Circuit, v: Float64Array, i: number): number {
  return (v[circuit.a[i] ?? 0] ?? 0) - (v[circuit.b[i] ?? 0] ?? 0)
}

/** Series resistance of a capacitor over a step of h seconds, its own and that of backward Euler. */
function stepOhm(series_ohm: number, F: number, h: number): number {
  return Math.max(series_ohm, smallest_ohm) + h / F
}

/** Capacitors and chokes as they look over a step of h seconds from their state. */
function lineHeld(store: Store, h: number): void {
  const { circuit, state } = store
  for (const i of store.held) {
    const branch = circuit.branches[i]
    const held = state[i] ?? 0
    if (branch?.kind === 'capacitor') {
      const g = branch.F > 0 ? 1 / stepOhm(branch.series_ohm, branch.F, h) : 0
      circuit.g[i] = g + (branch.leak_S > 0 ? Math.min(branch.leak_S, conductance(0)) : 0)
      circuit.j[i] = -g * held
    } else if (branch?.kind === 'inductor') {
      const per_ohm = h / Math.max(branch.H, 1e-9)
      const ohm = Math.max(branch.ohm, smallest_ohm)
      circuit.g[i] = Number.isFinite(ohm) ? per_ohm / (1 + per_ohm * ohm) : 0
      circuit.j[i] = Number.isFinite(ohm) ? held / (1 + per_ohm * ohm) : 0
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
  const { circuit, work, state } = store
  lineHeld(store, h)
  layBase(work)
  if (!newton(work, 1, 0, false)) return false
  for (const i of store.held) {
    const branch = circuit.branches[i]
    const V = across(circuit, work.v, i)
    if (branch?.kind === 'capacitor') {
      const held = state[i] ?? 0
      state[i] =
        branch.F > 0 ? held + (h / branch.F) * ((V - held) / stepOhm(branch.series_ohm, branch.F, h)) : V
    } else if (branch?.kind === 'inductor') state[i] = (circuit.g[i] ?? 0) * V + (circuit.j[i] ?? 0)
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
  const undo = (): void => {
    state.set(before)
    work.v.set(volts)
    circuit.supplyState.set(supplies)
  }
  if (!euler(store, h)) {
    undo()
    return null
  }
  // A step over which hardly anything moved needs no second opinion: its error is smaller than the move.
  if (apart(store, before) < 0.2) return 4
  whole.set(state)
  undo()
  if (!euler(store, h / 2) || !euler(store, h / 2)) {
    undo()
    return null
  }
  const error = apart(store, whole)
  const factor = error > 0 ? Math.min(4, Math.max(0.1, 0.9 / Math.sqrt(error))) : 4
  if (error > 1 && h > shortest_s && !hurry) {
    undo()
    return Math.min(factor, 0.9)
  }
  // Across a supply's change of state the error is no smooth series, and extrapolating would overshoot its volts.
  if (sameSupplies(circuit, supplies)) {
    for (const i of store.held) state[i] = 2 * (state[i] ?? 0) - (whole[i] ?? 0)
  }
  return hurry ? 4 : Math.max(factor, 1)
}

function sameSupplies(circuit: Circuit, earlier: Uint8Array): boolean {
  for (const i of circuit.supplies) if (circuit.supplyState[i] !== earlier[i]) return false
  return true
}

/** Largest difference between the state and another, in units of the error allowed. */
function apart(store: Store, other: Float64Array): number {
  let worst = 0
  for (const i of store.held) {
    const here = store.state[i] ?? 0
    const absolute = store.circuit.branches[i]?.kind === 'inductor' ? absolute_A : absolute_V
    const by = Math.abs(here - (other[i] ?? 0)) / (absolute + relative * Math.abs(here))
    if (by > worst) worst = by
  }
  return worst
}
