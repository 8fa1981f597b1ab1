import { z } from 'zod'
import { lineHealthShape } from '../exchange/index.js'
import type { View } from '../sequencer/index.js'
import type { RunEnding, RunEvent } from '../story/index.js'
import type { PortLine } from '../supply/index.js'
import { askShape, limitsShape, lineConfigShape, planShape } from './shapes/index.js'

/** What supervisor and controller say to each other, checked at both ends. Nothing in it is trusted for being ours. */

export const placeShape: z.ZodType<PortLine> = z.discriminatedUnion('kind', [
  z.object({
    kind: z.literal('serial'),
    path: z.string(),
    baud: z.number(),
    spare_allowed: z.literal(true),
    parity: z.enum(['even', 'odd']).exactOptional(),
    stop_bits: z.literal(2).exactOptional(),
    rts_cts: z.literal(true).exactOptional(),
  }),
  z.object({ kind: z.literal('tcp'), host: z.string(), port: z.number(), spare_allowed: z.boolean() }),
])

const startShape = z.object({
  kind: z.literal('start'),
  plan: planShape,
  lines: z.array(z.object({ config: lineConfigShape, place: placeShape })),
  /** Unix socket of the recorder. */
  recorder: z.string(),
  /** Run seconds per real second; 1 except on a virtual bench. */
  speed: z.number().min(1).max(20),
})
export type Start = z.infer<typeof startShape>

export const toControllerShape = z.discriminatedUnion('kind', [
  startShape,
  z.object({ kind: z.literal('beat') }),
  /** Cautions were acknowledged; nothing energises before. */
  z.object({
    kind: z.literal('begin'),
    word: z.string(),
    channel: z.enum(['terminal', 'page']),
    hooked_up_as_in: z.string().nullable(),
  }),
  z.object({
    kind: z.literal('answer'),
    prompt: z.number(),
    value: z.union([z.number(), z.enum(['yes', 'no', 'go on'])]),
    by: z.enum(['terminal', 'page']),
  }),
  z.object({ kind: z.literal('stop'), how: z.enum(['run down', 'off now']), by: z.string() }),
])
export type ToController = z.infer<typeof toControllerShape>

const reasonShape = z.looseObject({
  code: z.string(),
  rail: z.string().nullable(),
  step: z.number().nullable(),
  measured: z.number().nullable(),
  limit: z.number().nullable(),
  unit: z.string(),
  text: z.string(),
})

const endingShape: z.ZodType<RunEnding> = z.looseObject({
  outcome: z.enum(['completed', 'tripped', 'stopped', 'failed']),
  outputs_off: z.enum(['confirmed', 'not confirmed']),
  reason: reasonShape.nullable(),
  stored_charge: z.record(
    z.string(),
    z.union([
      z.looseObject({
        volts: z.number(),
        meter: z.string(),
        age_s: z.number(),
        fell: z.string().exactOptional(),
      }),
      z.literal('not measured'),
    ]),
  ),
  hand_rails: z.record(z.string(), z.union([z.number(), z.literal('not confirmed by you')])),
  warnings: z.array(z.string()),
  steps_done: z.number(),
  duration_s: z.number(),
  details: z.record(z.string(), z.unknown()),
})

const viewShape: z.ZodType<View> = z.looseObject({
  phase: z.string(),
  step: z.number(),
  steps_done: z.number(),
  steps: z.number(),
  stage: z.string(),
  rail: z.string().nullable(),
  waiting_for: z.string(),
  elapsed_s: z.number(),
  left_s: z.number(),
  rails: z.array(
    z.looseObject({
      rail: z.string(),
      class: z.enum(['programmed', 'watched', 'hand']),
      set_V: z.number(),
      volts: z.number().nullable(),
      amps: z.number().nullable(),
      age_s: z.number().nullable(),
      output: z.enum(['off', 'on', 'unknown']),
      limits: limitsShape.nullable(),
      over_rating: z.string().optional(),
    }),
  ),
  inputs: z.array(
    z.looseObject({
      name: z.string(),
      at: z.string().nullable(),
      shows: z.string().nullable(),
      age_s: z.number().nullable(),
      quiet_s: z.number(),
    }),
  ),
  reason: reasonShape.nullable(),
})

const eventShape: z.ZodType<RunEvent> = z.object({
  t_us: z.number(),
  from: z.enum(['controller', 'supervisor', 'recorder', 'rehearsal', 'nemesis', 'line']),
  what: z.string(),
  text: z.string(),
  rail: z.string().nullable(),
  step: z.number().nullable(),
  intent: z.number().nullable(),
  data: z.record(z.string(), z.unknown()),
  durable: z.boolean(),
})

export const fromControllerShape = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('ready'), identities: z.record(z.string(), z.string()) }),
  /** An output is on that nothing here has switched: everything goes off, whether or not the start was acknowledged by then. */
  z.object({ kind: z.literal('found on') }),
  z.object({ kind: z.literal('not reachable'), text: z.string(), on: z.array(z.string()) }),
  /** Sent by the loop that judges readings, with how many it has judged: a timer of its own would prove nothing. */
  z.object({ kind: z.literal('beat'), judged: z.number() }),
  z.object({ kind: z.literal('view'), view: viewShape }),
  z.object({ kind: z.literal('health'), port: z.string(), health: lineHealthShape }),
  z.object({ kind: z.literal('prompt'), prompt: z.number(), ask: askShape, left_s: z.number() }),
  z.object({ kind: z.literal('prompt closed'), prompt: z.number(), why: z.string() }),
  z.object({ kind: z.literal('alarm'), text: z.string() }),
  z.object({ kind: z.literal('notice'), text: z.string() }),
  z.object({ kind: z.literal('hands clear'), for_s: z.number() }),
  z.object({ kind: z.literal('ended'), t_us: z.number(), ending: endingShape }),
  /** A copy of what the sequencer wanted kept, on its way to the record: for those who read along. */
  z.object({ kind: z.literal('told'), event: eventShape }),
  /** Entries that a lost recorder never confirmed, as JSON lines. */
  z.object({ kind: z.literal('unrecorded'), lines: z.string() }),
  z.object({ kind: z.literal('trouble'), text: z.string() }),
])
export type FromController = z.infer<typeof fromControllerShape>

/** Left in the state folder while a run is under way, so that the next start, or `safe-off`, knows what may be live. */
export const benchStateShape = z.object({
  format: z.literal('slowglow bench state 1'),
  bench: z.string(),
  run_file: z.string(),
  off_plan: z.string().nullable(),
  supervisor: z.object({ pid: z.number(), started: z.string() }),
  controller: z.object({ pid: z.number(), started: z.string() }).nullable(),
  places: z.record(z.string(), placeShape),
  /** Bench seconds per real second: 1 except on a virtual bench. */
  speed: z.number(),
  /** Left out by versions before: taken as a real one. */
  bench_kind: z.literal(['real', 'virtual']).default('real'),
  /** What answered on each line, once it has; left out by versions before. */
  identities: z.record(z.string(), z.string()).default({}),
})
export type BenchState = z.infer<typeof benchStateShape>
