import { choices } from './choices.js'
import { cholesky, covariance, type Matrix, solvedBy } from './likelihood.js'
import { type Model, shown } from './signals.js'

/*
 * What this very set drew while it was in order says where in the spread of healthy sets it lies: what it should read now is
 * known better than of a set that nobody has seen.
 */

export interface Earlier {
  readonly model: Model
  /** Runs that its readings are the mean of. */
  readonly runs: number
}

/** Mean and covariance of a run's signals over healthy sets, given the earlier ones. */
export function given(
  rows: readonly (readonly number[])[],
  { model, runs }: Earlier,
  drawnOf: readonly number[],
): { readonly mean: number[]; readonly cov: number[][] } {
  const of = covariance(rows)
  const before = model.signals.filter(({ at }) => at !== null)
  const kept: { readonly now: readonly number[]; readonly then: readonly number[] }[] = []
  for (const [i, drawn] of drawnOf.entries()) {
    const now = rows[i]
    const then = before.map((signal) => {
      const value = model.value(signal, { drawn })
      return value === null ? Number.NaN : shown(value, signal).y
    })
    if (now !== undefined && then.every(Number.isFinite)) kept.push({ now, then })
  }
  if (before.length === 0 || kept.length < 2 * (before.length + of.mean.length)) return of
  const n = of.mean.length
  const { mean, cov } = covariance(kept.map(({ now, then }) => [...now, ...then]))
  const block = (from: number, to: number, left: number, right: number): number[][] =>
    cov.slice(from, to).map((line) => line.slice(left, right))
  const end = n + before.length
  const wobble = (i: number, j: number, times: number): number =>
    (choices.runToRun * choices.runToRun * (i === j ? 1 : choices.shared)) / times
  const known: Matrix = block(n, end, n, end).map((line, i) =>
    line.map((value, j) => value + wobble(i, j, runs) + (i === j ? (before[i]?.error ?? 0) + 1e-4 : 0)),
  )
  const lower = cholesky(known)
  const off = before.map((signal, i) => shown(signal.measured, signal).y - (mean[n + i] ?? 0))
  const told = solvedBy(lower, off)
  const cross = block(0, n, n, end)
  const gains = cross.map((line) => solvedBy(lower, line))
  return {
    mean: mean
      .slice(0, n)
      .map((each, i) => each + (cross[i] ?? []).reduce((sum, value, k) => sum + value * (told[k] ?? 0), 0)),
    cov: block(0, n, 0, n).map((line, i) =>
      line.map(
        (value, j) =>
          value -
          (cross[i] ?? []).reduce((sum, each, k) => sum + each * (gains[j]?.[k] ?? 0), 0) +
          wobble(i, j, 1),
      ),
    ),
  }
}
