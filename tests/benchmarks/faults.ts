import { chance } from '../../src/chance/index.js'
import {
  coverageOf,
  type Diagnosis,
  diagnosisOf,
  doubleFaults,
  type Fault,
  faultsOf,
  type Reading,
} from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { faultySets } from '../helpers/faulty-sets.js'
import { arithmetic_ms, againstLoop, type Figure, median, quantile, times_ms } from './figures.js'

/** None of these seeds is used by a plan or a test. */
const firstSeed = 70_001
const profiles = [
  'profiles/tern-rock/receive.yaml',
  'profiles/small-receiver/receive-network.yaml',
  'profiles/tern-rock/transmit.yaml',
]
const mostReadings = 3

interface Case {
  readonly double: boolean
  /** Whether what the run read could show it at all. */
  readonly shows: boolean
  readonly rank: number
  readonly tie: number
  readonly top: { readonly probability: number; readonly right: boolean }
  /** Rank after each reading. */
  readonly after: readonly number[]
}

/**
 * Faulty sets, one fault at a time over all of the library in turn (one in ten a pair), and healthy ones. Each is solved at rest
 * step by step, not rehearsed; a cause counts as ranked first with all that are tied with it, "nothing shows" included.
 */
export function faultsFigures(cases: number, healthy: number): Figure[] {
  const sets = profiles.map((path) => {
    const all = loadAll(path).value
    if (all === null) throw new Error(`${path} does not load.`)
    const { plan } = makePlan(all.profile, all.equipment, all.bench)
    if (plan === null) throw new Error(`${path} has no plan.`)
    const single = faultsOf(all.equipment)
    return {
      path,
      plan,
      equipment: all.equipment,
      bench: all.bench,
      single,
      pairs: doubleFaults(single, 60),
      draw: faultySets(all.equipment, all.bench, plan),
    }
  })
  const source = chance(firstSeed)
  const made = Array.from({ length: cases }, (_, n): Case | null => {
    const set = sets[n % sets.length]
    if (set === undefined) return null
    const double = n % 10 === 9
    const from: readonly Fault[] = double ? set.pairs : set.single
    const fault = from[Math.floor(source.next() * from.length)]
    if (fault === undefined) return null
    const drawn = set.draw(fault, firstSeed + n)
    const readings: Reading[] = []
    const diagnose = (): Diagnosis => diagnosisOf({ ...set, seen: drawn.seen, readings })
    let told = diagnose()
    const { rank, tie, shows } = rankOf(told, fault)
    const first = groupsOf(told)[0]
    const after: number[] = []
    while (after.length < mostReadings && told.next !== null) {
      const { place, measure } = told.next
      const mode =
        set.plan.steps.findLast(({ index }) => index === told.measured_at?.step)?.mode ??
        set.plan.steps.at(-1)?.mode ??
        ''
      readings.push(drawn.read(place, measure, told.measured_at?.volts ?? {}, mode))
      told = diagnose()
      after.push(rankOf(told, fault).rank)
    }
    return {
      double,
      shows,
      rank,
      tie,
      after,
      top: { probability: first?.probability ?? 0, right: rank === 0 },
    }
  }).filter((each) => each !== null)
  const single = made.filter(({ double }) => !double)
  const shown = single.filter(({ shows }) => shows)
  const pairs = made.filter(({ double }) => double)
  const falsely = Array.from({ length: healthy }, (_, n) => {
    const set = sets[n % sets.length]
    if (set === undefined) return false
    const told = diagnosisOf({ ...set, seen: set.draw(null, firstSeed + 1_000_000 + n).seen })
    return (told.hypotheses[0]?.probability ?? 0) > told.nothing.probability
  })
  const share = (all: readonly Case[], is: (each: Case) => boolean): number =>
    (100 * all.filter(is).length) / Math.max(1, all.length)
  const figure = (
    what: string,
    value: number,
    unit: string,
    yardstick: string,
    target: string,
    met: boolean | null,
  ): Figure => ({ what, value, unit, yardstick, ratio: null, target, met })
  const of = (all: readonly unknown[]): string => `${all.length} cases`
  const sure = made.filter(({ top }) => top.probability >= 0.7 && top.probability < 0.9)
  const calibrated = share(sure, ({ top }) => top.right)
  const end = ({ rank, after }: Case): number => after.at(-1) ?? rank
  return [
    figure(
      'true cause ranked first from the run alone (with its ties, "nothing shows" counted)',
      share(single, ({ rank }) => rank === 0),
      '%',
      of(single),
      'at least 70 %',
      share(single, ({ rank }) => rank === 0) >= 70,
    ),
    figure(
      'the same, of faults that show in what the run read',
      share(shown, ({ rank }) => rank === 0),
      '%',
      of(shown),
      'shown beside it',
      null,
    ),
    figure(
      'true cause among the first three',
      share(single, ({ rank }) => rank < 3),
      '%',
      of(single),
      'at least 90 %',
      share(single, ({ rank }) => rank < 3) >= 90,
    ),
    figure(
      'the same, of faults that show',
      share(shown, ({ rank }) => rank < 3),
      '%',
      of(shown),
      'shown beside it',
      null,
    ),
    figure(
      'size of the tie group of the true cause, median',
      median(single.map(({ tie }) => tie)),
      'causes',
      of(single),
      'shown',
      null,
    ),
    figure(
      'and 90th percentile',
      quantile(
        single.map(({ tie }) => tie),
        0.9,
      ),
      'causes',
      of(single),
      'shown',
      null,
    ),
    figure(
      'of faults that show: tie group, median',
      median(shown.map(({ tie }) => tie)),
      'causes',
      of(shown),
      'shown',
      null,
    ),
    figure(
      `true cause first after at most ${mostReadings} suggested readings`,
      share(single, (each) => end(each) === 0),
      '%',
      of(single),
      'at least 95 %',
      share(single, (each) => end(each) === 0) >= 95,
    ),
    figure(
      'true among causes given 70 to 90 %',
      calibrated,
      '%',
      of(sure),
      '70 to 90 %',
      sure.length === 0 ? null : calibrated >= 70 && calibrated <= 90,
    ),
    figure(
      'pairs within the first five, or "none of these"',
      share(pairs, ({ rank }) => rank < 5),
      '%',
      of(pairs),
      'all',
      pairs.length === 0 ? null : share(pairs, ({ rank }) => rank < 5) === 100,
    ),
    figure(
      'healthy sets of which no cause is named',
      (100 * falsely.filter((each) => !each).length) / Math.max(1, falsely.length),
      '%',
      of(falsely),
      'at least 99 %',
      falsely.filter((each) => !each).length >= 0.99 * falsely.length,
    ),
    ...speed(sets[0]),
  ]
}

interface Set {
  readonly equipment: Parameters<typeof coverageOf>[0]['equipment']
  readonly bench: Parameters<typeof coverageOf>[0]['bench']
  readonly plan: Parameters<typeof coverageOf>[0]['plan']
  readonly draw: ReturnType<typeof faultySets>
}

function speed(demo: Set | undefined): Figure[] {
  if (demo === undefined) return []
  const timed = (what: string, most_ms: number, call: () => void): Figure => {
    const ms = median(times_ms(3, call))
    return {
      what,
      value: ms,
      unit: 'ms',
      yardstick: againstLoop(),
      ratio: ms / arithmetic_ms(),
      target: `under ${most_ms / 1000} s`,
      met: ms < most_ms,
    }
  }
  const { seen } = demo.draw(null, firstSeed)
  return [
    timed('coverage of the demo receiver, nominal and edges of the band', 5000, () => coverageOf(demo)),
    timed('diagnosis of a run of the demo receiver', 1000, () => diagnosisOf({ ...demo, seen })),
  ]
}

/** Causes as they are told, "nothing shows" and "none of these" among them, likeliest first. */
function groupsOf(told: Diagnosis): {
  readonly probability: number
  readonly faults: readonly string[]
  readonly is: 'cause' | 'nothing' | 'none'
}[] {
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

function rankOf(
  told: Diagnosis,
  fault: Fault,
): { readonly rank: number; readonly tie: number; readonly shows: boolean } {
  const groups = groupsOf(told)
  const at = groups.findIndex(
    ({ faults, is }) => faults.includes(fault.fault) || (fault.with !== undefined && is === 'none'),
  )
  return { rank: at < 0 ? 99 : at, tie: groups[at]?.faults.length ?? 0, shows: groups[at]?.is !== 'nothing' }
}
