import type * as z from 'zod'
import { choice, count, group, list, quantity, ratio, table, text } from '../quantities/index.js'
import type { TubeKind } from '../tubes/index.js'

/* A tube type that the set's own file defines, as a person writes it, with the owner's sheet as its source. */

/** Every kind that the catalogue has. */
const kinds = [
  'triode',
  'twin-triode',
  'pentode',
  'beam-tetrode',
  'heptode',
  'triode-hexode',
  'triode-heptode',
  'triode-pentode',
  'twin-diode-triode',
  'diode-triode',
  'diode-pentode',
  'diode',
  'indicator',
  'rectifier-vacuum',
  'rectifier-mercury',
  'regulator-gas',
  'lamp',
  'barretter',
] as const satisfies readonly TubeKind[]
/** Systems of one bulb that differ, as `slowglow tube --section` names them. */
const systems = ['pentode', 'hexode', 'heptode', 'triode', 'oscillator anode', 'target'] as const
const V = (about: string) => quantity('V', about, { above: 0, most: 20_000 }).optional()
const A = (about: string) => quantity('A', about, { above: 0 }).optional()
const W = (about: string) => quantity('W', about, { above: 0 }).optional()

const pointShape = group(
  {
    section: choice(
      systems,
      'which of its systems the point is of, where a bulb holds several that differ; left out: the first',
    ).optional(),
    class: choice(['class A', 'idle'], 'class A, or a push-pull stage without signal').default('class A'),
    plate: quantity('V', 'plate volts; of a diode, its drop at the current given', {
      above: 0,
      most: 20_000,
    }),
    screen: V('screen volts'),
    grid: quantity('V', 'grid volts, with their sign').optional(),
    cathode_resistor: quantity(
      'Ω',
      'cathode resistor, where the row prints it and supply volts in place of grid volts',
      { above: 0 },
    ).optional(),
    plate_current: quantity('A', 'plate current of one section', { above: 0 }),
    screen_current: A('screen current'),
    transconductance: quantity('S', 'transconductance', { above: 0 }).optional(),
    plate_resistance: quantity('Ω', 'plate resistance', { above: 0 }).optional(),
    mu: ratio('amplification factor, a plain number', 0.1, 1000).optional(),
    screen_mu: ratio('amplification of the screen (mu g1-g2), a plain number', 0.1, 1000).optional(),
    source: text('where this row is printed, if elsewhere than the rest').optional(),
  },
  'a published operating point',
)

const maxShape = {
  plate: V('plate volts'),
  plate_dissipation: W('plate dissipation of one section'),
  screen: V('screen volts'),
  screen_dissipation: W('screen dissipation of one section'),
  cathode_current: A('cathode current'),
  heater_cathode: V('heater to cathode volts'),
  peak_inverse: V('peak inverse volts of a rectifier'),
  output_current: A('DC output of a rectifier'),
  regulator_current: A('current of a gas regulator'),
}

export const tubeTypeShape = group(
  {
    kind: choice(kinds, 'kind of tube'),
    source: text('the sheet all its figures are from, in words others can look up').min(8, {
      error: 'the source is too short to be looked up\nname the sheet, its issue and page',
    }),
    sections: count(
      'equal sections in one bulb; left out: two for twin triodes, else one; systems that differ follow from the kind',
      1,
      4,
    ).optional(),
    cathode: choice(
      ['indirect', 'direct', 'cold'],
      'how the cathode is heated; lamps, gas regulators and barretters need not say it',
    ).default('indirect'),
    volts_against: choice(
      ['negative filament end', 'middle of the filament'],
      "of a directly heated type: the point of its filament that the sheet's volts are against; battery types mostly the negative end",
    ).optional(),
    cut_off: choice(['sharp', 'remote'], 'remote for variable-mu types and mixers').default('sharp'),
    heater: group(
      {
        volts: quantity('V', 'heater volts', { above: 0, most: 250 }),
        current: quantity('A', 'heater current', { above: 0 }),
      },
      'heater or filament',
    ).optional(),
    warm_up: quantity('s', 'time from heater on until HT may come', { least: 0, most: 3600 }).optional(),
    rating_system: choice(
      ['design-centre', 'design-maximum', 'absolute', 'unknown'],
      'rating system of the sheet; unknown is treated as absolute',
    ).default('unknown'),
    max: group(maxShape, 'maximum ratings').default({}),
    max_of: table(
      group(
        {
          plate: maxShape.plate,
          plate_dissipation: maxShape.plate_dissipation,
          cathode_current: maxShape.cathode_current,
        },
        'what is rated otherwise',
      ),
      'ratings of its second system, by its name, where they are not those under max: { triode: { plate_dissipation: 0.8 W } }',
    ).default({}),
    points: list(
      pointShape,
      'published operating points; without one it has no curves, and its heater and ratings count alone',
      20,
    ).default([]),
    regulator: group(
      {
        operating: quantity('V', 'operating volts', { above: 0 }),
        strikes: quantity('V', 'volts at which most strike', { above: 0 }),
        strikes_at_most: quantity('V', 'volts a healthy one may need to strike', { above: 0 }),
        goes_out: quantity('V', 'volts below which it goes out', { above: 0 }),
        regulation: quantity('V', 'rise of its volts over its current range', { least: 0 }),
        least: quantity('A', 'least current', { above: 0 }),
        most: quantity('A', 'most current', { above: 0 }),
      },
      'a gas regulator',
    ).optional(),
    barretter: group(
      {
        current: quantity('A', 'the current it holds', { above: 0 }),
        from: quantity('V', 'the least volts at which it holds it', { above: 0 }),
        to: quantity('V', 'the most volts at which it holds it', { above: 0 }),
      },
      'a barretter',
    ).optional(),
  },
  'a tube type',
)
export type WrittenTubeType = z.output<typeof tubeTypeShape>
