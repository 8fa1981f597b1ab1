import type { RunReader, StepStory, Story, Stream } from '../record/index.js'

/* What a plot of a run draws, on paper and in a terminal alike. */

/** A rail's volts or current, from every instrument that read it. */
export interface Panel {
  readonly rail: string
  readonly unit: 'V' | 'A'
  readonly streams: readonly Stream[]
}

export function panelsOf(reader: RunReader): Panel[] {
  const streams = reader.streams()
  const rails = [...new Set(streams.flatMap(({ rail }) => (rail === null ? [] : [rail])))]
  return rails.flatMap((rail): Panel[] =>
    (['V', 'A'] as const).flatMap((unit) => {
      const of = streams.filter((stream) => stream.rail === rail && stream.unit === unit)
      return of.length === 0 ? [] : [{ rail, unit, streams: of }]
    }),
  )
}

export const panelName = ({ rail, unit }: Panel): string => `${rail}, ${unit === 'V' ? 'volts' : 'current'}`

/** The band and trip of a rail's current while a step lasted, SI units, s of the run. */
export interface Held {
  readonly from_s: number
  readonly to_s: number
  readonly lower_A: number
  readonly upper_A: number
  readonly trip_A: number
}

export function limitsOf({ steps, duration_s }: Story, rail: string): Held[] {
  return steps.flatMap((step, i) => {
    const found = step.rails.find((each) => each.rail === rail)
    if (found === undefined || step.began_s === null) return []
    const { lower_A, upper_A, trip_A } = found
    return [{ from_s: step.began_s, to_s: endOf(steps, i) ?? duration_s, lower_A, upper_A, trip_A }]
  })
}
const endOf = (steps: readonly StepStory[], i: number): number | null =>
  steps.slice(i + 1).find(({ began_s }) => began_s !== null)?.began_s ?? null
