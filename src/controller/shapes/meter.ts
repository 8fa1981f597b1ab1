import { z } from 'zod'
import { accuracyShape } from './rail.js'

const number = z.number()
const text = z.string()

export const measuresShape = z.enum(['V', 'A', '°C', 'contact'])
export const meterShape = z.looseObject({
  name: text,
  port: text.nullable(),
  measures: measuresShape,
  at: text.nullable(),
  against: text.nullable(),
  rail: text.nullable(),
  ohm: number,
  resolution: number,
  accuracy: accuracyShape,
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
