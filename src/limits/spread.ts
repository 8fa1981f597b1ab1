/** Shape of a set of samples that are all positive: ln of the median and standard deviation of the ln. */
export interface LogNormal {
  readonly mu: number
  readonly sigma: number
}

/** Standard normal points of the probabilities used (tables of the normal distribution). */
export const points = { '0.1 %': -3.0902, '5 %': -1.6449, '95 %': 1.6449, '99.9 %': 3.0902 } as const

/**
 * Log-normal with the samples' own mean and spread of logarithms (unbiased variance). Samples at or below zero count as
 * the smallest positive one, so that a rail that can read nothing still gives a shape. Null when nothing is positive.
 */
export function fitLogNormal(samples: readonly number[]): LogNormal | null {
  let smallest = Infinity
  for (const sample of samples) if (sample > 0 && sample < smallest) smallest = sample
  if (!Number.isFinite(smallest)) return null
  let sum = 0
  for (const sample of samples) sum += Math.log(Math.max(sample, smallest))
  const mu = sum / samples.length
  let squares = 0
  for (const sample of samples) {
    const off = Math.log(Math.max(sample, smallest)) - mu
    squares += off * off
  }
  const sigma = samples.length > 1 ? Math.sqrt(squares / (samples.length - 1)) : 0
  return { mu, sigma }
}

/** Value below which the stated part of a log-normal lies. */
export function logNormalPoint(shape: LogNormal, point: keyof typeof points): number {
  return Math.exp(shape.mu + shape.sigma * points[point])
}

/** Sample below which the fraction `part` of the samples lies, interpolated between neighbours; 0 for no samples. */
export function quantile(samples: readonly number[], part: number): number {
  const sorted = [...samples].sort((a, b) => a - b)
  const place = Math.min(Math.max(part, 0), 1) * (sorted.length - 1)
  const below = Math.floor(place)
  const low = sorted[below] ?? 0
  const high = sorted[below + 1] ?? low
  return low + (high - low) * (place - below)
}
