import type { RunReader, Stream } from '../record/index.js'

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
