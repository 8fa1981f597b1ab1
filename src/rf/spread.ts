import type { Figure } from './figure.js'

export interface Spread extends Figure {
  /** Least and most that the readings' own error allows; null where the figure has no bound. */
  readonly least: number | null
  readonly most: number | null
}

/**
 * Figures with what is left open by the instruments: computed at every corner of the readings, each `accuracy` (0.05 = 5 %) too
 * low or too high. All these formulas rise or fall steadily with each reading, so the corners are the extremes.
 */
export function withAccuracy(
  readings: readonly number[],
  accuracy: number,
  figures: (readings: readonly number[]) => readonly Figure[],
): Spread[] {
  const corners = readings.reduce<number[][]>(
    (made, value) =>
      made.flatMap((each) => [
        [...each, value * (1 - accuracy)],
        [...each, value * (1 + accuracy)],
      ]),
    [[]],
  )
  const all = corners.map(figures)
  return figures(readings).map((figure, i) => {
    const values = all.map((each) => each[i]?.value ?? null)
    const bounded = values.filter((value) => value !== null)
    return {
      ...figure,
      least: bounded.length === values.length ? Math.min(...bounded) : null,
      most: bounded.length === values.length ? Math.max(...bounded) : null,
    }
  })
}
