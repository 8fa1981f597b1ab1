import { appendFileSync, existsSync, readFileSync } from 'node:fs'
import { coverageOf, diagnosisOf } from '../../../src/faults/index.js'
import { arithmetic_ms, againstLoop, type Figure, median, quantile, times_ms } from '../figures.js'
import { type Case, distinct, type Stated } from './answers.js'
import { faultCases, usualSeed } from './cases.js'
import { coverageFigures } from './coverage.js'

interface Wanted {
  readonly cases: number
  readonly healthy: number
  /** File of cases, a line each: what is in it is not done again. */
  readonly keep: string | undefined
  /** Stop after so long, and tell of what is there. */
  readonly minutes: number
  /** The first of the seeds. */
  readonly seed: number | undefined
}

/**
 * Faulty and healthy sets solved at rest step by step, not rehearsed; a cause counts as ranked first with all that are tied with
 * it, "nothing shows" included where what was done does not show. No target is said to be met by less than `enough`. Of the cases that are kept, only those asked for are told.
 */
export function faultsFigures({ cases, healthy, keep, minutes, seed = usualSeed }: Wanted): Figure[] {
  const known = new Map(
    (keep !== undefined && existsSync(keep) ? readFileSync(keep, 'utf8').split('\n') : [])
      .filter((line) => line !== '')
      .map((line) => JSON.parse(line) as Case)
      .map((each) => [`${each.kind === 'healthy'} ${each.n}`, each]),
  )
  const until = performance.now() + 60_000 * minutes
  const make = faultCases(seed)
  const made: Case[] = []
  const well: Case[] = []
  const one = (isHealthy: boolean, n: number, to: Case[], by: (n: number) => Case): void => {
    const old = known.get(`${isHealthy} ${n}`)
    if (old === undefined && performance.now() > until) return
    const each = old ?? by(n)
    if (old === undefined && keep !== undefined) appendFileSync(keep, `${JSON.stringify(each)}\n`)
    to.push(each)
  }
  for (let n = 0; n < Math.max(cases, healthy); n++) {
    if (n < cases) one(false, n, made, make.faulty)
    if (n < healthy) one(true, n, well, make.healthy)
  }
  const drawn = Math.min(40, Math.ceil(cases / 12))
  return [
    ...ranking(made, make.sets()),
    ...healthyFigures(well),
    ...calibration(made, well),
    ...(performance.now() > until ? [] : coverageFigures(make.sets(), drawn, seed)),
    ...speed(make.demo()),
  ]
}

const share = (all: readonly Case[], is: (each: Case) => boolean): number =>
  (100 * all.filter(is).length) / Math.max(1, all.length)

/** Sets, faulty or healthy, from which on a figure of them says that its target is met, and statements of a probability. */
const enough = { sets: 500, statements: 100 } as const

function figure(
  what: string,
  value: number,
  unit: string,
  yardstick: string,
  target: string,
  met: boolean | null,
): Figure {
  return { what, value, unit, yardstick, ratio: null, target, met }
}
const of = (all: readonly unknown[]): string => `${all.length} cases`

function percentOf(
  what: string,
  all: readonly Case[],
  is: (each: Case) => boolean,
  /** Held against this, of a run of so many sets. */
  held: { readonly least: number; readonly sets: number } | null,
): Figure {
  const value = share(all, is)
  if (held === null) return figure(what, value, '%', of(all), 'shown beside it', null)
  const few = held.sets < enough.sets || all.length === 0
  return figure(
    what,
    value,
    '%',
    of(all),
    `at least ${held.least} %${few ? ` (NOT SHOWN by ${held.sets} sets: ${enough.sets} are asked for)` : ''}`,
    few ? null : value >= held.least,
  )
}

const end = ({ rank, after }: Case): number => after.at(-1) ?? rank
/** The likeliest cause is wrong and is told with one half or more; alone, or by the readings that count. */
const accuses = (said: Stated | undefined): boolean => said !== undefined && !said.right && said.p >= 0.5
const saidAlone = ({ stated }: Case): Stated | undefined => stated.find(({ after }) => after === 0)
const saidAfter = ({ stated, after }: Case): Stated | undefined =>
  stated.find((each) => each.after === after.length)

function ranking(made: readonly Case[], sets: Parameters<typeof distinct>[1]): Figure[] {
  const single = made.filter(({ kind }) => kind === 'single')
  const shown = single.filter(({ shows }) => shows)
  const forced = shown.filter(({ brute }) => brute !== null)
  const held = (least: number) => ({ least, sets: made.length })
  const pairs = made.filter(({ kind }) => kind === 'double')
  const others = made.filter(({ kind }) => kind === 'unlisted')
  const asked = single.filter(({ needed }) => needed !== null)
  const sum = (which: 'suggested' | 'random'): number =>
    asked.reduce((total, { needed }) => total + (needed?.[which] ?? 0), 0)
  const ratio = sum('suggested') / Math.max(1, sum('random'))
  const ties = (what: string, all: readonly Case[], by: (each: Case) => number): Figure[] => [
    figure(`${what}, median`, median(all.map(by)), 'causes', of(all), 'shown', null),
    figure(`${what}, 90th percentile`, quantile(all.map(by), 0.9), 'causes', of(all), 'shown', null),
  ]
  return [
    {
      ...percentOf(
        'true cause ranked first from the run alone (with its ties, "nothing shows" counted)',
        single,
        ({ rank }) => rank === 0,
        held(70),
      ),
      yardstick: `${of(single)}: ${distinct(single, sets)}`,
    },
    percentOf('the same, of faults that show in what the run read', shown, ({ rank }) => rank === 0, null),
    percentOf(
      `of those also asked of brute force (${setsOf(forced)}; of the demo one case in eight, of the likeliest twelve that the ranking tells): first`,
      forced,
      ({ rank }) => rank === 0,
      null,
    ),
    percentOf(
      'and by brute force on the same readings, an estimate too (24 drawn sets a fault, no pairs, no "none of these")',
      forced,
      ({ brute }) => brute === true,
      null,
    ),
    percentOf('true cause among the first three', single, ({ rank }) => rank < 3, held(90)),
    percentOf('the same, of faults that show', shown, ({ rank }) => rank < 3, null),
    ...ties('size of the tie group of the true cause', single, ({ tie }) => tie),
    ...ties('the same, of faults that show', shown, ({ tie }) => tie),
    percentOf(
      'true cause first after at most three suggested readings',
      single,
      (each) => end(each) === 0,
      held(95),
    ),
    percentOf('the same, of faults that show', shown, (each) => end(each) === 0, null),
    percentOf(
      'the same, and in a group no larger than what no reading parts from it',
      shown,
      (each) => end(each) === 0 && each.endTie <= Math.max(1, each.ties),
      null,
    ),
    ...ties(
      'tie group after at most three suggested readings, of faults that show',
      shown,
      ({ endTie }) => endTie,
    ),
    ...ties('of these, what no reading parts', shown, ({ ties: least }) => least),
    figure(
      'readings needed, suggested over random, where the run shows the fault and does not find it alone',
      ratio,
      '',
      `${of(asked)}: ${(sum('suggested') / Math.max(1, asked.length)).toFixed(2)} against ${(sum('random') / Math.max(1, asked.length)).toFixed(2)} on average, given up after 8`,
      'at most 0.5',
      asked.length === 0 || made.length < enough.sets ? null : ratio <= 0.5,
    ),
    ...pairFigures(pairs, made.length),
    ...unlistedFigures(others, made.length),
    ...midRunFigures(made.filter(({ kind }) => kind === 'mid-run')),
    figure('time of a case, median', median(made.map(({ ms }) => ms)), 'ms', of(made), 'shown', null),
  ]
}

/** Two faults of the library at once. */
function pairFigures(pairs: readonly Case[], sets: number): Figure[] {
  const shown = pairs.filter(({ shows }) => shows)
  const wrong = (what: string, by: (each: Case) => Stated | undefined): Figure[] => [
    percentOf(`${what}, of pairs that show`, shown, (each) => accuses(by(each)), null),
    percentOf(
      'of them, one half of the pair',
      shown,
      (each) => accuses(by(each)) && by(each)?.half === true,
      null,
    ),
  ]
  return [
    percentOf('pairs: both within the first five, or "none of these" first', pairs, ({ rank }) => rank < 5, {
      ...{ least: 100, sets },
    }),
    percentOf('the same, of those that show in what the run read', shown, ({ rank }) => rank < 5, null),
    percentOf('and after at most three suggested readings', shown, (each) => end(each) < 5, null),
    ...wrong('another cause than the pair named with one half or more from the run alone', saidAlone),
    ...wrong('the same after at most three suggested readings', saidAfter),
  ]
}

/** What no library lists: where it stands from the run alone, and when the readings that were asked for have been taken. */
function unlistedFigures(others: readonly Case[], sets: number): Figure[] {
  const shown = others.filter(({ shows }) => shows)
  const alone = ({ rank, strict }: Case): number => strict?.rank ?? rank
  const later = (each: Case): number => each.strict?.after.at(-1) ?? alone(each)
  const right = '"none of these" first, or their own part within the first five'
  return [
    percentOf(
      `unlisted faults: ${right}, or nothing first where nothing shows`,
      others,
      (each) => alone(each) < 5,
      { least: 100, sets },
    ),
    percentOf('the same, of those that show in what the run read', shown, (each) => alone(each) < 5, null),
    percentOf('and after at most three suggested readings', shown, (each) => later(each) < 5, null),
    percentOf(
      'with a listed cause counted as right that predicts the same readings, after them',
      shown,
      (each) => end(each) < 5,
      null,
    ),
    percentOf(
      'of all unlisted faults a wrong cause named with one half or more, from the run alone',
      others,
      (each) => accuses(saidAlone(each)),
      null,
    ),
    percentOf(
      'the same, after at most three suggested readings',
      others,
      (each) => accuses(saidAfter(each)),
      null,
    ),
  ]
}

/** Faults that came while the set was under power, at volts or with a step, in whole rehearsed runs. */
function midRunFigures(came: readonly Case[]): Figure[] {
  const shown = came.filter(({ shows }) => shows)
  const tripped = came.filter((each) => each.came?.tripped === true)
  const three = (what: string, all: readonly Case[]): Figure[] => [
    percentOf(`${what}: first from the run alone`, all, ({ rank }) => rank === 0, null),
    percentOf(`${what}: among the first three`, all, ({ rank }) => rank < 3, null),
    percentOf(`${what}: first after at most three suggested readings`, all, (each) => end(each) === 0, null),
  ]
  return [
    ...three('faults that came in mid-run', came),
    ...three('of them, those that show', shown),
    ...three('of them, those that tripped the run', tripped),
  ]
}

function healthyFigures(well: readonly Case[]): Figure[] {
  return [
    percentOf('healthy sets of which no cause is named', well, ({ shows }) => !shows, {
      ...{ least: 99, sets: well.length },
    }),
    percentOf(
      'healthy sets of which a cause is told with a fifth or more',
      well,
      (each) => (saidAlone(each)?.p ?? 0) >= 0.2,
      null,
    ),
    percentOf('the same, after at most three suggested readings', well, (each) => end(each) === 0, null),
  ]
}

/**
 * Of what is said with 70 to 90 %, how much is so, of all sets alike: a probability leaves room for a whole set, for two faults and
 * for what no library lists, so that it can only be right where these come too, healthy sets as many as faulty ones. Of each set one
 * statement from its run alone and one after its readings: more of one set say the same again.
 */
function calibration(made: readonly Case[], well: readonly Case[]): Figure[] {
  const all = [...made, ...well]
  const alone = all.flatMap((each) => saidAlone(each) ?? [])
  const later = all.flatMap((each) => (each.after.length === 0 ? [] : (saidAfter(each) ?? [])))
  const single = made.filter(({ kind }) => kind === 'single').flatMap((each) => saidAlone(each) ?? [])
  const truth = (what: string, said: readonly Stated[], from: number, to: number, held = false): Figure => {
    const within = said.filter(({ p }) => p >= from && p < to)
    const right = within.filter((each) => each.right).length
    const value = (100 * right) / Math.max(1, within.length)
    const mean = (100 * within.reduce((sum, { p }) => sum + p, 0)) / Math.max(1, within.length)
    const [low, high] = interval(right, within.length)
    const few = within.length < enough.statements
    return figure(
      `${what} ${100 * from} to ${100 * Math.min(1, to)} %`,
      value,
      '%',
      `${within.length} statements, ${mean.toFixed(1)} % said on average; 95 % interval ${low.toFixed(0)} to ${high.toFixed(0)} %`,
      held
        ? `70 to 90 %${few ? ` (NOT SHOWN by fewer than ${enough.statements} statements)` : ''}`
        : 'shown beside it',
      !held || few ? null : value >= 70 && value <= 90,
    )
  }
  return [
    truth('true among causes given, alone and after readings,', [...alone, ...later], 0.7, 0.9, true),
    truth('from the run alone', alone, 0.7, 0.9),
    truth('after readings', later, 0.7, 0.9),
    truth('of sets with one listed fault, from the run alone', single, 0.7, 0.9),
    truth('alone and after readings', [...alone, ...later], 0.5, 0.7),
    truth('alone and after readings', [...alone, ...later], 0.9, 1.01),
  ]
}

/** Wilson's, of so many right among so many, in percent. */
function interval(right: number, n: number): readonly [number, number] {
  if (n === 0) return [0, 100]
  const z = 1.96
  const p = right / n
  const middle = (p + (z * z) / (2 * n)) / (1 + (z * z) / n)
  const half = (z / (1 + (z * z) / n)) * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n))
  return [100 * (middle - half), 100 * (middle + half)]
}

const setsOf = (all: readonly Case[]): string => {
  const counts = new Map<string, number>()
  for (const { set } of all) counts.set(set, (counts.get(set) ?? 0) + 1)
  return [...counts].map(([set, n]) => `${n} of ${set.split('/').slice(-2).join('/')}`).join(', ')
}

function speed(demo: ReturnType<ReturnType<typeof faultCases>['demo']>): Figure[] {
  const timed = (what: string, most_ms: number, call: () => void): Figure => {
    const ms = median(times_ms(3, call))
    return {
      ...{ what, value: ms, unit: 'ms', yardstick: againstLoop(), ratio: ms / arithmetic_ms() },
      target: `under ${most_ms / 1000} s`,
      met: ms < most_ms,
    }
  }
  const drawn = demo.draw(null, 1)
  const { seen } = drawn
  const mode = demo.plan.steps.at(-1)?.mode ?? ''
  const place = [...demo.lab.places(mode)].find((each) => each !== demo.equipment.chassis_node) ?? ''
  const readings = [drawn.read(place, 'ohms', {}, mode)]
  return [
    timed('coverage of the demo receiver, nominal and edges of the band', 5000, () => coverageOf(demo)),
    timed('diagnosis of a run of the demo receiver, nothing solved before', 1000, () =>
      diagnosisOf({ ...demo, seen }),
    ),
    timed('the same with a reading taken since', 1000, () => diagnosisOf({ ...demo, seen, readings })),
  ]
}
