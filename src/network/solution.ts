import { electrodes, isCurved, limited } from './circuit.js'
import { curve } from './devices.js'
import { astrayPlate, drivenAdd, screenTubeCurrents, triodeCurrents } from '../tubes/index.js'
import type { ElementCurrents, Solved } from './types.js'
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
): Solved {
  const { circuit, v } = work
  const currents: Record<string, ElementCurrents> = {}
  if (only === undefined) {
    for (const [i, branch] of circuit.branches.entries()) currents[branch.name] = { a: branchAmps(work, i) }
    for (const [t, valve] of circuit.valves.entries()) currents[valve.name] = valveCurrents(work, t)
  } else for (const name of only) if (circuit.where.has(name)) currents[name] = currentsOf(work, name)
  const limiting: string[] = []
  for (const i of circuit.supplies)
    if (circuit.supplyState[i] === limited) limiting.push(circuit.branches[i]?.name ?? '')
  const rest = {
    converged: settled && bad === null,
    currents,
    limiting,
    iterations: work.iterations,
    trouble: wordsOf(work, settled, [bad, trouble, circuit.trouble]),
  }
  const settledAt = v.slice()
  const volt = (node: string): number => settledAt[circuit.numbers.get(node) ?? circuit.nodes.length] ?? 0
  if (only === undefined) return { ...rest, volts: namedVolts(circuit, settledAt), volt }
  // Whoever wants few currents wants few volts: to name them all takes as long as to find them.
  let named: Record<string, number> | null = null
  return {
    ...rest,
    volt,
    get volts() {
      named ??= namedVolts(circuit, settledAt)
      return named
    },
  }
}

function namedVolts({ ground, nodes }: Work['circuit'], v: Float64Array): Record<string, number> {
  const volts: Record<string, number> = { [ground]: 0 }
  for (const [i, node] of nodes.entries()) volts[node] = v[i] ?? 0
  return volts
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
