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
import { type FaultySet, faultySets, severe } from '../../helpers/faulty-sets.js'
import { comingFaults, comingIn, rehearsed } from '../../helpers/mid-run.js'
import { tiesOf } from '../../helpers/ties.js'
import { truthOf } from '../../helpers/unlisted-truth.js'
import { type Case, counted, type Group, groupsOf, modeOf, readAsAsked, stated } from './answers.js'
import { unlistedCase } from './unlisted.js'

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
/** Both kinds of probing are given up after this many. */
const mostReadings = 8
/**
 * Brute force draws every fault many times: of sets with more than these, one case in so many is asked, of so many of the causes that
 * the ranking tells.
 */
const mostBrute = 260
const bruteOf = { cases: 8, causes: 12 } as const

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
    coming: comingFaults({ equipment, bench }, single),
    draw,
    diagnose: createDiagnoser({ equipment, bench, plan }),
    ties: tiesOf(lab, single),
    brute: bruteForce(single, draw, { wholeRan: 0.5, wholeTripped: 0.02 }),
  }
}
export type Set = ReturnType<typeof laid>

/**
 * Faulty sets, one fault at a time over the library; one in twenty a pair, one in twenty unlisted, and one in twenty such that its
 * fault comes in the middle of a whole rehearsed run; and healthy ones.
 */
export function faultCases(seed: number): {
  readonly faulty: (n: number) => Case
  readonly healthy: (n: number) => Case
  readonly demo: () => Set
  readonly sets: () => readonly Set[]
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
    sets: () => profiles.map(setOf),
    faulty(n) {
      const set = setOf(pathOf(n))
      const source = chance(firstSeed).fork(`case ${n}`)
      // Of each set's cases one in twenty is a pair, one unlisted, and one comes in mid-run.
      const round = Math.floor(n / profiles.length)
      if (round % 20 === 19) return unlistedCase(set, n, firstSeed + n)
      if (round % 20 === 14) return midRunCase(set, n)
      const double = round % 20 === 9
      const from = double ? set.pairs : shuffled(set.single)
      const fault = double ? from[Math.floor(source.next() * from.length)] : from[round % from.length]
      if (fault === undefined) throw new Error('no fault')
      return tried(set, n, double ? 'double' : 'single', fault, set.draw(fault, firstSeed + n))
    },
    healthy(n) {
      const set = setOf(pathOf(n))
      const began = performance.now()
      const drawn = set.draw(null, firstSeed + 1_000_000 + n)
      const told = set.diagnose(drawn.seen, [], { fails: true })
      const first = groupsOf(told)[0]
      const later = readOn(set, drawn, told)
      const place = (at: Diagnosis): number => groupsOf(at).findIndex(({ is }) => is === 'nothing')
      return {
        ...{ n, set: set.path, kind: 'healthy', fault: '', weight: 0, shows: first?.is === 'cause' },
        ...{
          rank: place(told),
          after: later.map(place),
          tie: 0,
          endTie: 0,
          ties: 0,
          needed: null,
          brute: null,
        },
        stated: [told, ...later].flatMap((each, i) => stated(each, i, () => false)),
        first: first?.faults[0] ?? first?.is ?? '',
        ms: performance.now() - began,
      }
    },
  }
}

/** A fault that comes at volts or with a step, in a whole run in virtual time, read back from its record. */
function midRunCase(set: Set, n: number): Case {
  const seed = firstSeed + n
  const fault = set.coming[Math.floor(chance(seed).fork('coming fault').next() * set.coming.length)]
  if (fault === undefined) throw new Error(`${set.path} has no fault that comes in mid-run`)
  const spec = comingIn(set, fault, seed)
  const seen = rehearsed(set, spec, seed)
  const made = tried(set, n, 'mid-run', fault, { ...set.draw(fault, seed), seen })
  return { ...made, came: { when: spec.text, tripped: seen.tripped !== null } }
}

/** What is told after each of the readings that are asked for, as many as count. */
function readOn(set: Set, drawn: FaultySet, first: Diagnosis): Diagnosis[] {
  const mode = modeOf(set, first, drawn.seen)
  const readings: Reading[] = []
  const later: Diagnosis[] = []
  for (let told = first; told.next !== null && later.length < counted; later.push(told)) {
    readings.push(readAsAsked(drawn, told, told.next, mode))
    told = set.diagnose(drawn.seen, readings)
  }
  return later
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
  const first = set.diagnose(seen, [], { fails: true })
  const mode = modeOf(set, first, seen)
  const volts = first.measured_at?.volts ?? {}
  const point = first.measured_at === null ? null : { mode, volts, hot: true }
  const ties = kind === 'single' ? set.ties(fault, mode, point) : 0
  // What was really done: as severe as it was drawn.
  const really = severe(
    fault,
    chance(firstSeed + n)
      .fork('faulty set')
      .fork('severity'),
  )
  const { shows } = truthOf(set, { fault: really })(seen, first, [])
  const alone = rankOf(first, fault, shows)
  const found = (told: Diagnosis): boolean => isFound(told, fault, ties)
  const after: number[] = []
  const isIt = (names: readonly string[]): boolean => names.includes(fault.fault)
  const halves = fault.fault.split(' + ')
  const isHalf =
    kind === 'double'
      ? (names: readonly string[]): boolean => names.some((name) => halves.includes(name))
      : undefined
  const said = [...stated(first, 0, isIt, isHalf)]
  let suggested: number | null = found(first) ? 0 : null
  let told = first
  let endTie = alone.tie
  const readings: Reading[] = []
  while (
    told.next !== null &&
    (after.length < counted || (suggested === null && readings.length < mostReadings))
  ) {
    readings.push(readAsAsked(drawn, told, told.next, mode))
    told = set.diagnose(seen, readings, { fails: true })
    if (after.length < counted) {
      const now = rankOf(told, fault, shows)
      after.push(now.rank)
      endTie = now.tie
      said.push(...stated(told, after.length, isIt, isHalf))
    }
    if (suggested === null && found(told)) suggested = readings.length
  }
  const ms = performance.now() - began
  const needs = kind === 'single' && suggested !== 0 && shows
  const [best] = groupsOf(first)
  return {
    ...{
      n,
      set: set.path,
      kind,
      fault: fault.fault,
      weight: fault.weight,
      ...alone,
      shows,
      after,
      stated: said,
    },
    ...{ endTie, ties },
    needed: needs
      ? { suggested: suggested ?? mostReadings, random: randomly(set, n, fault, drawn, mode, volts, found) }
      : null,
    brute: kind === 'single' && shows ? bruteFirst(set, n, seen, first, fault) : null,
    first: best?.faults[0] ?? best?.is ?? '',
    ms,
  }
}

/** Brute force, asked for the same groups; of a large set only now and then, and of the likeliest of what the ranking tells. */
function bruteFirst(
  { brute, single }: Set,
  n: number,
  seen: Seen,
  told: Diagnosis,
  fault: Fault,
): boolean | null {
  const large = single.length > mostBrute
  if (large && Math.floor(n / profiles.length) % bruteOf.cases !== 3) return null
  const names = told.hypotheses.flatMap(({ fault: name, tied_with }) => [name, ...tied_with])
  const likely = names.flatMap((name) => single.find((each) => each.fault === name) ?? [])
  const by = brute(seen, large ? likely.slice(0, bruteOf.causes) : single)
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
    if (found(set.diagnose(drawn.seen, readings, { fails: true, next: false }))) return readings.length
  }
  return mostReadings
}

const singles = (faults: readonly string[]): number => faults.filter((name) => !name.includes(' + ')).length

/** Where the true cause stands. That nothing shows is right of what does not show, and that none explains it of a pair, told first. */
function rankOf(
  told: Diagnosis,
  fault: Fault,
  shows: boolean,
): { readonly rank: number; readonly tie: number } {
  const groups = groupsOf(told)
  const holds = ({ faults }: Group): boolean => faults.includes(fault.fault)
  const at = groups.findIndex(
    (group, i) =>
      (holds(group) && !(group.is === 'nothing' && shows)) ||
      (fault.with !== undefined && group.is === 'none' && i === 0),
  )
  return { rank: at < 0 ? 99 : at, tie: singles(groups.find(holds)?.faults ?? []) }
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
