import { choices } from './choices.js'
import { cholesky, logConstants, logLikelihood, logNormal, logSum, type Matrix } from './likelihood.js'

/** What a fault of the library moves, on the signals' scales, and how often it comes. */
interface Listed {
  readonly moved: readonly number[]
  readonly weight: number
}

interface Read {
  /** Of healthy sets. */
  readonly spread: Matrix
  /** Variances by the instruments. */
  readonly errors: readonly number[]
  /** What was read, off what healthy sets read. */
  readonly off: readonly number[]
}

/** When it may have come, and how likely. */
interface Onset {
  readonly moves: (i: number) => boolean
  readonly part: number
}

/** Less than this moves nothing. */
const still = 0.02

/**
 * How well a fault that no library lists explains what was read: it moves readings together as those of this set do (a path to
 * chassis draws at every step behind it), by an amount that nobody knows; or not even so, each by anything within its own size.
 */
export function logOfUnknown(listed: readonly Listed[], read: Read, onsets: readonly Onset[]): number {
  const sizes = [choices.unknownSmall, choices.unknownMiddle, choices.unknownLarge]
  const logs = onsets.flatMap(({ moves, part }) => {
    const shape = togetherOf(listed, read.off.length, moves)
    return sizes.map(
      (s) => Math.log(part / sizes.length) + logWith(read, (i, j) => s * s * (shape[i]?.[j] ?? 0)),
    )
  })
  const large = choices.unknownLarge
  const anyhow = logWith(read, (i, j) => (i === j ? large * large : 0))
  return logSum(logs.reduce(logSum, -Infinity), anyhow) - Math.log(2)
}

/** Beside the run, readings that were taken since, each off what healthy sets read, with its variance over them. */
interface Since {
  readonly off: number
  readonly variance: number
}

/**
 * The same with readings that were taken since. Each was asked for on account of listed faults and says nothing of how one that
 * no library lists moves it: some of the places read as they do in a whole set, others are moved as a run's readings are, a little,
 * half as much again or several times, and some read anything.
 *
 * @param n - signals of the run
 */
export function logOfUnknownSince(alone: number, n: number, since: readonly Since[]): number {
  const sizes = [choices.unknownSmall, choices.unknownMiddle, choices.unknownLarge]
  const each = Math.log((1 - choices.unknownElsewhere) / (sizes.length + 1))
  return since.reduce(
    (sum, { off, variance }) =>
      sum +
      [
        Math.log(choices.unknownElsewhere) + logNormal(off, variance),
        ...sizes.map((s) => each + logNormal(off, variance + s * s)),
        each - Math.log(choices.meterRange),
      ].reduce(logSum),
    alone - logConstants(n, since.length),
  )
}

/** How faults of this set move its readings together, each counted by how often it comes, the largest of its moves as one. */
function togetherOf(listed: readonly Listed[], n: number, moves: (i: number) => boolean): number[][] {
  const sum = Array.from({ length: n }, () => new Array<number>(n).fill(0))
  let total = 0
  for (const { moved, weight } of listed) {
    const own = moved.map((by, i) => (moves(i) ? by : 0))
    const most = Math.max(...own.map(Math.abs))
    if (!(most > still)) continue
    total += weight
    for (const [i, line] of sum.entries())
      for (let j = 0; j < n; j++)
        line[j] = (line[j] ?? 0) + (weight * (own[i] ?? 0) * (own[j] ?? 0)) / (most * most)
  }
  const odd = choices.unknownOdd * choices.unknownOdd
  return sum.map((line, i) =>
    line.map((value, j) => value / Math.max(total, 1e-12) + (i === j && moves(i) ? odd : 0)),
  )
}

function logWith({ spread, errors, off }: Read, by: (i: number, j: number) => number): number {
  const wide = spread.map((line, i) =>
    line.map((value, j) => value + by(i, j) + (i === j ? (errors[i] ?? 0) : 0)),
  )
  return logLikelihood(cholesky(wide), off)
}
