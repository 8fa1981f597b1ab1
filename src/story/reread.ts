import { z } from 'zod'
import { lineFaults } from '../exchange/index.js'
import { reformCodes, type ReformJudgement } from '../plan/index.js'
import type { Event } from '../sequencer/index.js'
import type { RunEntry, Stream } from './types.js'

const text = z.string()
const t_us = z.number()
const id = z.number()

const figure = z.number().nullable()
const judgementShape = z.object({
  part: text,
  step: z.number(),
  act: z.enum(['wait', 'go on', 'give up']),
  reach_V: z.number(),
  verdict: z.enum(['good', 'marginal', 'replace', 'not judged', 'not finished']).nullable(),
  code: z.enum(reformCodes).nullable(),
  text,
  again_s: z.number().exactOptional(),
  figures: z.object({
    volts: z.number(),
    leak_A: figure,
    held_s: z.number(),
    F: figure,
    F_error: figure,
    F_most: figure.exactOptional(),
    limit_A: z.number(),
    resolves_A: z.number(),
    slope: figure,
    soonest_s: figure,
    latest_s: figure,
  }),
})

/** A judgement of a lifted electrolytic as a record keeps it; null where it is none. */
export function judgementOf(data: unknown): ReformJudgement | null {
  const read = judgementShape.safeParse(data)
  return read.success ? read.data : null
}

/** What `toldOfEvent` puts into a record as an event; readings and ticks stand there as entries of their own. */
const fedShape: z.ZodType<Event> = z.discriminatedUnion('kind', [
  z.object({
    t_us,
    kind: z.literal('begin'),
    word: text,
    channel: z.enum(['terminal', 'page', 'rehearsal']),
    hooked_up_as_in: text.nullable(),
  }),
  z.object({
    t_us,
    kind: z.literal('regulation'),
    channel: text,
    mode: z.enum(['voltage', 'current', 'unknown']),
  }),
  z.object({ t_us, kind: z.literal('done'), id }),
  z.object({
    t_us,
    kind: z.literal('failed'),
    id,
    code: z.enum(['no reply', 'bad reply', 'read-back differs', 'refused', 'wrong supply', 'closed']),
    text,
    outcome: z.enum(['not done', 'unknown']),
  }),
  z.object({ t_us, kind: z.literal('output'), channel: text, on: z.boolean() }),
  z.object({
    t_us,
    kind: z.literal('protection'),
    channel: text,
    which: z.enum(['over-voltage', 'over-current', 'over-temperature', 'dead-man']),
  }),
  z.object({ t_us, kind: z.literal('line trouble'), port: text, fault: z.enum(lineFaults), text }),
  z.object({ t_us, kind: z.literal('line lost'), port: text, text }),
  z.object({
    t_us,
    kind: z.literal('answer'),
    prompt: z.number(),
    value: z.union([z.number(), z.enum(['yes', 'no', 'go on'])]),
    by: z.enum(['terminal', 'page', 'rehearsal']),
  }),
  z.object({ t_us, kind: z.literal('stop'), how: z.enum(['run down', 'off now']), by: text }),
  z.object({ t_us, kind: z.literal('recorded'), intent: z.number() }),
  z.object({ t_us, kind: z.literal('recorder lost'), text }),
  z.object({ t_us, kind: z.literal('parent lost'), text }),
  z.object({ t_us, kind: z.literal('off unfounded') }),
  z.object({ t_us, kind: z.literal('judged'), judgement: judgementShape }),
])

/** What this entry was to the sequencer: null where it was fed nothing, `not understood` where it was but cannot be told from the record. */
export function fedOf(
  entry: RunEntry,
  streams: ReadonlyMap<number, Stream>,
): Event | 'not understood' | null {
  switch (entry.entry) {
    case 'tick':
      return { kind: 'tick', t_us: entry.t_us, late_us: entry.late_us, slept_us: entry.slept_us }
    case 'reading': {
      const stream = streams.get(entry.stream)
      return stream === undefined ? 'not understood' : readingOf(entry, stream)
    }
    case 'event': {
      if (entry.event.what !== 'fed') return null
      const read = fedShape.safeParse(entry.event.data)
      return read.success ? read.data : 'not understood'
    }
    case 'known':
    case 'stream':
    case 'ending':
      return null
  }
}

const meterStream = 'meter.'

function readingOf({ t_us, n, k }: Extract<RunEntry, { entry: 'reading' }>, { name, unit }: Stream): Event {
  const value = { n, k }
  if (name.startsWith(meterStream))
    return { kind: 'meter', t_us, meter: name.slice(meterStream.length), value }
  return {
    kind: 'reading',
    t_us,
    channel: name.slice(0, name.lastIndexOf('.')),
    quantity: unit === 'A' ? 'A' : 'V',
    value,
  }
}
