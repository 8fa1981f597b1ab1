import { z } from 'zod'
import type { Ask } from '../../plan/index.js'
import { signShape } from './rail.js'

const number = z.number()
const text = z.string()

export const askShape: z.ZodType<Ask> = z.looseObject({
  text,
  wants: z.discriminatedUnion('kind', [
    z.looseObject({ kind: z.literal('confirm') }),
    z.looseObject({
      kind: z.literal('reading'),
      node: text.nullable(),
      rail: text.nullable(),
      unit: z.enum(['V', 'A', 'Ω']),
      low: number,
      high: number,
    }),
  ]),
  timeout_s: number,
  inside: z.boolean(),
  about: text,
  takes_panel: text.exactOptional(),
})

export const limitsShape = z.looseObject({
  at_V: number,
  expected_A: number,
  lower_A: number,
  upper_A: number,
  ask_A: number,
  trip_A: number,
  ceiling_A: number,
  charge_A: number,
  supply_limit_A: number,
  over_voltage_V: number,
  because: z.array(
    z.looseObject({
      limit: z.enum([
        'expected',
        'band',
        'ask',
        'trip',
        'ceiling',
        'supply limit',
        'over-voltage',
        'slew',
        'hold',
      ]),
      value: number,
      unit: z.enum(['A', 'V', 'V/s', 's']),
      text,
      source: text,
    }),
  ),
  sees: text.nullable(),
  ratings: z
    .array(
      z.looseObject({
        part: text,
        what: text,
        of_rating: number,
        share_A: number,
        at_A: number,
        rating: text,
        source: text,
        cathode: z.looseObject({ node: text, V: number, rated_V: number, most_V: number }).nullable(),
      }),
    )
    .optional(),
  heaters: z
    .array(z.looseObject({ part: text, volts: number, lower_V: number, upper_V: number, rated_V: number }))
    .optional(),
  signs: z
    .array(
      z.looseObject({
        what: z.enum(['open', 'wrong rating', 'shorted section']),
        of: text,
        chains: z.array(text),
        parts: z.array(text),
        change_A: number,
        set_change_V: number,
        over: z.looseObject({ part: text, volts: number, rated_V: number }).nullable(),
        text,
      }),
    )
    .optional(),
})

export const stepShape = z.looseObject({
  index: number,
  stage: text,
  mode: text,
  do: z.enum(['hook-up check', 'raise', 'hold', 'ask', 'lower', 'prove']),
  rail: text.nullable(),
  target_V: number,
  slew_V_per_s: number,
  hold_s: number,
  settle_within_s: number,
  limits: z.record(text, limitsShape),
  hookup: z
    .looseObject({
      rail: text,
      channel: text,
      method: z.enum(['low volts', 'ohmmeter']),
      test_V: number,
      limit_A: number,
      ohm_low: number,
      ohm_high: number,
      may_limit: z.boolean(),
      coarse: z.boolean().exactOptional(),
      polarity: z
        .looseObject({
          node: text,
          sign: signShape,
          low_V: number,
          high_V: number,
          meter: text.nullable(),
        })
        .nullable(),
      because: text,
    })
    .nullable(),
  ask: askShape.nullable(),
  proof: z
    .looseObject({
      of: z.enum([
        'off',
        'current limit',
        'over-voltage',
        'over-current',
        'dead-man',
        'cut-off relay',
        'outside timer',
      ]),
      channel: text,
      limit_A: number.nullable(),
      level: number.nullable(),
      within_s: number,
      because: text,
      others: z
        .array(z.looseObject({ channel: text, rail: text, stated: z.enum(['goes', 'stays']) }))
        .exactOptional(),
    })
    .exactOptional(),
  exchange: z.array(text).exactOptional(),
  in_place: z.looseObject({ still: number, rise: number }).exactOptional(),
  nodes: z.record(text, number),
  soft_start_s: number,
  needs_heaters: z.boolean(),
  needs_bias: z.boolean(),
  needs_plate: text.nullable(),
  filaments_low: z.boolean().exactOptional(),
  drive: z
    .array(
      z.looseObject({
        tube: text,
        grid_A: number,
        meter: z.looseObject({ name: text, volts: number, lost_V: number }).nullable(),
        bias: z.looseObject({ rail: text, with_A: number, lost_A: number }).nullable(),
        text,
      }),
    )
    .optional(),
  modulated: z
    .array(z.looseObject({ rail: text, by: text, tube: text, own_A: number, least: number }))
    .optional(),
  needs_drive: z.array(text).optional(),
  time_limits: z
    .array(z.looseObject({ name: text, rail: text, above_V: number, s: number, text, source: text }))
    .optional(),
  hands_clear: z.boolean(),
  expected_s: number,
  only_if: z.looseObject({ over_rating: text, rated_V: number }).optional(),
  reform: z
    .looseObject({ what: z.enum(['rung', 'soak', 'top', 're-test']), least_s: number })
    .exactOptional(),
  aside: z.literal(true).exactOptional(),
})
