import { z } from 'zod'
import type { LineConfig } from '../../line/index.js'
import { measuresShape } from './meter.js'

const number = z.number()
const text = z.string()
const nullableText = text.nullable()
const tripped = z.union([text, z.looseObject({ query: text, mask: number })]).nullable()
const end = z.enum(['\n', '\r', '\r\n'])
const dialect = z.looseObject({
  name: text,
  select: nullableText,
  identify: text,
  clear: text,
  remote: nullableText,
  local: nullableText,
  at_open: z.array(text),
  set_volts: text,
  ask_set_volts: text,
  set_amps: text,
  ask_set_amps: text,
  set_over_volts: nullableText,
  ask_over_volts: nullableText,
  over_volts_on: nullableText,
  ask_over_volts_on: nullableText,
  on: text,
  off: text,
  ask_output: text,
  measure_volts: text,
  measure_amps: text,
  set_over_amps: nullableText,
  ask_over_amps: nullableText,
  over_amps_on: nullableText,
  ask_over_amps_on: nullableText,
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
  measures: measuresShape,
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
