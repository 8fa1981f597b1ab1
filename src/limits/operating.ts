import { type Chance, chance } from '../chance/index.js'
import {
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
  type Network,
  regulatorsToChange,
  type Solution,
  type Solver,
} from '../network/index.js'
import { drivenNow, still, unguarded } from './driven.js'
import { canHeat } from './can-heat.js'
import { contributorsOf, resistorSets } from './contributors.js'
import { filled_F, railLeanings, storedOf } from './moved.js'
import { preloadsTooSmall } from './preload.js'
import { ownerOf, sampleElements } from './sampling.js'
import { coldVolts, guardsOf, overRatings, type SetPoints, troubles } from './guards.js'
import { ratingWatches } from './over-rating.js'
import { stresses } from './ratings.js'
import { shortCases } from './shorts.js'
import { type GasHere, gasHere } from './gas-tubes.js'
import { atVolts, darkRegulators, type GasStates, type Path, pathOf, solvePath } from './paths.js'
import type { OperatingPoint, RailBench } from './types.js'

export interface Operating {
  /**
   * Tubes `cold`: heaters out or tubes pulled (reform). `gas`: which gas tubes were lit where the rails stood before; none of
   * them, where the rails come from nothing.
   */
  at(mode: ModeName, volts: SetPoints, tubes: 'hot' | 'cold', gas?: GasStates): OperatingPoint
  /** Which gas tubes are lit once the rails stand at these volts. */
  gasAt(mode: ModeName, volts: SetPoints, tubes: 'hot' | 'cold', gas: GasStates): GasStates
  /** Volts at one more meter's leads, which it loads, with nominal parts; null where no solution is found. */
  read(mode: ModeName, volts: SetPoints, gas: GasStates, meter: ClippedMeter): number | null
  /** With every tube cold: amps by rail, and the capacitance each fills when it rises. */
  cold(mode: ModeName, volts: SetPoints): ColdPoint
}

export interface ColdPoint {
  readonly amps: Readonly<Record<RailName, number>>
  readonly charging_F: Readonly<Record<RailName, number>>
  readonly nodes: Readonly<Record<string, number>>
}

/** Sets of parts drawn for each operating point: enough for a log-normal's spread within some 10 %. */
const sampleCount = 48

interface ModeSolver {
  readonly network: Network
  readonly solver: Solver
  readonly supplies: ReadonlyMap<RailName, Extract<Element, { kind: 'supply' }>>
  /** Every sampled set, and the nominal one to go back to. */
  readonly sets: readonly (Path & { readonly read: Chance; readonly readDark: Chance })[]
  readonly nominalSet: Path
  readonly valves: readonly Valve[]
}

/**
 * Solves a level-3 set at operating points, each with its sampled sets, warm-started from the point before.
 *
 * @param seed - same seed, same bands
 */
export function createOperating(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  seed: number,
  /** Voltmeters that stay clipped on: each loads its node. */
  meters: readonly ClippedMeter[] = [],
): Operating {
  const solvers = new Map<string, ModeSolver>()
  const known = new Map<string, OperatingPoint>()
  const solverOf = (mode: ModeName, tubes: 'hot' | 'cold'): ModeSolver => {
    const key = `${tubes} ${mode}`
    const before = solvers.get(key)
    if (before !== undefined) return before
    const made = prepare(equipment, rails, mode, tubes, chance(seed), meters)
    solvers.set(key, made)
    return made
  }
  return {
    at(mode, volts, tubes, gas = {}) {
      const standing = Object.entries(volts).map(([rail, V]) => `${rail}=${V}`)
      const glowing = Object.entries(gas).flatMap(([tube, state]) => (state === 'dark' ? [] : [tube, state]))
      const key = `${tubes} ${mode} ${standing.sort().join(' ')} ${glowing.join(' ')}`
      const before = known.get(key)
      if (before !== undefined) return before
      const made = solvePoint(equipment, rails, solverOf(mode, tubes), volts, mode, gas)
      known.set(key, made)
      return made
    },
    gasAt: (mode, volts, tubes, gas) => gasHere(solverOf(mode, tubes), volts, gas).states,
    read(mode, volts, gas, meter) {
      const of = prepare(equipment, rails, mode, 'hot', chance(seed), [...meters, meter])
      const solution = solvePath(of, of.nominalSet, volts, null, gas)
      return solution.converged ? (solution.volts[meter.a] ?? 0) - (solution.volts[meter.b] ?? 0) : null
    },
    cold(mode, volts) {
      const of = solverOf(mode, 'hot')
      const { cold, charging_F } = coldAndCharge(of, rails, volts)
      return { amps: railAmps(rails, of.supplies, cold, volts), charging_F, nodes: cold.volts }
    },
  }
}

function prepare(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  mode: ModeName,
  tubes: 'hot' | 'cold',
  seeded: Chance,
  meters: readonly ClippedMeter[],
): ModeSolver {
  const sources: Record<RailName, Feed> = {}
  for (const rail of Object.values(rails)) {
    if (rail.role === 'heater') continue
    sources[rail.name] = { V: 0, limit_A: 1e3, ohm: Math.max(rail.lead_ohm, 1e-3) }
  }
  // Heaters are solved by themselves (heaters.ts): in here they would only be dead weight in every pass.
  const network = toNetwork(equipment, mode, sources, {
    heaters: false,
    lit: () => false,
    meters,
    ...(tubes === 'cold' ? { emission: () => 0 } : {}),
  })
  const supplies = new Map<RailName, Extract<Element, { kind: 'supply' }>>()
  for (const element of network.elements) {
    if (element.kind === 'supply') supplies.set(element.name, element)
  }
  const sets = Array.from({ length: sampleCount }, (_, n) => {
    const own = seeded.fork(`set ${n}`)
    return {
      ...pathOf(sampleElements(equipment, network.elements, own)),
      read: own.fork('read-back'),
      readDark: own.fork('read-back, dark'),
    }
  })
  const names = new Set(sets[0]?.elements.map((element) => element.name))
  return {
    network,
    solver: createSolver(network),
    supplies,
    sets,
    nominalSet: pathOf(network.elements.filter((element) => names.has(element.name))),
    valves: network.elements.filter(isValve),
  }
}

type Valve = Extract<Element, { readonly kind: 'triode' | 'screen tube' | 'diode tube' }>

function isValve(element: Element): element is Valve {
  return element.kind === 'triode' || element.kind === 'screen tube' || element.kind === 'diode tube'
}

type Cold = Pick<ModeSolver, 'network' | 'solver' | 'supplies' | 'valves'>

/** Solutions with every tube cold, at each of the set-points given; the solver is left as it was. */
function solveCold(of: Cold, volts: readonly [SetPoints, ...SetPoints[]]): [Solution, ...Solution[]] {
  const dark = darkRegulators(of.network.elements)
  of.solver.solve([...dark, ...of.valves.map((valve) => ({ ...valve, emission: 0 }))])
  const [first, ...more] = volts
  const solutions: [Solution, ...Solution[]] = [
    of.solver.solve(atVolts(of.supplies, first)),
    ...more.map((each) => of.solver.solve(atVolts(of.supplies, each))),
  ]
  of.solver.solve(of.valves)
  return solutions
}

/** Amps each rail's supply gives: through its leads, plus what the bleeders across its terminals take. */
function railAmps(
  rails: Readonly<Record<RailName, RailBench>>,
  supplies: ModeSolver['supplies'],
  solution: Solution,
  volts: SetPoints,
): Record<RailName, number> {
  const amps: Record<RailName, number> = {}
  for (const [rail, element] of supplies) {
    const through = Math.max(0, -(solution.currents[element.name]?.a ?? 0))
    // The supply's own bleeder sits inside its terminals, so the set's network does not have it.
    const bleeder = rails[rail]?.bleeder_ohm ?? null
    amps[rail] = through + (bleeder === null ? 0 : (volts[rail] ?? 0) / bleeder)
  }
  return amps
}

function solvePoint(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  of: ModeSolver,
  volts: SetPoints,
  mode: ModeName,
  before: GasStates,
): OperatingPoint {
  const { supplies } = of
  const gas = gasHere(of, volts, before)
  const amps = (solution: Solution): Record<RailName, number> => railAmps(rails, supplies, solution, volts)
  const nominal = solvePath(of, of.nominalSet, volts, null, before)
  const expected_A = amps(nominal)

  const shares = tubeShares(equipment, of, nominal, expected_A, amps)
  const leaning = railLeanings(of, nominal, volts)
  const read = sampleRails(of, rails, volts, nominal, amps, before, gas)
  solvePath(of, of.nominalSet, volts, nominal, before)

  const { cold, charging_F } = coldAndCharge(of, rails, volts)
  // With tubes cold its gas tubes were dark: they are lit again before anything is tried on this point.
  solvePath(of, of.nominalSet, volts, nominal, before)
  const held = stresses(equipment, of.network.elements, nominal)
  const changed = solveChanged(of, nominal)
  const shorts = shortCases(equipment, of.network.elements, nominal, held, changed, amps)
  const at = { shares, leaning, expected_A, samples_A: together(read), rails, volts, shorts }
  const read_A = (elements: readonly Element[]): Record<RailName, number> => amps(changed(elements))
  const cans = canHeat(equipment, of.network.elements, nominal, at, changed, amps)
  const resistors = of.sets
    .slice(0, resistorSets)
    .map((set) => set.elements.filter(({ kind }) => kind === 'resistor'))
  const drawn = { amps: read.lit_A, resistors }
  const contributors = contributorsOf(equipment, of.network.elements, at, nominal, drawn, read_A)
  // The last short would stand at every later point: parts that are not sampled are not put again.
  const driven = drivenNow(equipment, mode, of.network.elements, nominal, changed, amps)
  changed([])
  const hot = Object.values(rails).flatMap(({ name, role }) =>
    role === 'HT' || role === 'screen' ? [name] : [],
  )
  const runaways = unguarded(driven, volts, hot, (tube, part) =>
    standsUndriven(equipment, of, nominal, volts, hot, tube, part),
  )
  solvePath(of, of.nominalSet, volts, nominal, before)
  const guarded = guardsOf(held, at)
  return {
    expected_A,
    samples_A: read.lit_A,
    ...(read.dark_A !== null && { dark_A: read.dark_A }),
    nodes: nominal.volts,
    shares,
    guards: Object.fromEntries(
      Object.keys(rails).map((rail) => [
        rail,
        [...(guarded.guards[rail] ?? []), ...(cans.guards[rail] ?? [])],
      ]),
    ),
    cans: cans.unseen,
    contributors,
    ratings: ratingWatches(equipment, of.network.elements, nominal, held, { shares, leaning, expected_A }),
    charging_F,
    stored_J: storedOf(of, cold),
    problems: [
      ...troubles(nominal, volts),
      ...runaways,
      ...preloadsTooSmall(equipment, rails, driven, volts, expected_A),
      ...overRatings(held, volts),
      ...coldVolts(equipment, of.network.elements, cold),
    ],
    strikes: gas.strikes,
    gas: gas.notes,
    unguarded: guarded.unguarded,
    shorts,
    driven,
  }
}

interface Read {
  readonly lit_A: Record<RailName, number[]>
  /** The same sets once more with the doubtful gas tubes dark; null where none is in doubt. */
  readonly dark_A: Record<RailName, number[]> | null
}

/** Amps of each sampled set as the bench reads them. Where a gas tube may be lit or dark every set is solved both ways. */
function sampleRails(
  of: ModeSolver,
  rails: Readonly<Record<RailName, RailBench>>,
  volts: SetPoints,
  nominal: Solution,
  amps: (solution: Solution) => Record<RailName, number>,
  before: GasStates,
  gas: GasHere,
): Read {
  const none = (): Record<RailName, number[]> =>
    Object.fromEntries([...of.supplies.keys()].map((rail) => [rail, []]))
  const [lit_A, dark_A] = [none(), none()]
  const doubtful = Object.entries(gas.states).flatMap(([tube, state]) => (state === 'either' ? [tube] : []))
  const note = (into: Record<RailName, number[]>, solution: Solution, read: Chance): void => {
    if (!solution.converged) return
    for (const [rail, A] of Object.entries(amps(solution))) into[rail]?.push(asRead(A, rails[rail], read))
  }
  for (const sampled of of.sets) {
    if (doubtful.length > 0)
      note(dark_A, solvePath(of, sampled, volts, nominal, before, [doubtful, 'dark']), sampled.readDark)
    const lit = doubtful.length > 0 ? ([doubtful, 'lit'] as const) : undefined
    note(lit_A, solvePath(of, sampled, volts, nominal, before, lit), sampled.read)
  }
  return { lit_A, dark_A: doubtful.length > 0 ? dark_A : null }
}

function together({ lit_A, dark_A }: Read): Readonly<Record<RailName, readonly number[]>> {
  if (dark_A === null) return lit_A
  return Object.fromEntries(Object.entries(lit_A).map(([rail, A]) => [rail, [...A, ...(dark_A[rail] ?? [])]]))
}

/** Whether a driven tube without drive stays inside its ratings with HT at this part of its volts; the solver is left changed. */
function standsUndriven(
  equipment: Equipment,
  of: ModeSolver,
  nominal: Solution,
  volts: SetPoints,
  hot: readonly RailName[],
  tube: string,
  part: number,
): boolean {
  const stills = of.network.elements.flatMap((element) =>
    element.kind !== 'diode tube' && isValve(element) && element.driven !== undefined ? [still(element)] : [],
  )
  const lower = { ...volts, ...Object.fromEntries(hot.map((rail) => [rail, (volts[rail] ?? 0) * part])) }
  const solution = of.solver.solve([...atVolts(of.supplies, lower), ...stills], nominal.volts)
  const whole = of.network.elements.filter((element) => stills.some(({ name }) => name === element.name))
  of.solver.solve([...atVolts(of.supplies, volts), ...whole], nominal.volts)
  return stresses(equipment, stills, solution).every(
    (stress) => stress.part !== tube || !stress.by_current || stress.ratio <= 1,
  )
}

/** Solves the nominal set with some elements changed, gas tubes settled; each call takes the change before it back. */
function solveChanged(of: ModeSolver, nominal: Solution): (changed: readonly Element[]) => Solution {
  const whole = new Map(of.network.elements.map((element) => [element.name, element]))
  const lit = of.nominalSet.regulators
  let undo: Element[] = []
  return (changed) => {
    let solution = of.solver.solve([...undo, ...changed], nominal.volts)
    undo = changed.flatMap(({ name }) => whole.get(name) ?? [])
    let regulators = lit
    for (let round = 0; round < 4; round++) {
      const turned = regulatorsToChange(regulators, solution)
      if (turned.length === 0) break
      regulators = regulators.map((old) => turned.find((each) => each.name === old.name) ?? old)
      undo = [...undo, ...lit.filter((each) => turned.some(({ name }) => name === each.name))]
      solution = of.solver.solve(turned, solution.volts)
    }
    return solution
  }
}

function asRead(A: number, bench: RailBench | undefined, read: Chance): number {
  if (bench === undefined) return A
  const u = Math.max(-1, Math.min(1, read.normal() / 2))
  return Math.max(0, A + u * (bench.accuracy_A.of_reading * A + bench.accuracy_A.plus))
}

/** What each tube takes off each rail when it is missing. */
function tubeShares(
  equipment: Equipment,
  of: ModeSolver,
  nominal: Solution,
  expected_A: Readonly<Record<RailName, number>>,
  amps: (solution: Solution) => Record<RailName, number>,
): Record<RailName, { tube: string; A: number }[]> {
  const shares: Record<RailName, { tube: string; A: number }[]> = {}
  for (const rail of of.supplies.keys()) shares[rail] = []
  const byTube = new Map<string, Valve[]>()
  for (const valve of of.network.elements.filter(isValve)) {
    const owner = ownerOf(equipment, valve.name)
    if (owner !== null) byTube.set(owner, [...(byTube.get(owner) ?? []), valve])
  }
  const share = (tube: string, gone: readonly Element[], whole: readonly Element[]): void => {
    const without = of.solver.solve(gone, nominal.volts)
    of.solver.solve(whole, nominal.volts)
    for (const [rail, A] of Object.entries(amps(without))) {
      shares[rail]?.push({ tube, A: (expected_A[rail] ?? 0) - A })
    }
  }
  for (const [tube, valves] of byTube) {
    const gone = valves.map((valve) => ({ ...valve, emission: 0 }))
    share(tube, gone, valves)
  }
  for (const regulator of of.nominalSet.regulators.filter(({ lit }) => lit)) {
    const owner = ownerOf(equipment, regulator.name)
    if (owner !== null) share(owner, [{ ...regulator, lit: false }], [regulator])
  }
  return shares
}

function coldAndCharge(
  of: ModeSolver,
  rails: Readonly<Record<RailName, RailBench>>,
  volts: SetPoints,
): { cold: Solution; charging_F: Record<RailName, number> } {
  const standing = [...of.supplies.keys()].filter((rail) => (volts[rail] ?? 0) > 0)
  const [cold, ...lowered] = solveCold(of, [volts, ...standing.map((rail) => ({ ...volts, [rail]: 0 }))])
  const charging_F: Record<RailName, number> = {}
  for (const [at, rail] of standing.entries()) {
    const below = lowered[at]
    const own_F = rails[rail]?.output_F ?? 0
    charging_F[rail] = own_F + (below === undefined ? 0 : filled_F(of, cold, below, volts[rail] ?? 0))
  }
  return { cold, charging_F }
}
