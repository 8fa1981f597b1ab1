import { statSync } from 'node:fs'
import { Option } from 'commander'
import { bandsOf, type RunReader } from '../record/index.js'
import type { HeldFrom } from '../replay/index.js'
import { inForceIn } from './commands/replay.js'

/* What a plot of a run draws of its limits, on paper and in a terminal alike. */

/** `moments`: as they were in force, which takes the whole record fed again. `steps`: each step's at its end. */
export type LimitsOf = 'moments' | 'steps'

/** What a rail's current was held against for a while, A; charge included. No band where it was no yardstick: on a way down. */
export interface LimitSpan {
  readonly from_us: number
  readonly to_us: number
  readonly band: { readonly lower_A: number; readonly upper_A: number } | null
  readonly trip_A: number
  readonly ceiling_A: number
}
export interface LimitsDrawn {
  readonly rails: Readonly<Record<string, readonly LimitSpan[]>>
  /** Of which moment they are, for whoever looks at the plot. */
  readonly words: string
}

/** For commands that draw. */
export const limitsOption = (): Option =>
  new Option(
    '--limits <of>',
    'limits drawn: moments, as they were in force (of a long run it takes minutes), or steps, each at its end; unless given: moments where it is soon done',
  ).choices(['moments', 'steps'] satisfies LimitsOf[])

const ofMoments =
  'The limits drawn are those that were in force at each moment: with what charged capacitors on top, none while heaters were cold, no band on a way down.'
const ofSteps =
  'The limits drawn are those of each step at its end; while its rail was raised they moved there from those of the step before, with what charged capacitors on top.'

/** Unless one is wished for, those of every moment are worked out where the file is no larger than this: 40 µs an entry. */
export function limitsDrawn(reader: RunReader, wish: LimitsOf | null, soon_bytes: number): LimitsDrawn {
  const isLong = statSync(reader.path).size > soon_bytes
  if (wish === 'steps' || (wish === null && isLong)) {
    const instead =
      wish === null
        ? ' Those of every moment take a while to work out in so long a run: --limits moments, of show and of report, does.'
        : ''
    return { rails: atEnds(reader), words: `${ofSteps}${instead}` }
  }
  const { rails, gap } = inForceIn(reader)
  const also = gap === null ? '' : ` ${gap}`
  if (Object.values(rails).every((held) => held.length === 0))
    return { rails: atEnds(reader), words: `${ofSteps}${also}` }
  const end_us = reader.span()?.to_us ?? 0
  return {
    rails: Object.fromEntries(Object.entries(rails).map(([rail, held]) => [rail, spansOf(held, end_us)])),
    words: `${ofMoments}${also}`,
  }
}

function spansOf(held: readonly HeldFrom[], end_us: number): LimitSpan[] {
  return held.flatMap(({ t_us, limits }, i): LimitSpan[] =>
    limits === null ? [] : [{ from_us: t_us, to_us: held[i + 1]?.t_us ?? end_us, ...limits }],
  )
}

function atEnds(reader: RunReader): Record<string, LimitSpan[]> {
  const rails: Record<string, LimitSpan[]> = {}
  for (const { rail, from_us, to_us, lowering, lower_A, upper_A, trip_A, ceiling_A } of bandsOf(reader)) {
    const band = lowering ? null : { lower_A, upper_A }
    ;(rails[rail] ??= []).push({ from_us, to_us, band, trip_A, ceiling_A })
  }
  return rails
}
