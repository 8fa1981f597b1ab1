import { type Circuit, findFloating, layOut, putElements, unusable } from './circuit.js'
import { createWork, layBase, lineAtRest, settle, type Work } from './newton.js'
import { readSolution } from './solution.js'
import type { Element, Network, Solved } from './types.js'

/** Volts of an earlier solution, by node name. */
export type Volts = Readonly<Record<string, number>>

export interface Solver {
  /**
   * Direct-current solution. Elements given replace those of the same name and stay so; `start` is where to begin
   * (an earlier solution near by saves most of the work), else it begins with everything dead. With `only`, currents of no
   * other elements are read out: that is much of the time of a solution that begins near by.
   */
  solve(elementsChanged?: readonly Element[], start?: Volts, only?: ReadonlySet<string>): Solved
}

/** A solver for one topology: layout and elimination order are worked out here, once. Never throws. */
export function createSolver(network: Network): Solver {
  const circuit = layOut(network)
  const work = createWork(circuit)
  findFloating(circuit, false)
  return {
    solve(elementsChanged = [], start, only) {
      let trouble: string | null = null
      if (elementsChanged.length > 0) {
        const put = putElements(circuit, elementsChanged)
        trouble = put.trouble
        if (put.reshaped) findFloating(circuit, false)
      }
      lineAtRest(circuit)
      layBase(work)
      startFrom(circuit, work, start)
      const bad = unusable(circuit)
      const settled = settle(work, start !== undefined)
      return readSolution(work, settled, bad, trouble, only)
    },
  }
}

/** One direct-current solution. Never throws: what is wrong is said in `trouble`. */
export function solve(network: Network, options: { readonly start?: Volts } = {}): Solved {
  return createSolver(network).solve([], options.start)
}

/** Puts named volts into the working store; unknown nodes start at 0. */
export function startFrom(circuit: Circuit, work: Work, start: Volts | undefined): void {
  work.v.fill(0)
  if (start === undefined) return
  for (const [i, node] of circuit.nodes.entries()) {
    const volts = start[node]
    if (volts !== undefined && Number.isFinite(volts)) work.v[i] = volts
  }
}
