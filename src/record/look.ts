import { decimal } from '../exchange/index.js'
import { bounds } from './layout.js'
import { openRunFile, type RunReader } from './reader.js'
import { isLowering, stepTimes } from './step-times.js'
import { RecordTrouble } from './trouble.js'
import type { RunEvent } from './types.js'

/*
 * What is drawn of a run, for whoever draws it: plain data in, plain data out, times in µs of the run, values in the trace's own
 * unit. The traces are `RunReader.streams()`, and the whole run lies in its `span()`.
 */

/** Both ends belong to it. */
export interface Window {
  readonly from_us: number
  readonly to_us: number
}
export interface TraceWish extends Window {
  /** Number of the stream. */
  readonly trace: number
  /** Pixel columns to draw in. */
  readonly width: number
}
/** Zoomed in: every reading in the window, in order. */
export interface EachReading extends Window {
  readonly is: 'readings'
  readonly t_us: Float64Array
  readonly value: Float64Array
}
/** Zoomed out: of each pixel column that has readings (`column`, 0 to `width` - 1) how many, the first, last, least and most. */
export interface EachColumn extends Window {
  readonly is: 'columns'
  readonly width: number
  readonly column: Uint32Array
  readonly n: Float64Array
  readonly first: Float64Array
  readonly last: Float64Array
  readonly min: Float64Array
  readonly max: Float64Array
}

/** More columns than any screen or page has are a mistake, and would be memory. */
export const most_columns = 16_384

/**
 * A trace in a window, at most `width` columns of it: each reading where they are no more figures than the columns would be.
 * Null where the wish is none: no width, a window that ends before it begins.
 */
export function lookAt(
  reader: RunReader,
  { trace, from_us, to_us, width }: TraceWish,
): EachReading | EachColumn | null {
  const isTime = (t: number): boolean => Number.isFinite(t) && Math.abs(t) <= bounds.t_us
  if (!isTime(from_us) || !isTime(to_us) || to_us < from_us) return null
  if (!Number.isInteger(width) || width < 1 || width > most_columns) return null
  const { columns } = reader.overview(trace, width, from_us, to_us)
  const readings = columns.reduce((sum, { n }) => sum + n, 0)
  if (readings <= figuresInColumn * width) {
    const { t_us, n, k } = reader.readings(trace, from_us, to_us)
    const value = Float64Array.from(n, (each, i) => decimal(each, k[i] ?? 0))
    return { is: 'readings', from_us, to_us, t_us, value }
  }
  const of = (figure: 'n' | 'first' | 'last' | 'min' | 'max'): Float64Array =>
    Float64Array.from(columns, (each) => each[figure])
  return {
    ...{ is: 'columns', from_us, to_us, width, column: Uint32Array.from(columns, ({ column }) => column) },
    ...{ n: of('n'), first: of('first'), last: of('last'), min: of('min'), max: of('max') },
  }
}
/** First, last, least and most. */
const figuresInColumn = 4

/** What a rail's current was held against while a step lasted, A. */
export interface Band extends Window {
  readonly rail: string
  readonly step: number
  readonly stage: string
  readonly at_V: number
  readonly expected_A: number
  readonly lower_A: number
  readonly upper_A: number
  readonly trip_A: number
  readonly ceiling_A: number
  /** The trip was stated by hand in the set's file. */
  readonly trip_by_hand?: true
  /** The step took the rail down: trip and ceiling held, and what was expected where it came from was no yardstick. */
  readonly lowering: boolean
}

/** The bands of each rail, step by step, as far as the run came; none where the record knows no plan. */
export function bandsOf(reader: RunReader): Band[] {
  const plan = reader.known()?.plan
  if (plan === undefined) return []
  const end_us = reader.ending()?.t_us ?? reader.span()?.to_us ?? 0
  return stepTimes(plan, reader.told(), end_us).flatMap(({ step, from_us, to_us }) =>
    // A hook-up check stays below 5 V and is judged by its own windows.
    step.do === 'hook-up check'
      ? []
      : Object.entries(step.limits).map(([rail, limits]): Band => {
          const { at_V, expected_A, lower_A, upper_A, trip_A, ceiling_A } = limits
          return {
            ...{
              rail,
              step: step.index,
              stage: step.stage,
              from_us,
              to_us,
              lowering: isLowering(step, rail),
            },
            ...{ at_V, expected_A, lower_A, upper_A, trip_A, ceiling_A },
            ...(limits.manual?.in_force === true && { trip_by_hand: true as const }),
          }
        }),
  )
}

/** What was told in a window, in the order of the run, without each thing fed and asked. */
export function eventsIn(reader: RunReader, { from_us, to_us }: Window): readonly RunEvent[] {
  return reader.told(from_us, to_us)
}

/**
 * Opens a run, does `work` with it and lets it go; why it cannot be read, in a sentence, otherwise. It reads from the disk while
 * it works and nothing else runs meanwhile: up to a tenth of a second for a long run, a second for its seal. Where something
 * else must go on, as beside a live run, it is called in a worker thread; all that it gives may be posted.
 */
export function readRun<T>(
  path: string,
  work: (reader: RunReader) => T,
): { readonly value: T } | { readonly trouble: string } {
  const opened = openRunFile(path)
  if ('trouble' in opened) return opened
  try {
    return { value: work(opened.reader) }
  } catch (error) {
    if (!(error instanceof RecordTrouble)) throw error
    return { trouble: error.message }
  } finally {
    opened.reader.close()
  }
}
