import { z } from 'zod'
import type { LineConfig } from '../line/index.js'
import type { Ask, Plan } from '../plan/index.js'

/**
 * Shapes of what crosses from one process to the other. Objects are loose: a field added to a plan later passes through
 * untouched, a missing or wrong one is refused.
 */
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
})

const accuracy = z.looseObject({ of_reading: number, plus: number })
const role = z.enum(['heater', 'bias', 'HT', 'screen', 'drive', 'other'])
const sign = z.literal([1, -1])

const rail = z.looseObject({
  name: text,
  role,
  class: z.enum(['programmed', 'watched', 'hand']),
  channels: z.array(
    z.looseObject({
      channel: text,
      port: text,
      share: number,
      set_digits_V: number,
      set_digits_A: number,
      min_V: number,
      min_A: number,
      max_V: number,
      max_A: number,
      resolution_V: number,
      resolution_A: number,
      accuracy_V: accuracy,
      accuracy_A: accuracy,
      over_voltage: z.boolean(),
      over_voltage_margin_V: number,
      dead_man: z.literal(true).exactOptional(),
      off_order: number,
    }),
  ),
  volts_meter: text.nullable(),
  amps_meter: text.nullable(),
  positive: text,
  negative: text,
  max_V: number,
  touch_V: number.exactOptional(),
  charged_at: text.exactOptional(),
  stale_s: number.exactOptional(),
  on_stale_s: number.exactOptional(),
  bias: z
    .looseObject({
      node: text,
      at_least_V: number,
      nominal_V: number,
      sign,
      meter: text.nullable(),
      stale_s: number.exactOptional(),
      preload_A: number.nullable(),
      bleeder_ohm: number.exactOptional(),
      bleeder_tolerance: number.exactOptional(),
      source: text,
    })
    .nullable(),
  discharge: z.looseObject({ ohm: number, F: number, through: text }).nullable(),
  modulates: text.exactOptional(),
  can: z.array(text),
  cannot: z.array(text),
})

const measures = z.enum(['V', 'A', '°C', 'contact'])
const meter = z.looseObject({
  name: text,
  port: text.nullable(),
  measures,
  at: text.nullable(),
  against: text.nullable(),
  rail: text.nullable(),
  ohm: number,
  resolution: number,
  accuracy,
  watch: z
    .looseObject({
      uses: z.array(text),
      needed: z.boolean(),
      stale_s: number,
      limits: z.array(
        z.looseObject({
          act: z.enum(['warn', 'trip']),
          when: z.enum(['above', 'below', 'open', 'closed']),
          at: number.nullable(),
          because: text,
        }),
      ),
      falls: z.looseObject({ ohm: number, F: number }).nullable(),
    })
    .exactOptional(),
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

const step = z.looseObject({
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
      polarity: z
        .looseObject({
          node: text,
          sign,
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
      of: z.enum(['off', 'current limit', 'over-voltage', 'over-current', 'dead-man', 'cut-off relay']),
      channel: text,
      limit_A: number.nullable(),
      level: number.nullable(),
      within_s: number,
      because: text,
    })
    .exactOptional(),
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
      feed_ohm: number,
      feed_error: number,
      feed_untold: number.exactOptional(),
      feed_rated_W: number,
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
      role,
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
        role,
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
  rails: z.record(text, rail),
  meters: z.record(text, meter),
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
  steps: z.array(step),
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

const nullableText = text.nullable()
const tripped = z.union([text, z.looseObject({ query: text, mask: number })]).nullable()
const end = z.enum(['\n', '\r', '\r\n'])
const dialect = z.looseObject({
  name: text,
  select: nullableText,
  identify: text,
  clear: text,
  remote: nullableText,
  at_open: z.array(text),
  set_volts: text,
  ask_set_volts: text,
  set_amps: text,
  ask_set_amps: text,
  set_over_volts: nullableText,
  ask_over_volts: nullableText,
  over_volts_on: nullableText,
  on: text,
  off: text,
  ask_output: text,
  measure_volts: text,
  measure_amps: text,
  set_over_amps: nullableText,
  ask_over_amps: nullableText,
  over_amps_on: nullableText,
  ask_over_volts_tripped: tripped,
  ask_over_amps_tripped: tripped,
  ask_over_heat_tripped: tripped,
  ask_cc: z.looseObject({ query: text, mask: number, cv_mask: number.nullable() }).nullable(),
  error_query: nullableText,
  dead_man: z
    .looseObject({
      arm: z.array(text),
      feed: nullableText,
      after_s: number,
      per: z.enum(['supply', 'output']),
      disarm: z.array(text).exactOptional(),
      ask_time: nullableText.exactOptional(),
      ask_armed: nullableText,
      ask_expired: nullableText,
    })
    .nullable(),
  terminator: end,
  reply_terminator: end,
  acknowledges: nullableText,
  error_lines: z.array(text),
  level_below: z.enum(['refused', 'trips']),
  number_form: z.enum(['fixed', 'exponent', 'padded']),
  unit_in_reply: z.boolean(),
  switch_in_words: z.boolean(),
  answers: z.record(text, text),
  slow_s: z.record(text, number),
})

const lineMeter = z.looseObject({
  name: text,
  measures,
  limit: number,
  ask: nullableText.exactOptional(),
  answer: nullableText.exactOptional(),
  every_us: number.exactOptional(),
  closed_is: z.literal([0, 1]).exactOptional(),
  feeds: z.literal(true).exactOptional(),
})

export const lineConfigShape: z.ZodType<LineConfig> = z.looseObject({
  port: text,
  identity: nullableText,
  dialect,
  reply_us: number,
  byte_us: number.exactOptional(),
  channels: z.array(
    z.looseObject({
      channel: text,
      number,
      set_digits_V: number,
      set_digits_A: number,
      max_V: number,
      max_A: number,
      resolution_V: number,
      resolution_A: number,
      over_voltage: z.boolean(),
      min_V: number.exactOptional(),
      min_A: number.exactOptional(),
      unguarded: z.boolean().exactOptional(),
    }),
  ),
  meter: lineMeter.nullable(),
  inputs: z.array(lineMeter).exactOptional(),
  poll_us: number.exactOptional(),
})
