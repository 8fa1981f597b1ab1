import { electrodes, isCurved, limited } from './circuit.js'
import { curve } from './devices.js'
import { astrayPlate, drivenAdd, screenTubeCurrents, triodeCurrents } from '../tubes/index.js'
import type { ElementCurrents, Solution } from './types.js'
import type { Work } from './newton.js'

const none = { plate_A: 0, screen_A: 0, grid_A: 0 }

/**
 * The settled volts and currents under their names. `bad` says why the solution does not count though it settled,
 * `trouble` what else there is to say.
 */
export function readSolution(
  work: Work,
  settled: boolean,
  bad: string | null,
  trouble: string | null,
  only?: ReadonlySet<string>,
): Solution {
  const { circuit, v } = work
  const volts: Record<string, number> = { [circuit.ground]: 0 }
  for (const [i, node] of circuit.nodes.entries()) volts[node] = v[i] ?? 0
  const currents: Record<string, ElementCurrents> = {}
  const limiting: string[] = []
  for (const [i, branch] of circuit.branches.entries()) {
    if (only === undefined || only.has(branch.name)) currents[branch.name] = { a: branchAmps(work, i) }
    if (branch.kind === 'supply' && circuit.supplyState[i] === limited) limiting.push(branch.name)
  }
  for (const [t, valve] of circuit.valves.entries())
    if (only === undefined || only.has(valve.name)) currents[valve.name] = valveCurrents(work, t)
  return {
    converged: settled && bad === null,
    volts,
    currents,
    limiting,
    iterations: work.iterations,
    trouble: wordsOf(work, settled, [bad, trouble, circuit.trouble]),
  }
}

function valveCurrents({ circuit, v }: Work, t: number): ElementCurrents {
  const valve = circuit.valves[t]
  if (valve === undefined) return {}
  const at = t * electrodes
  const cathode_V = (v[circuit.valveNode[at + 3] ?? 0] ?? 0) + (valve.reference_V ?? 0)
  const plate_V = (v[circuit.valveNode[at] ?? 0] ?? 0) - cathode_V
  const grid_V = (v[circuit.valveNode[at + 2] ?? 0] ?? 0) - cathode_V
  const screen_V = (v[circuit.valveNode[at + 1] ?? 0] ?? 0) - cathode_V
  const k = valve.emission
  const add = valve.driven === undefined ? none : drivenAdd(valve.driven, plate_V, screen_V, grid_V)
  const own = (curve_A: number): number =>
    valve.astray === undefined ? curve_A : astrayPlate(valve.astray, curve_A, plate_V).plate_A
  if (valve.kind === 'triode') {
    const of = triodeCurrents(valve.model, plate_V, grid_V)
    const plate_A = own(of.plate_A) + add.plate_A
    return { plate: k * plate_A, grid: k * (of.grid_A + add.grid_A - valve.gas * plate_A) }
  }
  const of = screenTubeCurrents(valve.model, plate_V, screen_V, grid_V)
  const plate_A = own(of.plate_A) + add.plate_A
  return {
    plate: k * plate_A,
    screen: k * (of.screen_A + add.screen_A),
    grid: k * (of.grid_A + add.grid_A - valve.gas * plate_A),
  }
}

/** What flows into an element of this name; nothing where there is none. */
export function currentsOf(work: Work, name: string): ElementCurrents {
  const place = work.circuit.where.get(name)
  if (place === undefined) return {}
  return place.valve ? valveCurrents(work, place.at) : { a: branchAmps(work, place.at) }
}

/** Current into the first terminal of a branch. */
export function branchAmps({ circuit, v, line }: Work, i: number): number {
  const branch = circuit.branches[i]
  const V = (v[circuit.a[i] ?? 0] ?? 0) - (v[circuit.b[i] ?? 0] ?? 0)
  if (branch === undefined || !isCurved(branch)) return (circuit.g[i] ?? 0) * V + (circuit.j[i] ?? 0)
  curve(branch, V, line)
  return line.I
}

function wordsOf(work: Work, settled: boolean, others: readonly (string | null)[]): string | null {
  const { circuit } = work
  const words: string[] = []
  if (!settled) {
    const node = circuit.nodes[work.restless] ?? circuit.ground
    words.push(
      `no steady state was found in ${work.iterations} passes; ${node} still moved: ` +
        'check the values of the parts around it, or whether this circuit oscillates by itself',
    )
  }
  if (circuit.floating.length > 0) {
    const named = [...circuit.floating].map((i) => circuit.nodes[i] ?? '')
    const shown =
      named.length > 4 ? `${named.slice(0, 4).join(', ')} and ${named.length - 4} more` : named.join(', ')
    words.push(
      `nothing joins ${shown} to ${circuit.ground} for direct current: the volts there are not determined`,
    )
  }
  for (const other of others) if (other !== null) words.push(other)
  return words.length === 0 ? null : words.join('; ')
}
