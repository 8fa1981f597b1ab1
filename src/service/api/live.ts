import * as z from 'zod'
import type { LineHealth } from '../../exchange/index.js'
import type { RailLimits } from '../../plan/index.js'
import type { RailView, View } from '../../sequencer/index.js'
import type { RunEnding } from '../../story/index.js'
import { documented, errorCodes, pathField, problemShape } from './common.js'

/*
 * A run under way as a page sees it. Times `…_ms` are on the service's own clock, which begins with its epoch and never jumps;
 * every event carries `now_ms`, so that a page knows how old a figure was when it was sent, adds what passed since it came, and
 * shows as stale whatever is older than it should be.
 */

export const phases = [
  /** No run, and none has been since the service began. */
  'none',
  /** An earlier run on this bench is made safe, the virtual bench starts. */
  'preparing',
  /** The cautions stand, the word is awaited. Nothing is energised. */
  'cautions',
  /** The word was typed; supplies are opened and identified. A stop counts from here on. */
  'starting',
  'running',
  /** Outputs are put off and confirmed by measurement. */
  'going off',
  /** `ended` tells how. */
  'ended',
  /** There was no run: `refused` says why. Nothing was energised. */
  'refused',
] as const
export type Phase = (typeof phases)[number]

export const startBody = z.strictObject({
  profile: pathField,
  bench: pathField.optional().describe('in place of the bench that the profile names'),
  faults: z
    .array(z.string().min(1).max(120))
    .max(20)
    .default([])
    .describe('virtual bench only: PART:KIND[=VALUE]@WHEN'),
  speed: z.number().min(1).max(20).default(1).describe('virtual bench only: run seconds per second'),
  seed: z.number().int().min(0).max(2_147_483_647).optional().describe('virtual bench only'),
  plan: z
    .string()
    .max(100)
    .optional()
    .describe(
      'hash of the plan that was read (`plan.hash`): where the files would give another one by now, nothing begins',
    ),
  continues: z
    .boolean()
    .default(false)
    .describe('take up the reform that was left unfinished, as the plan tells it; after a fresh check below'),
})
const held = z.array(z.number().nullable())
/** Each moment's limits hold up to the next moment. */
export const liveHeldShape = z.object({
  rails: z.array(
    z.object({
      rail: z.string(),
      t_s: z.array(z.number()).describe('of the run, as `elapsed_s` of its view'),
      lower_A: held.describe('null: none of a step’s limits was in force'),
      upper_A: held,
      trip_A: held.describe('with what charges capacitors'),
      ceiling_A: held,
    }),
  ),
})
export type LiveHeld = z.output<typeof liveHeldShape>
export const hereShape = z.object({ watched: z.boolean().describe('it counts: it comes from a page') })
const liveField = z
  .string()
  .max(60)
  .describe('id of the run under way: an act meant for another does nothing')
export const acknowledgeBody = z.strictObject({
  live: liveField,
  word: z.string().max(60).describe('the word drawn for this start'),
})
export const answerBody = z.strictObject({
  live: liveField,
  prompt: z.number().int(),
  answer: z
    .string()
    .max(60)
    .describe(
      'as typed: y, n, go on, or a reading with its unit (245 V; for amps the unit is needed; OL is an open ohmmeter)',
    ),
})
export const handsBody = z.strictObject({
  live: liveField,
  prompt: z.number().int(),
  clear: z.boolean().describe('true: hands, clips and tools are clear; false: they are not'),
})
export const eventsQuery = z.strictObject({
  browser: z
    .string()
    .regex(/^[\w-]{1,40}$/)
    .optional()
    .describe(
      'the same word from every page of one browser: it has few connections, and of its streams the oldest beyond three is let go',
    ),
})
/** May be left out altogether: a stop needs nothing. */
export const stopBody = z
  .object({
    by: z.enum(['control', 'key']).optional().catch(undefined).describe('which of the two was used'),
  })
  .nullish()

const limits = z.looseObject({
  at_V: z.number(),
  expected_A: z.number(),
  lower_A: z.number(),
  upper_A: z.number(),
  ask_A: z.number(),
  trip_A: z.number(),
  ceiling_A: z.number(),
  charge_A: z.number(),
  over_voltage_V: z.number(),
})
const reason = z.looseObject({
  code: z.string(),
  rail: z.string().nullable(),
  step: z.number().nullable(),
  measured: z.number().nullable(),
  limit: z.number().nullable(),
  unit: z.string(),
  text: z.string(),
})

/** `measured_ms`: when its older figure was measured; null where there is none. Past `stale_ms` after that it says nothing about now. */
export type LiveRail = Omit<RailView, 'limits' | 'age_s'> & {
  readonly measured_ms: number | null
  readonly stale_ms: number
  /** The figures; why each is what it is stands in the plan (`livePlan`), step by step. */
  readonly limits: LiveLimits | null
}
export type LiveLimits = Pick<
  RailLimits,
  | 'at_V'
  | 'expected_A'
  | 'lower_A'
  | 'upper_A'
  | 'ask_A'
  | 'trip_A'
  | 'ceiling_A'
  | 'charge_A'
  | 'over_voltage_V'
  | 'manual'
>
export type LiveView = Omit<View, 'rails'> & {
  readonly rails: readonly LiveRail[]
  /** When this view was heard from the controller. */
  readonly heard_ms: number
}
export const liveViewShape = documented<LiveView>(
  z.looseObject({
    phase: z.string(),
    step: z.number(),
    steps: z.number(),
    steps_done: z.number(),
    stage: z.string(),
    rail: z.string().nullable(),
    waiting_for: z.string(),
    elapsed_s: z.number().describe('on the run’s clock'),
    left_s: z.number(),
    heard_ms: z.number(),
    rails: z.array(
      z.looseObject({
        rail: z.string(),
        class: z.enum(['programmed', 'watched', 'hand']),
        set_V: z.number(),
        volts: z.number().nullable(),
        amps: z.number().nullable(),
        output: z.enum(['off', 'on', 'unknown']),
        limits: limits.nullable(),
        measured_ms: z.number().nullable(),
        stale_ms: z.number(),
      }),
    ),
    inputs: z.array(
      z.looseObject({ name: z.string(), shows: z.string().nullable(), age_s: z.number().nullable() }),
    ),
    reason: reason.nullable(),
  }),
)

export const promptShape = z.object({
  prompt: z.number(),
  text: z.string(),
  about: z.string(),
  wants: z.discriminatedUnion('kind', [
    z.object({ kind: z.literal('confirm') }),
    z.object({
      kind: z.literal('reading'),
      node: z.string().nullable(),
      rail: z.string().nullable(),
      unit: z.enum(['V', 'A', 'Ω']),
      low: z.number(),
      high: z.number(),
    }),
  ]),
  needs: z
    .enum(['answer a reading', 'hands clear', 'answer'])
    .describe('which act answering it is; see `may`'),
  no_means: z.string().describe('what a no does, in words'),
  inside: z.boolean().describe('about the inside of the set: HT has been brought down for it'),
  figure: z
    .string()
    .nullable()
    .describe('the rail whose figures a person watches while it stands open: tuning, peaking'),
  until_ms: z.number().describe('unanswered by then, the run is stopped'),
  meter: z
    .object({ value: z.number(), text: z.string() })
    .nullable()
    .describe('virtual bench: what its meter shows; an empty answer takes it'),
})
export type Prompt = z.output<typeof promptShape>

export const messageShape = z.object({
  n: z.number().describe('rises by one; a gap means that some were dropped'),
  at_ms: z.number(),
  kind: z.enum(['notice', 'alarm', 'act']),
  text: z.string(),
})
export type Message = z.output<typeof messageShape>

export const endedShape = z.object({
  outcome: z.enum(['completed', 'tripped', 'stopped', 'failed']),
  ended_at: z.string().describe('by the clock of the bench machine'),
  sentence: z.string().describe('what happened, in one sentence'),
  outputs_off: z.enum(['confirmed', 'not confirmed']),
  outputs: z
    .string()
    .describe('what of the outputs was measured; with the alarm where they are not confirmed off'),
  alarm: z.boolean().describe('an output may be on: cut the mains of the HT sources'),
  rails: z.array(z.string()).describe('each rail, how it was confirmed'),
  open_hand_rails: z
    .array(z.string())
    .describe('rails on a person’s own knob that nobody said are off; said first'),
  charge_of: z.string(),
  charge: z.array(
    z.object({
      node: z.string(),
      volts: z.number().nullable(),
      meter: z.string().nullable(),
      age_s: z.number().nullable(),
      text: z.string(),
    }),
  ),
  charge_words: z.string().describe('always: measure before touching'),
  reason: reason.nullable(),
  figures: z.string().nullable().describe('code, rail, step and both figures in one line'),
  warnings: z.array(z.string()),
  by_hand: z.array(z.string()),
  lines: z.array(z.string()).describe('troubles of the lines, in words'),
  steps_done: z.number(),
  duration_s: z.number(),
  ending: documented<RunEnding>(z.looseObject({ outcome: z.string() })),
})
export type Ended = z.output<typeof endedShape>

export const snapshotShape = z.object({
  epoch: z.string(),
  now_ms: z.number(),
  phase: z.enum(phases),
  live: z.string().nullable().describe('id of the run under way or last shown; given back with every act'),
  run: z
    .object({
      run: z.string().nullable().describe('its name in the record, once there is one'),
      profile: z.string(),
      profile_name: z.string(),
      equipment: z.string(),
      bench: z.string(),
      bench_kind: z.enum(['real', 'virtual']),
      bench_file: z.string().describe('as `slowglow safe-off --bench` takes it on the bench machine'),
      level: z.number(),
      plan_hash: z.string(),
      speed: z.number(),
      faults: z.array(z.string()),
      by: z.string().describe('who started it'),
      asked_at: z.string().describe('ISO 8601'),
      rails: z.array(z.object({ rail: z.string(), role: z.string(), class: z.string() })),
    })
    .nullable(),
  cautions: z
    .object({
      text: z.string(),
      word: z
        .string()
        .nullable()
        .describe('to be typed; null for whoever may not start, and for whoever is no page in a browser'),
    })
    .nullable(),
  view: liveViewShape.nullable(),
  lines: z.record(z.string(), documented<LineHealth>(z.looseObject({}))),
  prompt: promptShape.nullable(),
  hands_clear: z.object({ until_ms: z.number() }).nullable().describe('HT rises then: keep clear, or stop'),
  stop: z
    .object({
      how: z.enum(['off now', 'run down']),
      by: z.string(),
      at_ms: z.number(),
      done: z
        .enum(['asked', 'confirmed', 'not confirmed', 'nothing to confirm'])
        .describe(
          'asked: not measured yet; then as the supplies’ terminals were measured; nothing to confirm: every rail stands on a person’s own knob; OFF that was sent again is not confirmed while such a rail was left open',
        ),
    })
    .nullable(),
  messages: z.array(messageShape).describe('the newest'),
  ended: endedShape.nullable(),
  refused: z
    .object({
      code: z.enum(errorCodes),
      what: z.string(),
      remedy: z.string().nullable(),
      where: z.string().nullable(),
      problems: z.array(problemShape),
    })
    .nullable(),
  viewers: z.number(),
})
export type Snapshot = z.output<typeof snapshotShape>

/**
 * What comes over `/api/live/events`: server-sent events, each with its name and JSON data. At connecting, and whenever the
 * stream was lost, a whole `snapshot`; then changes. Nothing has to be resumed: what a viewer missed is in the next snapshot.
 * A viewer who does not keep up first misses views (newer ones follow), then is let go, and connects again.
 */
export const eventShapes = {
  /** Everything: at connecting and at each change of phase. */
  snapshot: snapshotShape,
  /** Figures, some ten times a second while a run is under way. */
  view: z.object({ now_ms: z.number(), view: liveViewShape }),
  line: z.object({ now_ms: z.number(), port: z.string(), health: documented<LineHealth>(z.looseObject({})) }),
  prompt: z.object({ now_ms: z.number(), prompt: promptShape.nullable() }),
  hands: z.object({ now_ms: z.number(), hands_clear: snapshotShape.shape.hands_clear }),
  stop: z.object({ now_ms: z.number(), stop: snapshotShape.shape.stop }),
  message: z.object({ now_ms: z.number(), message: messageShape }),
  /** Every 250 ms, whatever else comes: without one for a second, nothing on the page is of now. */
  beat: z.object({ now_ms: z.number(), phase: z.enum(phases), viewers: z.number() }),
  /** The service ends this stream, and why. */
  bye: z.object({ now_ms: z.number(), why: z.string() }),
} as const
export type EventName = keyof typeof eventShapes
export type EventData<K extends EventName> = z.output<(typeof eventShapes)[K]>
