import { readdirSync, readFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import * as z from 'zod'

/*
 * The transcripts of firmware-protocol/checks: what is said to a supply, in the keys of its dialect, and what must come back.
 * `on` is no word of theirs, and the only numbers are the lowest there are: played whole they leave outputs off.
 */

const asked = z.enum([
  'identify',
  'error_query',
  'ask_output',
  'ask_set_volts',
  'ask_set_amps',
  'ask_over_volts',
  'ask_over_amps',
  'measure_volts',
  'measure_amps',
  'ask_over_volts_tripped',
  'ask_over_amps_tripped',
  'ask_over_heat_tripped',
  'ask_cc',
])
const told = z.enum(['clear', 'remote', 'off', 'set_volts', 'set_amps', 'set_over_volts', 'over_volts_on'])
const number = z.enum(['lowest volts', 'lowest amps', 'highest volts', 'nonsense'])
const expected = z.enum([
  'identity',
  'volts',
  'amps',
  'switch',
  'on',
  'off',
  'status',
  'error',
  'an error',
  'no error',
  'lowest volts',
  'lowest amps',
  'highest volts',
  'no volts',
  'no amps',
  'dead-man time',
])
const means = z.string()
const step = z.union([
  /** A message as it stands, without its end. */
  z.strictObject({ send: z.string() }),
  /** The first half of a question, without an end. */
  z.strictObject({ cut: asked }),
  z.strictObject({ tell: told, number: number.exactOptional() }),
  z.strictObject({ dead_man: z.enum(['arm', 'feed', 'disarm']) }),
  z.strictObject({
    ask: asked,
    expect: expected,
    means,
    /** Asked again until that comes, so often at most. */
    again: z.int().positive().exactOptional(),
    until: expected.exactOptional(),
  }),
  z.strictObject({
    ask_dead_man: z.enum(['ask_time', 'ask_armed', 'ask_expired']),
    expect: expected,
    means,
  }),
  /** Nothing may come for so long. */
  z.strictObject({ quiet_ms: z.number(), means }),
  /** Nothing is said for this part of the dead-man's time. */
  z.strictObject({ wait_of_time: z.number() }),
])
const shape = z.strictObject({
  title: z.string(),
  shows: z.string(),
  /** Whether anything is set by it. */
  sets: z.boolean(),
  /** Played once, for every output, or for every dead-man. */
  of: z.enum(['supply', 'output', 'dead-man']),
  /** Only where the dialect has this part of a dead-man. */
  needs: z.enum(['feed']).exactOptional(),
  steps: z.array(step),
})
export type Asked = z.infer<typeof asked>
export type Told = z.infer<typeof told>
export type SentNumber = z.infer<typeof number>
export type Expected = z.infer<typeof expected>
export type Step = z.infer<typeof step>
export type Transcript = z.infer<typeof shape> & { readonly file: string }

const folder = join(dirname(fileURLToPath(import.meta.url)), '../../../firmware-protocol/checks')

export function transcripts(): readonly Transcript[] {
  return readdirSync(folder)
    .filter((file) => file.endsWith('.json'))
    .sort()
    .map((file) => ({ file, ...shape.parse(JSON.parse(readFileSync(join(folder, file), 'utf8'))) }))
}
