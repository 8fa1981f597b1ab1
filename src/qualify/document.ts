import * as z from 'zod'
import type { ChannelFigures, Order } from './types.js'
import { provable } from './types.js'

/* The qualification file: one entry a channel, each with its own date, load and identity. SI units. */

const number = z.number()
const figure = z
  .object({
    value: number,
    unit: z.enum(['V', 'A', 's', 'F', 'V/s']),
    uncertainty: number,
    bound: z.enum(['at most', 'at least']).exactOptional(),
    how: z.string(),
  })
  .nullable()
const accuracy = z.object({ of_reading: number, plus: number })

const figuresShape = z.object({
  levels: z.array(
    z.object({
      set_V: number,
      read_V: number,
      noise_V: number,
      read_A: number,
      noise_A: number,
      samples: number,
      meter_V: number.nullable(),
      load_A: number,
    }),
  ),
  accuracy_V: figure,
  accuracy_A: figure,
  noise_V: figure,
  noise_A: figure,
  resolution_V: figure,
  resolution_A: figure,
  settling_s: figure,
  overshoot_V: figure,
  slew_V_per_s: figure,
  poll_s: figure,
  poll_longest_s: figure,
  jitter_s: figure,
  off_s: figure,
  down_s: figure,
  output_F: figure,
  sinks: z.object({ value: z.boolean().nullable(), how: z.string() }),
  proofs: z.array(
    z.object({
      of: z.enum(provable),
      verdict: z.enum([
        'as it should',
        'fired',
        'did not fire',
        'refused',
        'contradicts',
        'does not tell',
        'not proved',
      ]),
      said: z.boolean().nullable(),
      after_s: number.nullable(),
      text: z.string(),
    }),
  ),
})

const entryShape = z.object({
  /** Of the day it was measured, ISO 8601. */
  date: z
    .string()
    .regex(/^\d{4}-\d{2}-\d{2}/, { error: () => 'a date is wanted here\nwrite it as 2026-01-31' }),
  slowglow: z.string(),
  /** The record that all of it was made from. */
  run: z.string(),
  /** What the supply answered to its identification query. */
  identity: z.string(),
  load: z.object({ ohm: number, tolerance: number, rated_W: number }),
  top_V: number,
  meter: accuracy.nullable(),
  figures: figuresShape,
})

export const qualificationShape = z.object({
  slowglow: z.literal('qualification 1', {
    error: () => 'the first key says what the file is\nwrite slowglow: qualification 1',
  }),
  bench: z.string(),
  channels: z.record(z.string(), entryShape),
})

export type Qualification = z.output<typeof qualificationShape>
export type QualifiedChannel = z.output<typeof entryShape>

/** The document with this channel's entry new or in place of its old one. */
export function withChannel(
  before: Qualification | null,
  bench: string,
  order: Order,
  found: {
    readonly date: string
    readonly slowglow: string
    readonly run: string
    readonly identity: string
    readonly figures: ChannelFigures
  },
): Qualification {
  const { channel, load, top_V, meter } = order
  const entry: QualifiedChannel = {
    date: found.date,
    slowglow: found.slowglow,
    run: found.run,
    identity: found.identity,
    load,
    top_V,
    meter,
    figures: { ...found.figures, levels: [...found.figures.levels], proofs: [...found.figures.proofs] },
  }
  return {
    slowglow: 'qualification 1',
    bench,
    channels: { ...before?.channels, [channel]: entry },
  }
}
