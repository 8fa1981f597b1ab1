import { type Circuit, holding } from './circuit.js'
import { add, conductance, type Line, linearise, lineSupplies, moveSupplies, stampValves } from './devices.js'
import { factor, solveDense, substitute } from './sparse.js'

/** From every node to ground, so that a node behind a cut-off tube still has a voltage. Our choice: 0.04 nA at 400 V. */
const everywhere_S = 1e-13
/** From a node that nothing joins to ground; well above rounding of a milliohm next to it. Our choice. */
const floating_S = 1e-9
/** Passes before the plain method is given up, and before steps are halved. */
const passes = 60
const halvedFrom = 24
/** Newton's steps shrink quadratically: a last step of a millionth leaves an error far below it. */
const relative = 1e-6
const absolute_V = 1e-7
/** A current that no meter shows; where more is not at stake, a late pass need not settle the volts. Our choice. */
const nothing_A = 1e-13

/** Working store of one network: equations, volts, and what the last solve did. */
export interface Work {
  readonly circuit: Circuit
  /** Volts by node number; the last entry is ground and stays 0. */
  readonly v: Float64Array
  iterations: number
  /** Node that moved most in the last pass. */
  restless: number
  /** Linear part, laid by `layBase`. */
  readonly base: Float64Array
  readonly baseRight: Float64Array
  readonly values: Float64Array
  readonly right: Float64Array
  readonly anchor: Float64Array
  readonly kept: Float64Array
  /** Conductance at each node as last linearised. */
  readonly stiff: Float64Array
  readonly line: Line
}

export function createWork(circuit: Circuit): Work {
  const n = circuit.nodes.length
  const size = circuit.pattern.size
  return {
    circuit,
    v: new Float64Array(n + 1),
    iterations: 0,
    restless: 0,
    base: new Float64Array(size + 1),
    baseRight: new Float64Array(n + 1),
    values: new Float64Array(size + 1),
    right: new Float64Array(n + 1),
    anchor: new Float64Array(n + 1),
    kept: new Float64Array(n + 1),
    stiff: new Float64Array(n + 1),
    line: { I: 0, slope_S: 0 },
  }
}

/** Straight-line elements at direct current into `g` and `j`: capacitors leak only, chokes are their winding. */
export function lineAtRest(circuit: Circuit): void {
  for (const [i, branch] of circuit.branches.entries()) {
    switch (branch.kind) {
      case 'resistor':
      case 'meter':
      case 'inductor':
        circuit.g[i] = conductance(branch.ohm)
        circuit.j[i] = 0
        break
      case 'contact':
        circuit.g[i] = branch.closed ? conductance(branch.ohm) : 0
        circuit.j[i] = 0
        break
      case 'capacitor':
        circuit.g[i] = branch.leak_S > 0 ? Math.min(branch.leak_S, conductance(0)) : 0
        circuit.j[i] = 0
        break
      case 'supply':
      case 'junction':
      case 'diode tube':
      case 'regulator':
      case 'heater':
        break
    }
  }
}

/** Lays what does not change from pass to pass. */
export function layBase(work: Work): void {
  const { circuit, base, baseRight } = work
  base.fill(0)
  baseRight.fill(0)
  for (const d of circuit.pattern.diagonal) base[d] = everywhere_S
  for (const i of circuit.floating) add(base, circuit.pattern.diagonal[i] ?? 0, floating_S)
  for (const [i, branch] of circuit.branches.entries()) {
    switch (branch.kind) {
      case 'supply':
      case 'junction':
      case 'diode tube':
      case 'regulator':
      case 'heater':
        break
      case 'resistor':
      case 'meter':
      case 'inductor':
      case 'contact':
      case 'capacitor':
        stampBranch(circuit, base, baseRight, i)
    }
  }
}

function stampBranch(circuit: Circuit, values: Float64Array, right: Float64Array, i: number): void {
  const g = circuit.g[i] ?? 0
  const j = circuit.j[i] ?? 0
  add(values, circuit.place_aa[i] ?? 0, g)
  add(values, circuit.place_bb[i] ?? 0, g)
  add(values, circuit.place_ab[i] ?? 0, -g)
  add(values, circuit.place_ba[i] ?? 0, -g)
  add(right, circuit.a[i] ?? 0, -j)
  add(right, circuit.b[i] ?? 0, j)
}

/**
 * Newton's method from the volts in `work.v`. `scale` multiplies every supply's volts; `pull_S` ties every node to
 * `work.anchor`. True when settled.
 */
export function newton(work: Work, scale: number, pull_S: number, fresh: boolean): boolean {
  const { circuit, v, values, right, base, baseRight, anchor, stiff } = work
  const { pattern } = circuit
  const n = pattern.n
  const straight = circuit.bent.length === 0 && circuit.valves.length === 0
  for (let pass = 0; pass < passes; pass++) {
    work.iterations++
    const short = linearise(circuit, v, pass === 0, fresh && pass === 1, work.line)
    lineSupplies(circuit, scale)
    values.set(base)
    right.set(baseRight)
    for (const i of circuit.supplies) stampBranch(circuit, values, right, i)
    for (const i of circuit.bent) stampBranch(circuit, values, right, i)
    stampValves(circuit, values, right)
    if (pull_S > 0) {
      for (let i = 0; i < n; i++) {
        add(values, pattern.diagonal[i] ?? 0, pull_S)
        add(right, i, pull_S * (anchor[i] ?? 0))
      }
    }
    right[n] = 0
    for (let i = 0; i < n; i++) stiff[i] = values[pattern.diagonal[i] ?? 0] ?? 0
    if (factor(pattern, values)) substitute(pattern, values, right)
    else if (!solveAgain(work, scale, pull_S)) return false
    right[n] = 0
    const still = move(work, pass >= halvedFrom)
    if (still === null) return false
    const moved = moveSupplies(circuit, v, scale)
    if (!moved && !short && (still || straight)) return true
  }
  return false
}

/** The diagonal would not serve: stamp once more (factoring is in place) and pivot by rows. */
function solveAgain(work: Work, scale: number, pull_S: number): boolean {
  const { circuit, values, right, base, baseRight, anchor } = work
  lineSupplies(circuit, scale)
  values.set(base)
  right.set(baseRight)
  for (const i of circuit.supplies) stampBranch(circuit, values, right, i)
  for (const i of circuit.bent) stampBranch(circuit, values, right, i)
  stampValves(circuit, values, right)
  if (pull_S > 0) {
    for (let i = 0; i < circuit.pattern.n; i++) {
      add(values, circuit.pattern.diagonal[i] ?? 0, pull_S)
      add(right, i, pull_S * (anchor[i] ?? 0))
    }
  }
  return solveDense(circuit.pattern, values, right)
}

/**
 * Takes over the solution; true when nothing moved any more, null when it is no number. In late passes moves are halved,
 * and a node that next to no current would move may be anywhere.
 */
function move(work: Work, late: boolean): boolean | null {
  const { v, right, stiff } = work
  let worst = 0
  for (let i = 0; i < v.length; i++) {
    const to = right[i] ?? 0
    const from = v[i] ?? 0
    const by = Math.abs(to - from)
    if (!Number.isFinite(by)) return null
    let excess = by / (absolute_V + relative * Math.abs(to))
    if (late && excess > 1) excess = Math.min(excess, (by * (stiff[i] ?? 0)) / nothing_A)
    if (excess > worst) {
      worst = excess
      work.restless = i
    }
    v[i] = late && excess > 1 ? from + 0.5 * (to - from) : to
  }
  return worst <= 1
}

/**
 * Direct-current solution from the volts in `work.v`: Newton, then supplies raised from nothing, then every node held
 * back and slowly let go (which follows the network as if it had capacitance). True when settled; `work.v` is always finite.
 */
export function settle(work: Work, warm: boolean): boolean {
  const { v, kept, circuit } = work
  work.iterations = 0
  circuit.supplyState.fill(holding)
  if (newton(work, 1, 0, !warm)) return true
  if (warm) {
    v.fill(0)
    circuit.supplyState.fill(holding)
    if (newton(work, 1, 0, true)) return true
  }
  if (raise(work)) return true
  v.fill(0)
  circuit.supplyState.fill(holding)
  if (letGo(work)) return true
  for (let i = 0; i < v.length; i++) if (!Number.isFinite(v[i] ?? 0)) v.set(kept)
  return false
}

/** Source stepping: from dead supplies to full ones, in steps that shrink where it is hard. */
function raise(work: Work): boolean {
  const { v, kept, circuit } = work
  v.fill(0)
  kept.fill(0)
  circuit.supplyState.fill(holding)
  let reached = 0
  let step = 0.1
  for (let tries = 0; tries < 80; tries++) {
    const next = Math.min(1, reached + step)
    if (newton(work, next, 0, false)) {
      if (next === 1) return true
      reached = next
      kept.set(v)
      step *= 2
    } else {
      v.set(kept)
      step /= 4
      if (step < 1e-5) return false
    }
  }
  return false
}

/**
 * Pseudo-transient from `work.v` and the supplies' states: each node tied to where it was, the tie let go as it
 * settles. Follows a jump (a gassy valve running away) to where stray capacitance would lead it.
 */
export function letGo(work: Work): boolean {
  const { v, kept, anchor } = work
  kept.set(v)
  let pull_S = 1
  for (let tries = 0; tries < 200; tries++) {
    anchor.set(kept)
    if (newton(work, 1, pull_S, false)) {
      kept.set(v)
      if (pull_S < 1e-11) {
        if (newton(work, 1, 0, false)) return true
        v.set(kept)
      }
      pull_S = Math.max(pull_S / 4, 1e-12)
    } else {
      v.set(kept)
      pull_S *= 10
      if (pull_S > 1e6) return false
    }
  }
  return false
}
