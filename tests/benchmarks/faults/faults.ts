import { appendFileSync, existsSync, readFileSync } from 'node:fs'
import { coverageOf, diagnosisOf } from '../../../src/faults/index.js'
import { arithmetic_ms, againstLoop, type Figure, median, quantile, times_ms } from '../figures.js'
import { type Case, faultCases, usualSeed } from './cases.js'

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
 * it, "nothing shows" included. Of the cases that are kept, only those asked for are told.
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
  return [...ranking(made), ...healthyFigures(well), ...calibration(made), ...speed(make.demo())]
}

const share = (all: readonly Case[], is: (each: Case) => boolean): number =>
  (100 * all.filter(is).length) / Math.max(1, all.length)

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
  least: number | null,
): Figure {
  const value = share(all, is)
  return figure(
    what,
    value,
    '%',
    of(all),
    least === null ? 'shown beside it' : `at least ${least} %`,
    least === null || all.length === 0 ? null : value >= least,
  )
}

const end = ({ rank, after }: Case): number => after.at(-1) ?? rank

function ranking(made: readonly Case[]): Figure[] {
  const single = made.filter(({ kind }) => kind === 'single')
  const shown = single.filter(({ shows }) => shows)
  const forced = shown.filter(({ brute }) => brute !== null)
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
    percentOf(
      'true cause ranked first from the run alone (with its ties, "nothing shows" counted)',
      single,
      ({ rank }) => rank === 0,
      70,
    ),
    percentOf('the same, of faults that show in what the run read', shown, ({ rank }) => rank === 0, null),
    percentOf('of those also asked of brute force: first', forced, ({ rank }) => rank === 0, null),
    percentOf(
      'and by brute force on the same readings (24 drawn sets a fault)',
      forced,
      ({ brute }) => brute === true,
      null,
    ),
    percentOf('true cause among the first three', single, ({ rank }) => rank < 3, 90),
    percentOf('the same, of faults that show', shown, ({ rank }) => rank < 3, null),
    ...ties('size of the tie group of the true cause', single, ({ tie }) => tie),
    ...ties('the same, of faults that show', shown, ({ tie }) => tie),
    percentOf(
      'true cause first after at most three suggested readings',
      single,
      (each) => end(each) === 0,
      95,
    ),
    percentOf('the same, of faults that show', shown, (each) => end(each) === 0, null),
    ...ties('tie group after the suggested readings, of faults that show', shown, ({ endTie }) => endTie),
    figure(
      'readings needed, suggested over random, where the run shows the fault and does not find it alone',
      ratio,
      '',
      `${of(asked)}: ${(sum('suggested') / Math.max(1, asked.length)).toFixed(2)} against ${(sum('random') / Math.max(1, asked.length)).toFixed(2)} on average, given up after 8`,
      'at most 0.5',
      asked.length === 0 ? null : ratio <= 0.5,
    ),
    percentOf('pairs within the first five, or "none of these"', pairs, ({ rank }) => rank < 5, 100),
    percentOf(
      'unlisted faults: "none of these" or their part within the first five, or nothing shows',
      others,
      ({ rank }) => rank < 5,
      100,
    ),
    figure('time of a case, median', median(made.map(({ ms }) => ms)), 'ms', of(made), 'shown', null),
  ]
}

function healthyFigures(well: readonly Case[]): Figure[] {
  return [percentOf('healthy sets of which no cause is named', well, ({ shows }) => !shows, 99)]
}

/**
 * Of what is said with 70 to 90 %, how much is so: cases counted alike, and as often as the priors say that such faults come
 * (a probability can only be right for the faults that it expects).
 */
function calibration(made: readonly Case[]): Figure[] {
  const said = made
    .filter(({ kind }) => kind === 'single')
    .flatMap(({ stated, weight }) => stated.map((each) => ({ ...each, weight })))
    .filter(({ p }) => p >= 0.7 && p < 0.9)
  const by = (weightOf: (each: (typeof said)[number]) => number): number =>
    (100 * said.reduce((sum, each) => sum + (each.right ? weightOf(each) : 0), 0)) /
    Math.max(
      1e-9,
      said.reduce((sum, each) => sum + weightOf(each), 0),
    )
  const made_of = (what: string, value: number): Figure =>
    figure(
      what,
      value,
      '%',
      `${said.length} statements`,
      '70 to 90 %',
      said.length === 0 ? null : value >= 70 && value <= 90,
    )
  return [
    made_of(
      'true among causes given 70 to 90 %, every fault as often',
      by(() => 1),
    ),
    made_of(
      'the same, faults as often as the priors have them',
      by(({ weight }) => weight),
    ),
  ]
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
  const { seen } = demo.draw(null, 1)
  return [
    timed('coverage of the demo receiver, nominal and edges of the band', 5000, () => coverageOf(demo)),
    timed('diagnosis of a run of the demo receiver, nothing solved before', 1000, () =>
      diagnosisOf({ ...demo, seen }),
    ),
  ]
}
