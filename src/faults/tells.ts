/** What a cause is expected to read at a place, on the scale of readings. */
export interface Expected {
  readonly y: number
  readonly variance: number
}

/** How likely two causes would be taken for one another by a reading: the overlap of two bells, 0 to 1. */
function overlap(a: Expected, b: Expected): number {
  const off = a.y - b.y
  const sum = a.variance + b.variance
  return Math.sqrt((2 * Math.sqrt(a.variance * b.variance)) / sum) * Math.exp(-(off * off) / (4 * sum))
}

/** What a reading is expected to tell, in nats: a bound from below, by the overlap of each two causes. */
export function toldBy(expected: readonly Expected[], stand: readonly number[]): number {
  const total = stand.reduce((sum, p) => sum + p, 0)
  let told = 0
  for (const [i, a] of expected.entries()) {
    let alike = 0
    for (const [j, b] of expected.entries()) alike += (stand[j] ?? 0) * overlap(a, b)
    told -= ((stand[i] ?? 0) / total) * Math.log(Math.max(alike / total, 1e-12))
  }
  return told
}

/** Causes left on average, each counted by its weight: the inverse of the sum of squares, before and after. */
export function leftBy(
  expected: readonly Expected[],
  stand: readonly number[],
): { readonly left: number; readonly of: number } {
  const total = stand.reduce((sum, p) => sum + p, 0)
  const part = stand.map((p) => p / Math.max(total, 1e-12))
  const of = 1 / part.reduce((sum, p) => sum + p * p, 0)
  let left = 0
  for (const [i, a] of expected.entries()) {
    const after = expected.map((b, j) => (part[j] ?? 0) * overlap(a, b))
    const all = after.reduce((sum, p) => sum + p, 0)
    left +=
      (part[i] ?? 0) /
      Math.max(
        after.reduce((sum, p) => sum + (p / all) * (p / all), 0),
        1e-12,
      )
  }
  return { left, of }
}
