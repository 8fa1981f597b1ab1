import type * as z from 'zod'
import { choice, count, group, list, quantity, ratio, text } from '../quantities/index.js'
import { defineTube, type TubeRecord } from '../tubes/index.js'

/*
 * A tube type that the set's own file defines, with the owner's sheet as its source: as a person writes it, and as the
 * tube room wants it.
 */

const kinds = [
  'triode',
  'twin-triode',
  'pentode',
  'beam-tetrode',
  'heptode',
  'diode',
  'rectifier-vacuum',
  'rectifier-mercury',
  'regulator-gas',
] as const
const V = (about: string) => quantity('V', about, { above: 0, most: 20_000 }).optional()
const A = (about: string) => quantity('A', about, { above: 0 }).optional()
const W = (about: string) => quantity('W', about, { above: 0 }).optional()

const pointShape = group(
  {
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

export const tubeTypeShape = group(
  {
    kind: choice(kinds, 'kind of tube'),
    source: text('the sheet all its figures are from, in words others can look up').min(8, {
      error: 'the source is too short to be looked up\nname the sheet, its issue and page',
    }),
    sections: count('equal sections in one bulb; left out: two for twin triodes, else one', 1, 4).optional(),
    cathode: choice(['indirect', 'direct', 'cold'], 'how the cathode is heated').default('indirect'),
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
    max: group(
      {
        plate: V('plate volts'),
        plate_dissipation: W('plate dissipation of one section'),
        screen: V('screen volts'),
        screen_dissipation: W('screen dissipation of one section'),
        cathode_current: A('cathode current'),
        heater_cathode: V('heater to cathode volts'),
        peak_inverse: V('peak inverse volts of a rectifier'),
        output_current: A('DC output of a rectifier'),
        regulator_current: A('current of a gas regulator'),
      },
      'maximum ratings',
    ).default({}),
    points: list(pointShape, 'published operating points', 20).default([]),
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
  },
  'a tube type',
)
export type WrittenTubeType = z.output<typeof tubeTypeShape>

/** The record, or what its figures lack to make sense together. */
export function toRecord(
  type: string,
  written: WrittenTubeType,
): { readonly record: TubeRecord | null; readonly problems: readonly string[] } {
  const problem = lacking(written)
  if (problem !== null) return { record: null, problems: [problem] }
  const { max, points, regulator } = written
  const figure = (value: number | undefined) =>
    value === undefined ? undefined : { value, source: written.source, confidence: 'owner' as const }
  const made = defineTube({
    type,
    aliases: [],
    kind: written.kind,
    cathode: written.cathode,
    cut_off: written.cut_off,
    sections: sectionsOf(written),
    heater:
      written.heater === undefined
        ? null
        : { volts: figure(written.heater.volts), amps: figure(written.heater.current) },
    warm_up_s: figure(written.warm_up),
    rating_system: { system: written.rating_system, source: written.source, confidence: 'owner' },
    max: {
      plate_V: figure(max.plate),
      plate_W: figure(max.plate_dissipation),
      screen_V: figure(max.screen),
      screen_W: figure(max.screen_dissipation),
      cathode_A: figure(max.cathode_current),
      heater_cathode_V: figure(max.heater_cathode),
      peak_inverse_V: figure(max.peak_inverse),
      dc_output_A: figure(max.output_current),
      regulator_A: figure(max.regulator_current),
    },
    points: points.map((point) => ({
      class: point.class === 'idle' ? 'idle' : 'class A1 characteristics',
      section: 0,
      plate_V: point.plate,
      screen_V: point.screen ?? null,
      grid_V: point.grid ?? null,
      cathode_ohm: point.cathode_resistor ?? null,
      plate_A: point.plate_current,
      screen_A: point.screen_current ?? null,
      gm_S: point.transconductance ?? null,
      rp_ohm: point.plate_resistance ?? null,
      mu: point.mu ?? null,
      mu_g1g2: point.screen_mu ?? null,
      source: point.source ?? written.source,
      confidence: 'owner',
    })),
    service: [],
    ...(regulator !== undefined && {
      regulator: {
        operating_V: figure(regulator.operating),
        strike_V: figure(regulator.strikes),
        strike_most_V: figure(regulator.strikes_at_most),
        extinction_V: figure(regulator.goes_out),
        slope_ohm: figure(regulator.regulation / (regulator.most - regulator.least)),
        min_A: figure(regulator.least),
        max_A: figure(regulator.most),
      },
    }),
  })
  const sound = made.record?.sections.every(
    ({ model }) =>
      model !== null && Object.values(model).every((each) => each !== null && !Number.isNaN(each)),
  )
  if (sound !== false) return made
  return { record: null, problems: ['no curves fit its operating points: check their figures'] }
}

function sectionsOf({ kind, sections }: WrittenTubeType): { name: string; curves: string }[] {
  const how: Record<(typeof kinds)[number], readonly [name: string, curves: string, count: number]> = {
    triode: ['triode', 'triode', 1],
    'twin-triode': ['triode', 'triode', 2],
    pentode: ['pentode', 'screen', 1],
    'beam-tetrode': ['tetrode', 'screen', 1],
    heptode: ['heptode', 'screen', 1],
    diode: ['diode', 'diode', 1],
    'rectifier-vacuum': ['diode', 'diode', 1],
    'rectifier-mercury': ['arc', 'arc', 1],
    'regulator-gas': ['gap', 'regulator', 1],
  }
  const [name, curves, usual] = how[kind]
  const many = sections ?? usual
  return Array.from({ length: many }, (_, i) => ({ name: many === 1 ? name : `${name} ${i + 1}`, curves }))
}

/** What the kind needs and the file does not give; null when all is there. */
function lacking({ kind, points, heater, cathode, regulator }: WrittenTubeType): string | null {
  if (kind === 'regulator-gas') {
    if (regulator === undefined) return 'a gas regulator needs its volts and currents under regulator:'
    if (!(regulator.least < regulator.most)) return 'its least current is not below its most current'
    const { goes_out, operating, strikes, strikes_at_most } = regulator
    return goes_out < operating && operating < strikes && strikes <= strikes_at_most
      ? null
      : 'its volts must rise in this order: goes_out, operating, strikes, strikes_at_most'
  }
  if (heater === undefined && cathode !== 'cold') return 'it has no heater: write one, or cathode: cold'
  const screened = kind === 'pentode' || kind === 'beam-tetrode' || kind === 'heptode'
  for (const point of points) {
    if (screened && point.screen === undefined) return 'a point of a screen-grid type has no screen volts'
    if (!screened && point.screen !== undefined) return `a point of a ${kind} has screen volts`
    const biased = point.grid !== undefined || point.cathode_resistor !== undefined
    if ((screened || kind.endsWith('triode')) && !biased && point.transconductance === undefined)
      return 'a point has neither grid volts nor a cathode resistor'
  }
  return points.length === 0 ? 'it has no operating point, so no current could be expected of it' : null
}
