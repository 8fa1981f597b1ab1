import * as z from 'zod'
import type { TakenOutput } from '../bench/index.js'
import type { ChannelFigures, Failed, Order, Proved } from './types.js'
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

/** What became of the other outputs when a dead-man was left unfed. */
export const takenShape = z
  .array(
    z.object({
      channel: z.string(),
      did: z.enum(['went off', 'stayed on', 'not clear']),
      stated: z.enum(['goes', 'stays']),
    }),
  )
  .readonly()

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
        'does not hold',
        'refused',
        'contradicts',
        'does not tell',
        'not proved',
      ]),
      said: z.boolean().nullable(),
      after_s: number.nullable(),
      text: z.string(),
      date: z.string().exactOptional(),
      outputs: takenShape.exactOptional(),
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
  /** Present where the run showed that it may feed no set. */
  failed: z
    .object({ code: z.string(), text: z.string(), proof: z.enum(provable).exactOptional() })
    .exactOptional(),
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
    readonly failed?: Failed
  },
): Qualification {
  const { channel, load, top_V, meter } = order
  const earlier = before?.channels[channel]
  const known = earlier?.identity === found.identity ? earlier : undefined
  const failed = found.failed ?? stillFailed(order, known)
  const entry: QualifiedChannel = {
    date: found.date,
    slowglow: found.slowglow,
    run: found.run,
    identity: found.identity,
    load,
    top_V,
    meter,
    figures: {
      ...found.figures,
      levels: [...found.figures.levels],
      proofs: found.figures.proofs.map((proof) => kept(proof, order, known) ?? proof),
    },
    ...(failed !== undefined && { failed }),
  }
  return {
    slowglow: 'qualification 1',
    bench,
    channels: { ...before?.channels, [channel]: entry },
  }
}

/** What failed stays so until the proof it failed in, or where none is told every proof, has come out well. */
function stillFailed({ skip }: Order, known: QualifiedChannel | undefined): Failed | undefined {
  const failed = known?.failed
  if (failed === undefined || skip.length === 0) return undefined
  return failed.proof === undefined || skip.includes(failed.proof) ? failed : undefined
}

/** What was proved of this supply before, where the person left that proof out now: to leave one out erases nothing. */
function kept(proof: Proved, { skip }: Order, earlier: QualifiedChannel | undefined): Proved | undefined {
  if (proof.verdict !== 'not proved' || !skip.includes(proof.of)) return undefined
  const before = earlier?.figures.proofs.find(
    ({ of, verdict }) => of === proof.of && verdict !== 'not proved',
  )
  return before === undefined ? undefined : { ...before, date: before.date ?? earlier?.date ?? '' }
}

/**
 * A run that did not come to its end measures nothing anew, but what it proved against the supply stands from then on. Null where
 * that changes nothing: no entry of this supply is there, or nothing was proved against it.
 */
export function withVerdicts(
  before: Qualification | null,
  channel: string,
  found: { readonly date: string; readonly identity: string; readonly figures: ChannelFigures },
): Qualification | null {
  const entry = before?.channels[channel]
  const bad = found.figures.proofs.filter(
    (proof) => isAgainst(proof) || proof.outputs?.every(isAsStated) === false,
  )
  if (before === null || entry === undefined || entry.identity !== found.identity || bad.length === 0)
    return null
  const proofs = [
    ...entry.figures.proofs.filter(({ of }) => !bad.some((proof) => proof.of === of)),
    ...bad.map((proof) => ({ ...proof, date: found.date })),
  ]
  const now = { ...entry, figures: { ...entry.figures, proofs } }
  return { ...before, channels: { ...before.channels, [channel]: now } }
}

/** A proof that came out against the supply. */
export const isAgainst = ({ verdict }: Pick<Proved, 'verdict'>): boolean =>
  verdict === 'did not fire' ||
  verdict === 'does not hold' ||
  verdict === 'contradicts' ||
  verdict === 'does not tell'

/** Whether a dead-man did with another output what the dialect says. */
export const isAsStated = ({ did, stated }: TakenOutput): boolean =>
  did === (stated === 'goes' ? 'went off' : 'stayed on')
