import { z } from 'zod'

/** The shape of one file in `data/`: what was published of a type, each value with its source. See data/README.md. */

const source = z.string().min(8, 'every value names its source')
const confidence = z.enum(['published', 'from memory', 'owner'])
const figure = z.strictObject({ value: z.number(), source, confidence })
const maybe = z.number().nullable().default(null)

const point = z.strictObject({
  class: z.string().min(1),
  section: z.int().nonnegative(),
  plate_V: z.number(),
  screen_V: maybe,
  grid_V: maybe,
  cathode_ohm: maybe,
  plate_A: maybe,
  screen_A: maybe,
  gm_S: maybe,
  rp_ohm: maybe,
  mu: maybe,
  mu_g1g2: maybe,
  source,
  confidence,
  doubtful: z.string().nullable().default(null),
  disputed: z.string().optional(),
})

const service = z.strictObject({
  service: z.string().min(1),
  duty: z.enum(['CCS', 'ICAS', 'unknown']),
  rating: z.boolean(),
  plate_V: maybe,
  screen_V: maybe,
  grid_V: maybe,
  plate_A: maybe,
  screen_A: maybe,
  grid_A: maybe,
  plate_W: maybe,
  screen_W: maybe,
  plate_input_W: z.number().positive().optional(),
  output_W: z.number().positive().optional(),
  peak_grid_V: z.number().positive().optional(),
  source,
  confidence,
  disputed: z.string().optional(),
})

const heater = z.strictObject({ volts: figure, amps: figure })

const ratings = z.strictObject({
  plate_V: figure.optional(),
  plate_W: figure.optional(),
  screen_V: figure.optional(),
  screen_W: figure.optional(),
  cathode_A: figure.optional(),
  heater_cathode_V: figure.optional(),
  peak_inverse_V: figure.optional(),
  dc_output_A: figure.optional(),
  regulator_A: figure.optional(),
})

/** Other names want a source as values do: a wrong equivalent brings the wrong limits. */
const namesSourced = (type: { aliases: readonly string[]; aliases_source?: string | undefined }): boolean =>
  type.aliases.length === 0 || type.aliases_source !== undefined
const unsourced = {
  error: 'other names (aliases) name their source in aliases_source',
  path: ['aliases_source'],
}

/** A type of its own. */
export const typeShape = z
  .strictObject({
    type: z.string().min(1),
    aliases: z.array(z.string().min(1)),
    aliases_source: source.optional(),
    kind: z.enum([
      'triode',
      'twin-triode',
      'pentode',
      'beam-tetrode',
      'heptode',
      'triode-hexode',
      'triode-heptode',
      'triode-pentode',
      'twin-diode-triode',
      'diode',
      'indicator',
      'diode-triode',
      'diode-pentode',
      'rectifier-vacuum',
      'rectifier-mercury',
      'regulator-gas',
      'lamp',
      'barretter',
    ]),
    cathode: z.enum(['indirect', 'direct', 'cold']),
    /** What the rows' volts are against, of a directly heated type: the middle of its filament, or its negative end. */
    volts_against: z.enum(['middle of the filament', 'negative filament end']).optional(),
    cut_off: z.enum(['sharp', 'remote']).default('sharp'),
    sections: z.array(
      z.strictObject({
        name: z.string().min(1),
        curves: z.enum(['triode', 'screen', 'diode', 'arc', 'regulator', 'none']),
        /** Why no curves can be fitted, or why they are vague: said wherever they would be used. */
        why: z.string().min(20).optional(),
        /** The type that is the same filament otherwise connected, whose rows tell this one's curves. */
        like: z.string().optional(),
        /** What is rated otherwise for this section than for the type. */
        max: ratings.optional(),
      }),
    ),
    heater: heater.nullable(),
    warm_up_s: figure.optional(),
    rating_system: z.strictObject({
      system: z.enum(['design-centre', 'design-maximum', 'absolute', 'unknown']),
      source,
      confidence,
    }),
    max: ratings,
    points: z.array(point),
    service: z.array(service),
    regulator: z
      .strictObject({
        operating_V: figure,
        strike_V: figure,
        strike_most_V: figure,
        extinction_V: figure,
        slope_ohm: figure,
        min_A: figure,
        max_A: figure,
      })
      .optional(),
    barretter: z.strictObject({ amps: figure, least_V: figure, most_V: figure }).optional(),
    /** Of a mercury-vapour rectifier. */
    mercury: z
      .strictObject({ first_use_s: figure, condensed_low_C: figure, condensed_high_C: figure })
      .optional(),
    notes: z.array(z.strictObject({ text: z.string().min(1), source, confidence })).default([]),
  })
  .refine(namesSourced, unsourced)

/** Another type with the same electrodes and ratings as `as`, and a heater of its own. */
export const variantShape = z
  .strictObject({
    type: z.string().min(1),
    as: z.string().min(1),
    aliases: z.array(z.string().min(1)),
    aliases_source: source.optional(),
    heater,
  })
  .refine(namesSourced, unsourced)

export type TypeData = z.infer<typeof typeShape>
export type VariantData = z.infer<typeof variantShape>
