import { chance } from '../../../src/chance/index.js'
import {
  createDiagnoser,
  createLab,
  type Diagnosis,
  doubleFaults,
  type Fault,
  faultsOf,
  type Reading,
  type Seen,
} from '../../../src/faults/index.js'
import { loadAll } from '../../../src/files/index.js'
import { makePlan } from '../../../src/plan/index.js'
import { bruteForce } from '../../helpers/brute-force.js'
import { type FaultySet, faultySets, unlisted } from '../../helpers/faulty-sets.js'
import { tiesOf } from '../../helpers/ties.js'

/** None of these seeds is used by a plan or a test; the figures of another first seed say how far the ranking was fitted to these. */
export const usualSeed = 70_001
/** One measurement a process. */
let firstSeed = usualSeed
const profiles = [
  'profiles/tern-rock/receive.yaml',
  'tests/sets/hailer/receive.yaml',
  'profiles/tern-rock/transmit.yaml',
  'tests/sets/converter/receive.yaml',
  'profiles/small-receiver/receive-network.yaml',
] as const
/** Suggested readings that count; both kinds of probing are given up after this many. */
const counted = 3
const mostReadings = 8
/** Brute force draws every fault many times: sets with more than these are left out of it. */
const mostBrute = 260

/** One case as it is kept: a line of the file. */
export interface Case {
  readonly n: number
  readonly set: string
  readonly kind: 'single' | 'double' | 'unlisted' | 'healthy'
  readonly fault: string
  /** Of the library, for figures that are to follow how often faults come. */
  readonly weight: number
  /** Whether what the run read could show it at all, as the diagnosis has it. */
  readonly shows: boolean
  /** Place of the true cause, with all that are tied with it, among all answers; and after each of three suggested readings. */
  readonly rank: number
  readonly after: readonly number[]
  /** Faults that stand as one with it, from the run alone and at the end. */
  readonly tie: number
  readonly endTie: number
  /** The likeliest cause each time: its probability and whether it is true. */
  readonly stated: readonly { readonly p: number; readonly right: boolean }[]
  /** Readings until it stood alone with what no reading parts from it; null where the run alone did that. */
  readonly needed: { readonly suggested: number; readonly random: number } | null
  /** Whether brute force on the same readings has the true cause first, among the same groups. */
  readonly brute: boolean | null
  readonly first: string
  readonly ms: number
}

function laid(path: string) {
  const all = loadAll(path).value
  if (all === null) throw new Error(`${path} does not load.`)
  const { equipment, bench } = all
  const { plan, problems } = makePlan(all.profile, equipment, bench)
  if (plan === null) throw new Error(`${path} has no plan: ${problems.map(({ what }) => what).join(' ')}`)
  const single = faultsOf(equipment)
  const lab = createLab(equipment, bench)
  const draw = faultySets(equipment, bench, plan)
  return {
    ...{ path, plan, equipment, bench, single, lab },
    pairs: doubleFaults(single, 60),
    draw,
    diagnose: createDiagnoser({ equipment, bench, plan }),
    ties: tiesOf(lab, single),
    brute: bruteForce(single, draw, { wholeRan: 0.5, wholeTripped: 0.02 }),
  }
}
type Set = ReturnType<typeof laid>

/** Faulty sets, one fault at a time over the library, one in twenty a pair and one in twenty unlisted; and healthy ones. */
export function faultCases(seed: number): {
  readonly faulty: (n: number) => Case
  readonly healthy: (n: number) => Case
  readonly demo: () => Set
} {
  firstSeed = seed
  const made = new Map<string, Set>()
  const setOf = (path: string): Set => {
    const known = made.get(path) ?? laid(path)
    made.set(path, known)
    return known
  }
  const pathOf = (n: number): string => profiles[n % profiles.length] ?? profiles[0]
  return {
    demo: () => setOf(profiles[0]),
    faulty(n) {
      const set = setOf(pathOf(n))
      const source = chance(firstSeed).fork(`case ${n}`)
      // Of each set's cases one in twenty is a pair and one unlisted.
      const round = Math.floor(n / profiles.length)
      if (round % 20 === 19) return unlistedCase(set, n)
      const double = round % 20 === 9
      const from = double ? set.pairs : shuffled(set.single)
      const fault = double ? from[Math.floor(source.next() * from.length)] : from[round % from.length]
      if (fault === undefined) throw new Error('no fault')
      return tried(set, n, double ? 'double' : 'single', fault, set.draw(fault, firstSeed + n))
    },
    healthy(n) {
      const set = setOf(pathOf(n))
      const began = performance.now()
      const told = set.diagnose(set.draw(null, firstSeed + 1_000_000 + n).seen, [], false)
      const first = groupsOf(told)[0]
      return {
        ...{ n, set: set.path, kind: 'healthy', fault: '', weight: 0, shows: first?.is === 'cause' },
        ...{ rank: first?.is === 'nothing' ? 0 : 1, after: [], tie: 0, endTie: 0, needed: null, brute: null },
        stated: stated(told, null),
        first: first?.faults[0] ?? first?.is ?? '',
        ms: performance.now() - began,
      }
    },
  }
}

const orders = new Map<readonly Fault[], readonly Fault[]>()
/** Each fault once before any comes again. */
function shuffled(faults: readonly Fault[]): readonly Fault[] {
  const known = orders.get(faults)
  if (known !== undefined) return known
  const source = chance(firstSeed).fork('order')
  const made = faults
    .map((fault) => ({ fault, at: source.next() }))
    .sort((a, b) => a.at - b.at)
    .map(({ fault }) => fault)
  orders.set(faults, made)
  return made
}

function tried(set: Set, n: number, kind: Case['kind'], fault: Fault, drawn: FaultySet): Case {
  const began = performance.now()
  const { seen } = drawn
  const first = set.diagnose(seen)
  const mode = modeOf(set, first, seen)
  const volts = first.measured_at?.volts ?? {}
  const point = first.measured_at === null ? null : { mode, volts, hot: true }
  const ties = kind === 'single' ? set.ties(fault, mode, point) : 0
  const alone = rankOf(first, fault)
  const found = (told: Diagnosis): boolean => isFound(told, fault, ties)
  const after: number[] = []
  const said = [...stated(first, fault)]
  let suggested: number | null = found(first) ? 0 : null
  let told = first
  const readings: Reading[] = []
  while (
    told.next !== null &&
    (after.length < counted || (suggested === null && readings.length < mostReadings))
  ) {
    readings.push(drawn.read(told.next.place, told.next.measure, volts, mode))
    told = set.diagnose(seen, readings)
    if (after.length < counted) {
      after.push(rankOf(told, fault).rank)
      said.push(...stated(told, fault))
    }
    if (suggested === null && found(told)) suggested = readings.length
  }
  const ms = performance.now() - began
  const needs = kind === 'single' && suggested !== 0 && alone.shows
  return {
    ...{ n, set: set.path, kind, fault: fault.fault, weight: fault.weight, ...alone, after, stated: said },
    endTie: rankOf(told, fault).tie,
    needed: needs
      ? { suggested: suggested ?? mostReadings, random: randomly(set, n, fault, drawn, mode, volts, found) }
      : null,
    brute: kind === 'single' && set.single.length <= mostBrute ? bruteFirst(set, seen, first, fault) : null,
    first: groupsOf(first)[0]?.faults[0] ?? groupsOf(first)[0]?.is ?? '',
    ms,
  }
}

/** Brute force, asked for the same groups. */
function bruteFirst({ brute }: Set, seen: Seen, told: Diagnosis, fault: Fault): boolean {
  const by = brute(seen)
  const ranked = groupsOf(told)
    .map(({ faults, is }) => ({
      faults,
      p: faults.reduce((sum, name) => sum + (by.get(name) ?? 0), is === 'nothing' ? (by.get('') ?? 0) : 0),
    }))
    .sort((a, b) => b.p - a.p)
  return ranked[0]?.faults.includes(fault.fault) === true
}

/** The same case, probed at random: any node, ohms or volts, none twice. */
function randomly(
  set: Set,
  n: number,
  fault: Fault,
  drawn: FaultySet,
  mode: string,
  volts: Readonly<Record<string, number>>,
  found: (told: Diagnosis) => boolean,
): number {
  const source = chance(firstSeed).fork(`probing ${n} ${fault.fault}`)
  const hot = Object.keys(volts).length > 0
  const left = [...set.lab.places(mode)]
    .filter((place) => place !== set.equipment.chassis_node)
    .flatMap((place) => [
      { place, measure: 'ohms' as const },
      ...(hot ? [{ place, measure: 'volts' as const }] : []),
    ])
  const readings: Reading[] = []
  while (readings.length < mostReadings && left.length > 0) {
    const [one] = left.splice(Math.floor(source.next() * left.length), 1)
    if (one === undefined) break
    readings.push(drawn.read(one.place, one.measure, volts, mode))
    if (found(set.diagnose(drawn.seen, readings, false))) return readings.length
  }
  return mostReadings
}

function unlistedCase(set: Set, n: number): Case {
  const began = performance.now()
  const spoilt = unlisted(set.equipment, set.plan, firstSeed + n)
  const told = set.diagnose(set.draw(spoilt, firstSeed + n).seen, [], false)
  const groups = groupsOf(told)
  const part = spoilt.fault?.part ?? ''
  // Right is that none of these explains it, its own part, or first of all that nothing shows.
  const rank = groups.findIndex(
    ({ is, faults }, at) =>
      is === 'none' || (is === 'nothing' && at === 0) || faults.some((name) => name.startsWith(`${part}:`)),
  )
  return {
    ...{ n, set: set.path, kind: 'unlisted', fault: spoilt.fault?.fault ?? 'bridge', weight: 0 },
    ...{ shows: groups[0]?.is !== 'nothing', rank: rank < 0 ? 99 : rank, after: [], tie: 0, endTie: 0 },
    ...{
      stated: stated(told, null),
      needed: null,
      brute: null,
      first: groups[0]?.faults[0] ?? groups[0]?.is ?? '',
    },
    ms: performance.now() - began,
  }
}

/** Where the controls stand for a reading: as told, else as where the run ended. */
function modeOf({ plan }: Set, told: Diagnosis, { steps, hookups = [] }: Seen): string {
  const last = steps.at(-1)?.step ?? hookups.at(-1)?.step
  return told.measured_at?.mode ?? plan.steps.find(({ index }) => index === last)?.mode ?? ''
}

interface Group {
  readonly probability: number
  readonly faults: readonly string[]
  readonly is: 'cause' | 'nothing' | 'none'
}

/** Answers as they are told, "nothing shows" and "none of these" among them, likeliest first. */
function groupsOf(told: Diagnosis): Group[] {
  return [
    ...told.hypotheses.map(({ fault, tied_with, probability }) => ({
      probability,
      faults: [fault, ...tied_with],
      is: 'cause' as const,
    })),
    { probability: told.nothing.probability, faults: told.nothing.faults, is: 'nothing' as const },
    { probability: told.none, faults: [], is: 'none' as const },
  ].sort((a, b) => b.probability - a.probability)
}

const singles = (faults: readonly string[]): number => faults.filter((name) => !name.includes(' + ')).length

function rankOf(
  told: Diagnosis,
  fault: Fault,
): { readonly rank: number; readonly tie: number; readonly shows: boolean } {
  const groups = groupsOf(told)
  const at = groups.findIndex(
    ({ faults, is }) => faults.includes(fault.fault) || (fault.with !== undefined && is === 'none'),
  )
  const own = groups[at]
  return {
    rank: at < 0 ? 99 : at,
    tie: own === undefined ? 0 : singles(own.faults),
    shows: own?.is !== 'nothing',
  }
}

/** First with four in five, and with no more beside it than no reading could part. */
function isFound(told: Diagnosis, fault: Fault, ties: number): boolean {
  const first = groupsOf(told)[0]
  return (
    first?.is === 'cause' &&
    first.probability >= 0.8 &&
    first.faults.includes(fault.fault) &&
    singles(first.faults) <= Math.max(1, ties)
  )
}

/** What is said of the likeliest cause, and whether it is so. */
function stated(told: Diagnosis, fault: Fault | null): Case['stated'] {
  const [first] = told.hypotheses
  if (first === undefined) return []
  const right = fault !== null && [first.fault, ...first.tied_with].includes(fault.fault)
  return [{ p: Number(first.probability.toFixed(4)), right }]
}
