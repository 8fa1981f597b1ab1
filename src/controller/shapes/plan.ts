import { z } from 'zod'
import type { Plan } from '../../plan/index.js'
import { meterShape } from './meter.js'
import { railShape, roleShape } from './rail.js'
import { stepShape } from './step.js'

const number = z.number()
const text = z.string()

const errors = z.looseObject({ of_reading: number, plus: number, resolution: number })
const reform = z.looseObject({
  rail: text,
  channel: text,
  top_V: number,
  rung_V: number,
  heat_W: number,
  top_s: number,
  rest_s: number,
  supply: errors,
  said: z.array(text),
  parts: z.array(
    z.looseObject({
      name: text,
      parts: z.array(text),
      joined: z.enum(['alone', 'parallel', 'series']),
      F: number,
      rated_V: number,
      most_V: number,
      cans: z.array(text),
      feed_ohm: number,
      feed_error: number,
      feed_untold: number.exactOptional(),
      feed_rated_W: number,
      next_feed: z.looseObject({ ohm: number, error: number, rated_W: number }).exactOptional(),
      meter: text,
      typed: z.looseObject({ node: text, settle_s: number }).exactOptional(),
      measured_F: z.looseObject({ F: number, error_F: number }).exactOptional(),
      across: z.enum(['part', 'feed']),
      meter_ohm: number,
      meter_error: errors,
      case: text.nullable(),
      limit: z.looseObject({ target: text, amps: number, after_s: number, text, source: text }),
      resolves_A: number,
      formed_V: number,
    }),
  ),
})

export const offPlanShape = z.looseObject({
  format: z.literal('slowglow off 1'),
  channels: z.array(
    z.looseObject({
      channel: text,
      port: text,
      rail: text,
      role: roleShape,
      off_order: number,
      off_text: text,
      expected_fall: z.looseObject({ ohm: number, F: number }).nullable(),
      resolution_V: number,
      resolution_A: number,
      zero_A: number,
      stale_s: number.exactOptional(),
    }),
  ),
  knobs: z
    .array(
      z.looseObject({
        rail: text,
        role: roleShape,
        class: z.enum(['watched', 'hand']),
        volts_meter: text.nullable(),
        amps_meter: text.nullable(),
        no_A: number,
        stale_s: number.exactOptional(),
      }),
    )
    .nullable(),
  heaters_off_after_s: number,
  stale_s: number,
  bias_release: z.looseObject({
    below_V: number,
    discharge_s: number.nullable(),
    cathodes_cold_s: number,
    only_wire_between: z.boolean(),
  }),
})

export const planShape: z.ZodType<Plan> = z.looseObject({
  format: z.literal('slowglow plan 1'),
  equipment: text,
  profile: text,
  bench: text,
  bench_kind: z.enum(['real', 'virtual']),
  kind: z.enum(['reform', 'receive', 'transmit', 'bring-up', 'qualify']),
  level: z.literal([1, 2, 3]),
  hash: text,
  rails: z.record(text, railShape),
  meters: z.record(text, meterShape),
  prove_dead: z.array(z.looseObject({ rail: text, node: text, at: text })),
  wires: z.array(z.looseObject({ of: text, text })),
  hookup: z.array(
    z.looseObject({
      rail: text,
      supply: text,
      positive: text,
      negative: text,
      first: z.array(text),
      proved_by: text,
      advice: z.array(text).optional(),
    }),
  ),
  unproved: z.array(text),
  filaments: z
    .array(
      z.looseObject({
        part: text,
        section: number,
        rail: text,
        filament_V: number,
        reference_V: number,
        exchanged_V: number,
        plate_A: number.nullable(),
        exchanged_A: number.nullable(),
        text,
      }),
    )
    .exactOptional(),
  steps: z.array(stepShape),
  rules: z.array(
    z.looseObject({
      code: text,
      text,
      warn: number.nullable(),
      trip: number.nullable(),
      for_s: number,
      unit: text,
      source: text,
    }),
  ),
  off: offPlanShape,
  unattended: z
    .looseObject({
      layers: z.array(
        z.looseObject({ port: text, by: z.enum(['dead-man', 'cut-off relay', 'outside timer']), text }),
      ),
      refused: z.array(z.looseObject({ what: text, remedy: text })),
    })
    .exactOptional(),
  figures: z.looseObject({
    highest_V: number,
    stored_J: number,
    stored_where: text,
    discharge_s: number.nullable(),
    hazards: z.array(text),
    unattended: z.boolean(),
  }),
  heaters: z.array(
    z.looseObject({
      chain: text,
      rail: text,
      volts: number,
      warm_up_s: number,
      tubes: z.array(text),
      source: text,
      mercury: z
        .looseObject({
          tubes: z.array(text),
          first_use_s: number,
          stated: text.nullable(),
          condensed_low_C: number,
          condensed_high_C: number,
          text,
          source: text,
        })
        .exactOptional(),
    }),
  ),
  reform: reform.exactOptional(),
  cut_off: z.looseObject({ meter: text, channels: z.array(text) }).exactOptional(),
  time_budget_s: number,
  prompt_timeout_s: number,
  expected_s: number,
  stale_s: number,
})
