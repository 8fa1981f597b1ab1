import type { Bench } from '../bench/index.js'
import type { ClippedMeter, Equipment, ModeName, NodeName, Rail, RailName } from '../equipment/index.js'
import { benchRails, terminalBleeder_ohm } from './bench-rails.js'
import { heaterExpectation } from './heater-limits.js'
import { heaterSigns } from './heater-signs.js'
import { chartAllowed, chartCurrents, chartEstimate, chartGuards } from './chart-currents.js'
import { chartOverRatings, chartWatches } from './chart-watches.js'
import { chartNodes, nodeMeter } from './chart-nodes.js'
import { type DrivenByRails, drivenByRails, nothingDriven, relieved } from './driven-rails.js'
import { coldEstimate, estimate, tubeSumGuard } from './level1.js'
import { inWords, type SetPoints } from './guards.js'
import { createOperating, type Operating } from './operating.js'
import { type Expectation, railLimits, show } from './rail-limits.js'
import { tubeSource } from './sampling.js'
import { hiddenShorts } from './shorts.js'
import type { StrikeDoubt } from './gas-tubes.js'
import type { GasStates } from './paths.js'
import type {
  CanHeat,
  DrivenNow,
  HeaterSign,
  HiddenShort,
  LimitProblem,
  OperatingPoint,
  RailBench,
  RailLimits,
  ShortCase,
} from './types.js'

/** Limits of every standing rail at one set of set-points, and what goes with them. */
export interface PointLimits {
  readonly limits: Readonly<Record<RailName, RailLimits>>
  /** Node voltages with nominal parts (level 3), or by the handbook's chart as the bench's meter reads them (level 2). */
  readonly nodes: Readonly<Record<NodeName, number>>
  /** Joules in the set's capacitors and the supplies' own. */
  readonly stored_J: number
  readonly charging_F: Readonly<Record<RailName, number>>
  readonly problems: readonly LimitProblem[]
  /** Parts whose ratings no rail current can guard here. */
  readonly unguarded: readonly string[]
  /** Electrolytics whose leakage may heat them too much unseen. */
  readonly cans: readonly CanHeat[]
  /** Shorted capacitors that would burn a part inside every trip. */
  readonly hidden: readonly HiddenShort[]
  /** Each capacitor shorted by itself, where some part comes to harm. */
  readonly shorts: readonly ShortCase[]
  /** Gas regulators that may be lit or dark here. */
  readonly strikes: readonly StrikeDoubt[]
  /** Gas tubes whose state hangs on the way here, a sentence each. */
  readonly gas: readonly string[]
  /** Stages that are driven here. */
  readonly driven: readonly DrivenNow[]
}

export interface Raising {
  readonly rail: RailName
  readonly slew_V_per_s: number
}

export interface LimitsDesk {
  readonly rails: Readonly<Record<RailName, RailBench>>
  /** Null at levels 1 and 2. */
  readonly operating: Operating | null
  at(
    mode: ModeName,
    volts: SetPoints,
    raising: Raising | null,
    ceilings_A: Readonly<Record<RailName, number>>,
    tubes: 'hot' | 'cold',
    /** Gas tubes as they were where the rails stood before; dark where that is nothing. */
    gas?: GasStates,
  ): PointLimits
  /** Gas tubes as they are once the rails stand at these volts. */
  gasAt(mode: ModeName, volts: SetPoints, tubes: 'hot' | 'cold', gas: GasStates): GasStates
}

const samples = 48

/** Voltmeters on a line stay where they are through the whole run, and are part of the circuit. */
export function clippedOn(equipment: Equipment, bench: Bench): ClippedMeter[] {
  return Object.entries(bench.meters).flatMap(([name, meter]): ClippedMeter[] => {
    if ((meter.line === null && meter.on === null) || meter.measures !== 'V' || meter.at === null) return []
    return [
      { name: `meter ${name}`, a: meter.at, b: meter.against ?? equipment.chassis_node, ohm: meter.ohm },
    ]
  })
}

/** Everything that computes limits for one set on one bench; what it has solved it keeps. */
export function createLimits(equipment: Equipment, bench: Bench, seed = 20): LimitsDesk {
  const rails = benchRails(equipment, bench)
  const operating =
    equipment.level === 3 ? createOperating(equipment, rails, seed, clippedOn(equipment, bench)) : null
  const meter = nodeMeter(bench)
  const heaters = new Map<string, Expectation & { readonly problems: readonly LimitProblem[] }>()
  const heaterAt = (rail: RailBench, volts: number): Expectation & { problems: readonly LimitProblem[] } => {
    const key = `${rail.name} ${volts}`
    const before = heaters.get(key)
    if (before !== undefined) return before
    const made = heaterExpectation(equipment, rail, volts, seed)
    heaters.set(key, made)
    return made
  }
  const signsAt = (rail: RailBench, volts: number): readonly HeaterSign[] =>
    heaterSigns(equipment, rail.name, volts, rail.lead_ohm, { V: rail.resolution_V, A: rail.resolution_A })
  return {
    rails,
    operating,
    gasAt: (mode, volts, tubes, gas) => operating?.gasAt(mode, volts, tubes, gas) ?? {},
    at(mode, volts, raising, ceilings_A, tubes, gas = {}) {
      const standing = Object.entries(volts).filter(([, V]) => V > 0)
      const networked = standing.some(([name]) => rails[name]?.role !== 'heater')
      const point = networked && operating !== null ? operating.at(mode, volts, tubes, gas) : null
      const byRails =
        point === null && networked && tubes === 'hot'
          ? drivenByRails(equipment, mode, volts, rails, (name) =>
              withoutGrids_A(equipment, rails, mode, volts, name),
            )
          : nothingDriven
      const nodes = point?.nodes ?? (tubes === 'hot' ? chartNodes(equipment, mode, volts, meter) : {})
      const limits: Record<RailName, RailLimits> = {}
      const problems: LimitProblem[] = [...(point?.problems ?? []), ...byRails.problems]
      let stored_J = point?.stored_J ?? 0
      const charging_F: Record<RailName, number> = {}
      const unguarded: string[] = [...(point?.unguarded ?? [])]
      for (const [name, at_V] of standing) {
        const rail = equipment.rails[name]
        const railBench = rails[name]
        if (rail === undefined || railBench === undefined) continue
        const from = expectationOf(equipment, railBench, at_V, mode, point, heaterAt, tubes, byRails, nodes)
        if (from === null) {
          problems.push(nothingKnown(name, mode, volts))
          continue
        }
        problems.push(...from.problems)
        unguarded.push(...(from.unguarded ?? []))
        charging_F[name] = from.charging_F
        // With no network to say where charge goes, all of a rail's capacitance stands at the rail's volts.
        stored_J += 0.5 * (point === null ? from.charging_F : railBench.output_F) * at_V * at_V
        const made = railLimits(
          {
            rail,
            bench: railBench,
            at_V,
            slew_V_per_s: raising?.rail === name ? raising.slew_V_per_s : 0,
            profile_ceiling_A: ceilings_A[name] ?? null,
          },
          from,
        )
        limits[name] =
          railBench.role === 'heater' && raising?.rail === name
            ? { ...made.limits, heaters: from.heaters ?? [], signs: signsAt(railBench, at_V) }
            : made.limits
        problems.push(...made.problems)
      }
      return {
        limits,
        nodes,
        stored_J,
        charging_F,
        problems,
        unguarded,
        cans: point?.cans ?? [],
        driven: point?.driven ?? byRails.driven,
        gas: point?.gas ?? [],
        strikes: tubes === 'hot' ? (point?.strikes ?? []) : [],
        hidden: hiddenShorts(point?.shorts ?? [], limits),
        shorts: point?.shorts ?? [],
      }
    },
  }
}

type WithProblems = Expectation & {
  readonly problems: readonly LimitProblem[]
  /** Charted tubes that the rail's current cannot hold inside their ratings. */
  readonly unguarded?: readonly string[]
}

function expectationOf(
  equipment: Equipment,
  bench: RailBench,
  at_V: number,
  mode: ModeName,
  point: OperatingPoint | null,
  heaterAt: (rail: RailBench, volts: number) => WithProblems,
  tubes: 'hot' | 'cold',
  byRails: DrivenByRails,
  nodes: Readonly<Record<NodeName, number>>,
): WithProblems | null {
  if (bench.role === 'heater') return heaterAt(bench, at_V)
  if (point !== null && point.expected_A[bench.name] !== undefined)
    return fromNetwork(bench, at_V, mode, point)
  const rail = equipment.rails[bench.name]
  if (rail === undefined) return null
  const charted = tubes === 'cold' ? null : fromCharts(equipment, rail, bench, at_V, mode, nodes)
  if (charted !== null) return charted
  const told =
    tubes === 'cold' && rail.role !== 'bias'
      ? coldEstimate(equipment, bench.name, rail, at_V, bench)
      : estimate(equipment, bench.name, rail, mode, at_V, bench)
  if (told === null) return byHandAlone(equipment, bench, rail)
  // A handbook's total of a bias rail in this mode was read with the grids driven.
  const known =
    rail.totals[mode] === undefined
      ? relieved(told, byRails.grids_A[bench.name] ?? 0, rail, bench, at_V)
      : told
  const guard =
    rail.role === 'bias' || tubes === 'cold'
      ? null
      : tubeSumGuard(equipment, bench.name, mode, at_V, terminalBleeder_ohm(rail, bench))
  return {
    expected_A: known.expected_A,
    text: known.text,
    source: known.source,
    unverified: known.unverified,
    spread: {
      kind: 'bounds',
      lower_A: known.lower_A,
      // No healthy set goes beyond the ratings of its tubes; a total that does is refused, not trimmed.
      upper_A: Math.max(known.expected_A, Math.min(known.upper_A, guard?.ceiling_A ?? Infinity)),
      text: known.band,
      source: 'our choice for a set known by its rails only',
    },
    guards: guard === null ? [] : [guard],
    charging_F: railCapacitance_F(equipment, bench.name) + bench.output_F,
    shares: [],
    problems: [],
  }
}

/** What a bias rail gives before any grid current comes back to it; null where nothing says. */
function withoutGrids_A(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  mode: ModeName,
  volts: SetPoints,
  name: RailName,
): number | null {
  const rail = equipment.rails[name]
  const bench = rails[name]
  const V = volts[name] ?? 0
  if (rail === undefined || bench === undefined || V <= 0) return null
  return estimate(equipment, name, { ...rail, totals: {} }, mode, V, bench)?.expected_A ?? null
}

/**
 * A rail of which the file says nothing but a limit stated by hand. Nothing is expected of it, so that no rule that needs an
 * expected current judges it; the trip is what was stated.
 */
function byHandAlone(equipment: Equipment, bench: RailBench, rail: Rail): WithProblems | null {
  if (rail.manual === undefined) return null
  const source = 'stated by hand in the set file'
  return {
    expected_A: 0,
    text: `not known: nothing in the set file says what ${bench.name} should draw; anything up to the ${show(rail.manual.trip_A, 'A')} stated by hand goes on`,
    source,
    spread: {
      kind: 'bounds',
      lower_A: 0,
      upper_A: rail.manual.trip_A,
      text: 'no healthy current is known, so none is marginal below the limit stated by hand',
      source,
    },
    guards: [],
    charging_F: railCapacitance_F(equipment, bench.name) + bench.output_F,
    shares: [],
    problems: [],
    manual_alone: true,
  }
}

/**
 * A rail whose tubes the handbook's charts tell. A chart that knows only some of them gives way to a stated total: that one
 * holds them all.
 */
function fromCharts(
  equipment: Equipment,
  rail: Rail,
  bench: RailBench,
  at_V: number,
  mode: ModeName,
  nodes: Readonly<Record<NodeName, number>>,
): WithProblems | null {
  const currents = chartCurrents(equipment, bench.name, mode)
  if (currents === null) return null
  const whole = currents.shares.every(({ by }) => by !== 'type') && currents.lacks.length === 0
  if (!whole && rail.totals[mode] !== undefined) return null
  const known = chartEstimate(currents, rail, bench, at_V)
  const sum = tubeSumGuard(equipment, bench.name, mode, at_V, terminalBleeder_ohm(rail, bench))
  const allowed = chartAllowed(equipment, currents, rail, bench, at_V)
  const own = chartGuards(allowed, currents.rail)
  const watches = chartWatches(equipment, mode, allowed, known.expected_A, nodes)
  // A tube that takes a small part of the rail may burn while all is in band: no trip of this rail can hold it.
  const least_A = (known.expected_A + known.upper_A) / 2
  const kept = own.filter(({ ceiling_A }) => ceiling_A >= least_A)
  const guards = [...kept, ...(sum === null ? [] : [sum])]
  const most_A = Math.min(known.upper_A, ...guards.map(({ ceiling_A }) => ceiling_A))
  return {
    expected_A: known.expected_A,
    text: known.text,
    source: known.source,
    unverified: known.unverified,
    spread: {
      kind: 'bounds',
      lower_A: known.lower_A,
      // No healthy set goes beyond the ratings of its tubes.
      upper_A: Math.max(known.expected_A, most_A),
      text: known.band,
      source: 'our choice for a set known by its charts',
    },
    guards,
    unguarded: own.filter((guard) => !kept.includes(guard)).map(({ part }) => part),
    charging_F: railCapacitance_F(equipment, bench.name) + bench.output_F,
    shares: known.scaled.flatMap(({ part, A }) =>
      equipment.tubes[part] === undefined ? [] : [{ tube: part, A }],
    ),
    ratings: watches,
    problems: chartOverRatings(watches),
  }
}

function fromNetwork(bench: RailBench, at_V: number, mode: ModeName, point: OperatingPoint): WithProblems {
  const shares = point.shares[bench.name] ?? []
  const largest = [...shares]
    .filter(({ A }) => A > 0)
    .sort((a, b) => b.A - a.A)
    .slice(0, 3)
    .map(({ tube, A }) => `${tube} ${show(A, 'A')}`)
  const expected_A = point.expected_A[bench.name] ?? 0
  const wide = point.contributors[bench.name] ?? ''
  // A driven stage is named on the rails that feed it, with what its current is scaled from.
  const onRail =
    bench.role === 'bias'
      ? []
      : point.driven.filter(
          ({ tube, plate_A }) =>
            plate_A > 1e-4 && shares.some((share) => share.tube === tube && share.A > 0.5 * plate_A),
        )
  return {
    expected_A,
    text: `the set's circuit solved at ${show(at_V, 'V')} in ${mode} with nominal parts${largest.length > 0 ? `; most of it: ${largest.join(', ')}` : ''}${[...onRail.map(({ text }) => text), ...point.gas].map((text) => `; ${text}`).join('')}`,
    source: ['the set file and tube data', ...onRail.map(({ source }) => source)].join('; '),
    unverified: onRail.find(({ unverified }) => unverified !== undefined)?.unverified,
    spread: {
      kind: 'samples',
      A: point.samples_A[bench.name] ?? [],
      ...(point.dark_A !== undefined && { or_A: point.dark_A[bench.name] ?? [] }),
      text: `9 of 10 healthy sets (${samples} drawn: tubes, resistors by tolerance and age, leakage, read-back)${wide === '' ? '' : `; what moves it most, each alone at its 95 % point (being independent they add as squares): ${wide}`}`,
      source: tubeSource,
    },
    guards: point.guards[bench.name] ?? [],
    charging_F: point.charging_F[bench.name] ?? 0,
    shares,
    ratings: point.ratings[bench.name] ?? [],
    problems: [],
  }
}

function railCapacitance_F(equipment: Equipment, rail: RailName): number {
  return Object.values(equipment.rail_capacitors)
    .filter((capacitor) => capacitor.rail === rail)
    .reduce((sum, capacitor) => sum + capacitor.F, 0)
}

function nothingKnown(rail: RailName, mode: ModeName, volts: SetPoints): LimitProblem {
  return {
    severity: 'error',
    what: `Nothing in the set file says what ${rail} should draw in mode ${mode} (${inWords(volts)}), so it has no limits.`,
    remedy: `Give ${rail} a total from the handbook (totals: { ${mode}: { at: …, current: …, source: … } }), name the tubes that draw from it (rail: ${rail}), or state a bench bleeder; where none can be had, a limit by hand with its reason: manual: { trip: …, reason: … }.`,
  }
}
