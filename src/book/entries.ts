import * as z from 'zod'

/*
 * What a set's book holds: entries in the order in which they were written, each with its moment and who wrote it. None is ever
 * changed or taken out; what was wrong is put right by a later one.
 */

const text = z.string().min(1).max(10_000)
const word = z.string().min(1).max(400)
const value = z.union([z.number(), z.literal(['good', 'bad'])])
const figure = z.strictObject({
  what: word,
  value: z.number().nullable(),
  unit: z.string().max(20),
  text: word,
})

const bodies = [
  z.strictObject({ kind: z.literal('description'), text }),
  /** Maker's number, serial number, date stamp: what is written on the set. */
  z.strictObject({ kind: z.literal('serial'), what: word, number: word }),
  z.strictObject({
    kind: z.literal('photograph'),
    name: word,
    caption: z.string().max(1000),
    bytes: z.number().int().nonnegative(),
    sha256: z.string().regex(/^[0-9a-f]{64}$/),
  }),
  z.strictObject({ kind: z.literal('finding'), text, parts: z.array(word) }),
  z.strictObject({ kind: z.literal('repair'), text, parts: z.array(word) }),
  z.strictObject({
    kind: z.literal('replaced'),
    part: word,
    was: word,
    now: word,
    text: z.string().max(10_000),
  }),
  z.strictObject({
    kind: z.literal('reading'),
    item: word,
    value,
    unit: z.literal(['Ω', 'V']).nullable(),
    /** As it was typed. */
    written: word,
    verdict: z.literal(['in range', 'marginal', 'out of range']),
    wanted: word,
    meter: z.string().max(400),
  }),
  z.strictObject({
    kind: z.literal('waiver'),
    item: word,
    /** The reading it is about; null = none was taken. */
    of: z.number().int().nonnegative().nullable(),
    /** What was read and what was wanted, in words, at that moment. */
    about: text,
    reason: text,
  }),
  z.strictObject({
    kind: z.literal('run'),
    run: word,
    file: word,
    profile: word,
    bench_kind: z.literal(['real', 'virtual']),
    outcome: word,
    outputs_off: word,
    reason: z.string().max(10_000).nullable(),
    /** Last link of the run file's seal: the printed book vouches for the file. */
    seal: z.string().nullable(),
  }),
  z.strictObject({
    kind: z.literal('proof'),
    of: z.literal(['receive', 'transmit', 'aerial']),
    what: word,
    verdict: z.literal(['shown', 'marginal', 'not shown']),
    readings: z.array(figure),
    figures: z.array(figure),
    judged: z.array(text),
    sources: z.array(text),
    instruments: z.array(word),
  }),
] as const

export const bookBodyShape = z.discriminatedUnion('kind', bodies)
export type BookBody = z.infer<typeof bookBodyShape>

const stamp = z.strictObject({
  seq: z.number().int().nonnegative(),
  /** Moment at which it was written, UTC. */
  at: z.iso.datetime(),
  by: word,
  /** Day on which it was done, where that is another. */
  on: z.iso.date().nullable(),
})
export type BookStamp = z.infer<typeof stamp>
export type BookEntry = BookStamp & { readonly body: BookBody }
export const bookEntryShape = stamp.extend({ body: bookBodyShape })
