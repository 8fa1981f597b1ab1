/*
 * Likelihood of what was measured, with every tolerance: signals on a scale that is logarithmic for large values and straight
 * near nothing, their spread over healthy sets as one covariance. Written without `Math.pow`, small matrices only.
 */

import { choices } from './choices.js'

/** asinh: sign-preserving, logarithmic above `scale`. */
export function scaled(value: number, scale: number): number {
  const x = value / scale
  return x < 0 ? -Math.log(-x + Math.sqrt(x * x + 1)) : Math.log(x + Math.sqrt(x * x + 1))
}

/** The value that is scaled so. */
export function unscaledBy(y: number, scale: number): number {
  return ((Math.exp(y) - Math.exp(-y)) / 2) * scale
}

/** Slope of `scaled` against the logarithm: near 1 for large values, 0 at nothing. */
export function slope(value: number, scale: number): number {
  return Math.abs(value) / Math.sqrt(value * value + scale * scale)
}

export type Matrix = readonly (readonly number[])[]

/** Covariance of rows of samples. */
export function covariance(rows: readonly (readonly number[])[]): {
  readonly mean: number[]
  readonly cov: number[][]
} {
  const n = rows[0]?.length ?? 0
  const mean = Array.from(
    { length: n },
    (_, i) => rows.reduce((sum, row) => sum + (row[i] ?? 0), 0) / Math.max(1, rows.length),
  )
  const cov = Array.from({ length: n }, (_, i) =>
    Array.from({ length: n }, (_, j) => {
      let sum = 0
      for (const row of rows) sum += ((row[i] ?? 0) - (mean[i] ?? 0)) * ((row[j] ?? 0) - (mean[j] ?? 0))
      return sum / Math.max(1, rows.length - 1)
    }),
  )
  return { mean, cov }
}

/** Lower triangle of a symmetric matrix, of which only that half is read; a diagonal that rounding made too small is lifted. */
export function cholesky(matrix: Matrix): number[][] {
  const lower: number[][] = []
  for (const [i, line] of matrix.entries()) {
    const row: number[] = []
    lower.push(row)
    for (let j = 0; j <= i; j++) {
      const other = lower[j] ?? row
      let sum = line[j] ?? 0
      for (let k = 0; k < j; k++) sum -= (row[k] ?? 0) * (other[k] ?? 0)
      row.push(i === j ? Math.sqrt(Math.max(sum, 1e-10)) : sum / (other[j] ?? 1))
    }
  }
  return lower
}

/** Squared distance by the covariance whose triangle is given. */
export function distance(lower: Matrix, off: readonly number[]): number {
  const y: number[] = []
  let sum = 0
  for (const [i, row] of lower.entries()) {
    let value = off[i] ?? 0
    for (let k = 0; k < i; k++) value -= (row[k] ?? 0) * (y[k] ?? 0)
    value /= row[i] ?? 1
    y.push(value)
    sum += value * value
  }
  return sum
}

/** What a matrix whose triangle is given makes `right` of. */
export function solvedBy(lower: Matrix, right: readonly number[]): number[] {
  const n = lower.length
  const y: number[] = []
  for (let i = 0; i < n; i++) {
    let value = right[i] ?? 0
    for (let k = 0; k < i; k++) value -= (lower[i]?.[k] ?? 0) * (y[k] ?? 0)
    y.push(value / (lower[i]?.[i] ?? 1))
  }
  const x = new Array<number>(n).fill(0)
  for (let i = n - 1; i >= 0; i--) {
    let value = y[i] ?? 0
    for (let k = i + 1; k < n; k++) value -= (lower[k]?.[i] ?? 0) * (x[k] ?? 0)
    x[i] = value / (lower[i]?.[i] ?? 1)
  }
  return x
}

/** Logarithm of a many-dimensional t density, without its constant (which is the same for all). */
export function logLikelihood(lower: Matrix, off: readonly number[]): number {
  const n = lower.length
  const { tails } = choices
  let logDeterminant = 0
  for (const [i, row] of lower.entries()) logDeterminant += Math.log(row[i] ?? 1)
  return -logDeterminant - ((tails + n) / 2) * Math.log(1 + distance(lower, off) / tails)
}

/** What the constants of two such densities differ by, of `n` and of `more` dimensions beside them. */
export function logConstants(n: number, more: number): number {
  const { tails } = choices
  return logGamma((tails + n + more) / 2) - logGamma((tails + n) / 2) - (more / 2) * Math.log(Math.PI * tails)
}

/** Stirling's series, where it is good to ten digits. */
function logGamma(x: number): number {
  let shifted = x
  let below = 0
  for (; shifted < 8; shifted++) below += Math.log(shifted)
  const inverse = 1 / shifted
  const square = inverse * inverse
  return (
    (shifted - 0.5) * Math.log(shifted) -
    shifted +
    0.5 * Math.log(2 * Math.PI) +
    inverse * (1 / 12 - square * (1 / 360 - square / 1260)) -
    below
  )
}

/** Logarithm of a normal density. */
export function logNormal(off: number, variance: number): number {
  return -0.5 * ((off * off) / variance + Math.log(2 * Math.PI * variance))
}

/** Logarithm of a sum whose parts are given by theirs. */
export function logSum(a: number, b: number): number {
  const most = Math.max(a, b)
  return most === -Infinity ? most : most + Math.log(Math.exp(a - most) + Math.exp(b - most))
}
