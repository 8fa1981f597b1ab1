import { z } from 'zod'
import type { Plan } from '../plan/index.js'
import { bounds } from './layout.js'
import type { Known, RunEnding, RunEntry, RunEvent, Stream } from './types.js'

const whole = z.number().int()
const time = whole.min(0).max(bounds.t_us)
const stored = whole.min(-bounds.n).max(bounds.n)
const words = z.record(z.string(), z.unknown())

/** What readers of a record rely on in a plan; whatever else a plan carries is kept as it is. */
const planParts = z.looseObject({
  format: z.literal('slowglow plan 1'),
  equipment: z.string(),
  profile: z.string(),
  bench: z.string(),
  bench_kind: z.enum(['real', 'virtual']),
  kind: z.string(),
  level: z.number(),
  hash: z.string(),
  rails: z.record(
    z.string(),
    z.looseObject({
      name: z.string(),
      role: z.string(),
      class: z.string(),
      volts_meter: z.string().nullable(),
      amps_meter: z.string().nullable(),
    }),
  ),
  steps: z.array(
    z.looseObject({
      index: whole,
      stage: z.string(),
      mode: z.string(),
      do: z.string(),
      rail: z.string().nullable(),
      target_V: z.number(),
      hold_s: z.number(),
      only_if: z.looseObject({ over_rating: z.string() }).optional(),
      limits: z.record(
        z.string(),
        z.looseObject({
          at_V: z.number(),
          expected_A: z.number(),
          lower_A: z.number(),
          upper_A: z.number(),
          trip_A: z.number(),
          ceiling_A: z.number(),
          because: z.array(
            z.looseObject({
              limit: z.string(),
              value: z.number(),
              unit: z.string(),
              text: z.string(),
              source: z.string(),
            }),
          ),
        }),
      ),
    }),
  ),
  rules: z.array(
    z.looseObject({ code: z.string(), text: z.string(), for_s: z.number(), source: z.string() }),
  ),
  supplies: z.array(z.looseObject({ channel: z.string(), text: z.string() })).optional(),
  unproved: z.array(z.string()),
  figures: z.looseObject({ highest_V: z.number(), stored_J: z.number() }),
})
const planShape = z.custom<Plan>(
  (value) => planParts.safeParse(value).success,
  'is not a plan of this format',
)

export const knownShape: z.ZodType<Known> = z.object({
  run: z.string(),
  started: z.string(),
  version: z.string(),
  command: z.enum(['rehearse', 'run', 'qualify']),
  plan: planShape,
  files: z.record(z.string(), z.string()),
  identities: z.record(z.string(), z.string()),
  seed: z.number().nullable(),
  faults: z.array(z.string()),
})

export const streamShape: z.ZodType<Stream> = z.object({
  id: whole,
  name: z.string(),
  unit: z.enum(['V', 'A', '°C', 'contact']),
  rail: z.string().nullable(),
  resolution: z.number(),
})

export const eventShape: z.ZodType<RunEvent> = z.object({
  t_us: time,
  from: z.enum(['controller', 'supervisor', 'recorder', 'rehearsal', 'nemesis', 'line']),
  what: z.string(),
  text: z.string(),
  rail: z.string().nullable(),
  step: whole.nullable(),
  intent: whole.nullable(),
  data: words,
  durable: z.boolean(),
})

export const endingShape: z.ZodType<RunEnding> = z.object({
  outcome: z.enum(['completed', 'tripped', 'stopped', 'failed']),
  outputs_off: z.enum(['confirmed', 'not confirmed']),
  reason: z
    .object({
      code: z.string(),
      rail: z.string().nullable(),
      step: whole.nullable(),
      measured: z.number().nullable(),
      limit: z.number().nullable(),
      unit: z.string(),
      text: z.string(),
    })
    .nullable(),
  stored_charge: z.record(
    z.string(),
    z.union([
      z.object({
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
  steps_done: whole,
  duration_s: z.number(),
  details: words,
})

/** One entry, as it travels to the recorder. */
export const entryShape: z.ZodType<RunEntry> = z.discriminatedUnion('entry', [
  z.object({
    entry: z.literal('reading'),
    stream: whole,
    t_us: time,
    n: stored,
    k: whole.min(-bounds.k).max(bounds.k),
  }),
  z.object({ entry: z.literal('tick'), t_us: time, late_us: stored, slept_us: stored }),
  z.object({ entry: z.literal('event'), event: eventShape }),
  z.object({ entry: z.literal('stream'), stream: streamShape }),
  z.object({ entry: z.literal('known'), known: knownShape }),
  z.object({ entry: z.literal('ending'), t_us: time, ending: endingShape }),
])
