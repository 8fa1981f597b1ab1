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
  /** Conductance at each node as last linearised; filled in late passes. */
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
  const { branches, straight, g, j } = circuit
  for (const i of straight) {
    const branch = branches[i]
    if (branch === undefined) continue
    j[i] = 0
    if (branch.kind === 'capacitor') g[i] = leakage(branch)
    else if (branch.kind === 'contact') g[i] = branch.closed ? conductance(branch.ohm) : 0
    else if ('ohm' in branch) g[i] = conductance(branch.ohm)
  }
}

/** Siemens that a capacitor leaks. */
export function leakage({ leak_S }: { readonly leak_S: number }): number {
  return leak_S > 0 ? Math.min(leak_S, conductance(0)) : 0
}

/** Lays what does not change from pass to pass. */
export function layBase(work: Work): void {
  const { circuit, base, baseRight } = work
  base.fill(0)
  baseRight.fill(0)
  for (const d of circuit.pattern.diagonal) base[d] = everywhere_S
  for (const i of circuit.floating) add(base, circuit.pattern.diagonal[i] ?? 0, floating_S)
  stampBranches(circuit, circuit.straight, base, baseRight)
}

function stampBranches(circuit: Circuit, which: Int32Array, values: Float64Array, right: Float64Array): void {
  const { a, b, g, j, place_aa, place_ab, place_ba, place_bb } = circuit
  for (let k = 0; k < which.length; k++) {
    const i = which[k] ?? 0
    const S = g[i] ?? 0
    const I = j[i] ?? 0
    add(values, place_aa[i] ?? 0, S)
    add(values, place_bb[i] ?? 0, S)
    add(values, place_ab[i] ?? 0, -S)
    add(values, place_ba[i] ?? 0, -S)
    add(right, a[i] ?? 0, -I)
    add(right, b[i] ?? 0, I)
  }
}

/**
 * Newton's method from the volts in `work.v`. `scale` multiplies every supply's volts; `pull_S` ties every node to
 * `work.anchor`. True when settled.
 */
export function newton(work: Work, scale: number, pull_S: number, fresh: boolean): boolean {
  const { circuit, v, values, right, stiff } = work
  const { pattern } = circuit
  const { n, diagonal } = pattern
  const straight = circuit.bent.length === 0 && circuit.valves.length === 0
  for (let pass = 0; pass < passes; pass++) {
    work.iterations++
    const late = pass >= halvedFrom
    const short = linearise(circuit, v, pass === 0, fresh && pass === 1, work.line)
    stampAll(work, scale, pull_S)
    right[n] = 0
    if (late) for (let i = 0; i < n; i++) stiff[i] = values[diagonal[i] ?? 0] ?? 0
    if (factor(pattern, values)) substitute(pattern, values, right)
    else if (!solveAgain(work, scale, pull_S)) return false
    right[n] = 0
    const still = move(work, late)
    if (still === null) return false
    const moved = moveSupplies(circuit, v, scale)
    if (!moved && !short && (still || straight)) return true
  }
  return false
}

/** The diagonal would not serve: stamp once more (factoring is in place) and pivot by rows. */
function solveAgain(work: Work, scale: number, pull_S: number): boolean {
  stampAll(work, scale, pull_S)
  return solveDense(work.circuit.pattern, work.values, work.right)
}

/** The equations as now linearised. */
function stampAll(work: Work, scale: number, pull_S: number): void {
  const { circuit, values, right, base, baseRight, anchor } = work
  const { n, diagonal } = circuit.pattern
  lineSupplies(circuit, scale)
  values.set(base)
  right.set(baseRight)
  stampBranches(circuit, circuit.supplies, values, right)
  stampBranches(circuit, circuit.bent, values, right)
  stampValves(circuit, values, right)
  if (!(pull_S > 0)) return
  for (let i = 0; i < n; i++) {
    add(values, diagonal[i] ?? 0, pull_S)
    add(right, i, pull_S * (anchor[i] ?? 0))
  }
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
