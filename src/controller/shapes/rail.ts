import { z } from 'zod'

const number = z.number()
const text = z.string()

export const accuracyShape = z.looseObject({ of_reading: number, plus: number })
export const roleShape = z.enum(['heater', 'bias', 'HT', 'screen', 'drive', 'other'])
export const signShape = z.literal([1, -1])

export const railShape = z.looseObject({
  name: text,
  role: roleShape,
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
      accuracy_V: accuracyShape,
      accuracy_A: accuracyShape,
      over_voltage: z.boolean(),
      over_voltage_margin_V: number,
      dead_man: z.literal(true).exactOptional(),
      panel: z.literal(true).exactOptional(),
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
      sign: signShape,
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
