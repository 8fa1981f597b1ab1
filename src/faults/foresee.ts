import { choices } from './choices.js'
import { cholesky, solvedBy } from './likelihood.js'
import type { Posterior } from './posterior.js'

/** A value that is about to be read, on its scale, beside what is known already. */
export interface Foreseen {
  /** By how much a cause with this row of signals is expected to read off what it predicts. */
  readonly shift: (row: readonly number[]) => number
  /** Variance over healthy sets that is left. */
  readonly variance: number
}

/**
 * What was read before says where in the spread of healthy sets this one lies, so that a place which moves together with what is
 * known tells little more.
 *
 * @param value - what the drawn sets read there, by their number; null where it could not be solved
 */
export type Foresight = (value: (drawn: number) => number | null) => Foreseen

export function foresightOf({ signals, healthy, centre, spread, measured, sets }: Posterior): Foresight {
  const lower = cholesky(
    spread.map((line, i) => line.map((each, j) => each + (i === j ? (signals[i]?.error ?? 0) + 1e-4 : 0))),
  )
  return (value) => {
    const known: { readonly y: number; readonly row: readonly number[] }[] = []
    for (const { drawn, row } of sets) {
      const y = value(drawn)
      if (y !== null) known.push({ y, row })
    }
    if (known.length < 2) return { shift: () => 0, variance: choices.coldSpread * choices.coldSpread }
    const meanOf = (by: (each: (typeof known)[number]) => number): number =>
      known.reduce((sum, each) => sum + by(each), 0) / known.length
    const mean = meanOf(({ y }) => y)
    const variance = meanOf(({ y }) => (y - mean) * (y - mean))
    const together = signals.map(({ band }, i) => {
      // What heaters draw is drawn by itself.
      if (band !== undefined) return 0
      const middle = meanOf(({ row }) => row[i] ?? 0)
      return choices.common * meanOf(({ y, row }) => (y - mean) * ((row[i] ?? 0) - middle))
    })
    const gains = solvedBy(lower, together)
    const told = together.reduce((sum, each, i) => sum + each * (gains[i] ?? 0), 0)
    const most = 2 * Math.sqrt(variance)
    return {
      variance: Math.max(variance - told, 0),
      shift: (row) => {
        const by = row.reduce(
          (sum, y, i) =>
            sum + (gains[i] ?? 0) * ((measured[i] ?? 0) - y - (centre[i] ?? 0) + (healthy[i] ?? 0)),
          0,
        )
        return Math.max(-most, Math.min(most, by))
      },
    }
  }
}
