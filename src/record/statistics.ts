import { decimal } from '../exchange/index.js'

/** What a block, a roll-up or a pixel column says of its readings, in the stream's unit. `first` and `last` by order. */
export interface Statistics {
  readonly n: number
  readonly from_us: number
  readonly to_us: number
  readonly first: number
  readonly last: number
  readonly min: number
  readonly max: number
  readonly mean: number
}

export function statisticsOf(
  t_us: Float64Array,
  n: Float64Array,
  k: Float64Array,
  count: number,
): Statistics {
  let [from_us, to_us, min, max, sum] = [Infinity, -Infinity, Infinity, -Infinity, 0]
  for (let i = 0; i < count; i++) {
    const value = decimal(n[i] ?? 0, k[i] ?? 0)
    const t = t_us[i] ?? 0
    if (t < from_us) from_us = t
    if (t > to_us) to_us = t
    if (value < min) min = value
    if (value > max) max = value
    sum += value
  }
  const at = (i: number): number => decimal(n[i] ?? 0, k[i] ?? 0)
  return { n: count, from_us, to_us, first: at(0), last: at(count - 1), min, max, mean: sum / count }
}

/** Statistics of `before` followed by `after`. */
export function joined(before: Statistics, after: Statistics): Statistics {
  const n = before.n + after.n
  return {
    n,
    from_us: Math.min(before.from_us, after.from_us),
    to_us: Math.max(before.to_us, after.to_us),
    first: before.first,
    last: after.last,
    min: Math.min(before.min, after.min),
    max: Math.max(before.max, after.max),
    mean: (before.mean * before.n + after.mean * after.n) / n,
  }
}
