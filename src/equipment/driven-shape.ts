import type * as z from 'zod'
import { choice, group, list, name, quantity, text } from '../quantities/index.js'
import type { DrivenStage } from './types.js'

/* A driven stage as a person writes it, under the tube (or section) it belongs to. */

const source = text('where the figure comes from: a handbook page, a measurement, "from memory"')
const amps = (about: string) => quantity('A', about, { above: 0, most: 10 })

export const drivenShape = group(
  {
    in: list(name('a mode'), 'modes in which it is driven'),
    by: choice(['RF', 'audio'], 'what drives it'),
    service: text('service as in the tube data: class C telegraphy, class C plate-modulated, class AB1…'),
    duty: choice(
      ['CCS', 'ICAS'],
      'continuous (CCS) or intermittent (ICAS) duty; continuous allows less and is taken where nothing is said',
    ).default('CCS'),
    bias: choice(['fixed', 'cathode resistor', 'grid leak'], 'what holds the tube when its drive is lost'),
    bias_rail: name(
      'rail of role bias that holds it, where the file has several (levels 1 and 2; a circuit tells it)',
    ).optional(),
    screen: choice(
      ['dropper', 'fixed'],
      'levels 1 and 2: whether its screen is fed through a resistor, behind which it rises to its rail without drive, or keeps its volts (fixed: a divider, a regulator)',
    ).default('dropper'),
    drive: choice(
      ['with HT', 'steady'],
      'whether the stages before it rise with the same HT, or have a supply of their own',
    ).default('with HT'),
    from: name('the tube whose output drives it').optional(),
    modulates: name('of a modulator: the tube whose plate it modulates').optional(),
    figures: group(
      {
        at: quantity('V', 'plate volts the figures were taken at', { above: 0, most: 20000 }),
        screen_at: quantity('V', 'screen volts', { above: 0, most: 5000 }).optional(),
        bias: quantity('V', 'grid volts while driven, with their sign', { most: 0 }),
        peak: quantity('V', 'peak of the drive at the grid', { above: 0, most: 5000 }).optional(),
        plate: amps('plate current; of an audio stage what signal adds to its resting current'),
        screen: amps('screen current').optional(),
        grid: amps('grid current').optional(),
        source,
      },
      "the handbook's figures of this stage, tuned and loaded",
    ).optional(),
    rating: group(
      {
        volts: quantity('V', 'most plate volts', { above: 0, most: 20000 }).optional(),
        plate: amps('most plate current'),
        grid: amps('most grid current').optional(),
        screen: quantity('W', 'most screen dissipation', { above: 0 }).optional(),
        input: quantity('W', 'most plate input', { above: 0 }).optional(),
        source,
      },
      'most that this service allows, where the tube data do not say',
    ).optional(),
    shows: group(
      {
        node: name("where the meter is clipped: the grid's side"),
        against: name('its other lead'),
        resistor: quantity(
          'Ω',
          'resistor between the two, where the file gives no circuit that tells it (levels 1 and 2)',
          { above: 0 },
        ).optional(),
      },
      'where a bench meter shows the grid current as volts',
    ).optional(),
    panel: text(
      "the set's own meter that shows the grid current, outside the case: read by a person before HT goes to its top, where no bench meter shows it",
    ).optional(),
  },
  'a stage that is driven in some modes',
)

export function toDriven(written: z.output<typeof drivenShape>): DrivenStage {
  const { figures, rating, shows, panel, from, modulates, bias_rail, screen, ...plain } = written
  return {
    ...plain,
    ...(figures !== undefined && {
      figures: {
        plate_V: figures.at,
        screen_V: figures.screen_at ?? null,
        grid_V: figures.bias,
        peak_V: figures.peak ?? 1.2 * Math.abs(figures.bias) + 10,
        plate_A: figures.plate,
        screen_A: figures.screen ?? 0,
        grid_A: figures.grid ?? 0,
        source: figures.source,
      },
    }),
    ...(rating !== undefined && {
      rating: {
        plate_V: rating.volts ?? null,
        plate_A: rating.plate,
        screen_W: rating.screen ?? null,
        grid_A: rating.grid ?? null,
        plate_input_W: rating.input ?? null,
        source: rating.source,
      },
    }),
    ...(bias_rail !== undefined && { bias_rail }),
    ...(screen === 'fixed' && { fixed_screen: true as const }),
    ...(from !== undefined && { from }),
    ...(modulates !== undefined && { modulates }),
    ...(shows !== undefined && {
      shows: {
        node: shows.node,
        against: shows.against,
        ...(shows.resistor !== undefined && { ohm: shows.resistor }),
      },
    }),
    ...(panel !== undefined && { panel }),
  }
}
