import { formatQuantity } from '../../quantities/index.js'
import { type Figure, lampLife, type TubeRecord } from '../../tubes/index.js'
import { uncertaintyOf } from './at.js'
import { plotOf } from './plot.js'

/* A record as a person reads it: every figure with where it is from. */

const ratings = [
  ['plate_V', 'plate volts', 'V'],
  ['plate_W', 'plate dissipation', 'W'],
  ['screen_V', 'screen volts', 'V'],
  ['screen_W', 'screen dissipation', 'W'],
  ['cathode_A', 'cathode current', 'A'],
  ['heater_cathode_V', 'heater to cathode', 'V'],
  ['peak_inverse_V', 'peak inverse volts', 'V'],
  ['dc_output_A', 'DC output', 'A'],
  ['regulator_A', 'regulator current', 'A'],
] as const

export function recordText(record: TubeRecord, as: string): string {
  const { heater } = record
  return [
    `${record.type}: ${record.kind.replaceAll('-', ' ')}${as === '' ? '' : ` (${as})`}`,
    `  also known as: ${record.aliases.join(', ') || 'no other name stored'}${record.aliases_source === undefined || record.aliases.length === 0 ? '' : ` [${record.aliases_source}]`}`,
    heater === null
      ? '  heater: none'
      : `  heater: ${figure(heater.volts, 'V')}; ${figure(heater.amps, 'A')}; ${record.cathode === 'direct' ? 'directly' : 'indirectly'} heated`,
    ...(record.cathode === 'cold' ? [] : [`  warm-up: ${figure(record.warm_up_s, 's')}`]),
    ...mercuryLines(record),
    // A lamp or barretter has no electrodes to rate.
    ...(Object.keys(record.max).length === 0
      ? []
      : [
          `  ratings (${record.rating_system === 'unknown' ? 'rating system unknown: taken as absolute' : `${record.rating_system} [${record.rating_source}${unverified({ confidence: record.rating_confidence })}]`}):`,
        ]),
    ...ratings.flatMap(([key, words, unit]) => {
      const rating = record.max[key]
      return rating === undefined ? [] : [`    ${words.padEnd(20)}${figure(rating, unit)}`]
    }),
    ...record.sections.flatMap(({ name, max }) =>
      ratings.flatMap(([key, words, unit]) => {
        const rating = max?.[key]
        return rating === undefined ? [] : [`    ${words} of its ${name}: ${figure(rating, unit)}`]
      }),
    ),
    ...(record.sections.length === 0 || record.barretter !== undefined
      ? []
      : ['  curves:', ...record.sections.flatMap((section, i) => sectionLines(record, i, section))]),
    ...regulatorLines(record),
    ...barretterLines(record),
    ...lampLines(record),
    ...(record.points.length === 0 ? [] : ['  published points:']),
    ...record.points.map(
      (p, i) =>
        `    point_${i + 1}: ${[
          p.class,
          `plate ${formatQuantity(p.plate_V, 'V')}`,
          p.screen_V === null ? '' : `screen ${formatQuantity(p.screen_V, 'V')}`,
          p.grid_V === null ? '' : `grid ${formatQuantity(p.grid_V, 'V')}`,
          p.cathode_ohm === null ? '' : `cathode resistor ${formatQuantity(p.cathode_ohm, 'Ω')}`,
          p.plate_A === null ? '' : `draws ${formatQuantity(p.plate_A, 'A')}`,
          p.screen_A === null ? '' : `screen ${formatQuantity(p.screen_A, 'A')}`,
          p.gm_S === null ? '' : `gm ${formatQuantity(p.gm_S, 'S')}`,
          p.rp_ohm === null ? '' : `rp ${formatQuantity(p.rp_ohm, 'Ω')}`,
          p.mu === null ? '' : `mu ${p.mu}`,
          p.mu_g1g2 == null ? '' : `mu of the screen ${p.mu_g1g2}`,
        ]
          .filter((part) => part !== '')
          .join(
            ', ',
          )} [${p.source}${unverified(p)}]${p.doubtful === null ? '' : ` not used: ${p.doubtful}`}${p.disputed == null ? '' : ` disputed: ${p.disputed}`}`,
    ),
    ...(record.service.length === 0 ? [] : ['  by service:']),
    ...record.service.map(
      (s, i) =>
        `    service_${i + 1}: ${s.rating ? 'maximum' : 'typical'}, ${s.service}${s.duty === 'unknown' ? '' : `, ${s.duty}`}: ${[
          electrode('plate', [s.plate_V, 'V'], [s.plate_A, 'A'], [s.plate_W, 'W']),
          electrode('screen', [s.screen_V, 'V'], [s.screen_A, 'A'], [s.screen_W, 'W']),
          electrode('grid', [s.grid_V, 'V'], [s.grid_A, 'A']),
          electrode('peak of drive', [s.peak_grid_V, 'V']),
          electrode('plate input', [s.plate_input_W, 'W']),
          electrode('output', [s.output_W, 'W']),
        ]
          .filter((part) => part !== '')
          .join(', ')} [${s.source}${unverified(s)}]${s.disputed == null ? '' : ` disputed: ${s.disputed}`}`,
    ),
    ...(record.notes.length === 0 ? [] : ['  worth knowing:']),
    ...record.notes.map((note) => `    ${note.text} [${note.source}${unverified(note)}]`),
  ].join('\n')
}

/** `plate 475 V 83 mA`; nothing where no figure of it is printed. */
function electrode(
  name: string,
  ...figures: (readonly [number | null | undefined, 'V' | 'A' | 'W'])[]
): string {
  const known = figures.flatMap(([value, unit]) => (value == null ? [] : [formatQuantity(value, unit)]))
  return known.length === 0 ? '' : [name, ...known].join(' ')
}

const regulators = [
  ['operating_V', 'holds', 'V'],
  ['strike_V', 'strikes at', 'V'],
  ['strike_most_V', 'at most', 'V'],
  ['extinction_V', 'goes out below', 'V'],
  ['slope_ohm', 'slope', 'Ω'],
  ['min_A', 'least current', 'A'],
  ['max_A', 'most current', 'A'],
] as const

function regulatorLines({ regulator }: TubeRecord): string[] {
  if (regulator === undefined) return []
  return [
    '  regulator:',
    ...regulators.map(
      ([key, words, unit]) => `    ${words.padEnd(20)}${figure(regulator[key], unit)} (regulator_${key})`,
    ),
  ]
}

function mercuryLines({ mercury }: TubeRecord): string[] {
  if (mercury === undefined) return []
  const { first_use_s, condensed_low_C, condensed_high_C } = mercury
  return [
    `  filament alone, first use or after it was moved: ${figure(first_use_s, 's')}`,
    `  condensed mercury, not below ${condensed_low_C.value} °C [${condensed_low_C.source}${unverified(condensed_low_C)}]`,
    `  condensed mercury, not above ${condensed_high_C.value} °C [${condensed_high_C.source}${unverified(condensed_high_C)}]`,
  ]
}

function unverified({ confidence }: Pick<Figure, 'confidence'>): string {
  return confidence === 'from memory' ? ', unverified: check your manual' : ''
}

/** A section that repeats an earlier one (the second half of a twin tube) says so in place of a second plot. */
function sectionLines(
  record: TubeRecord,
  index: number,
  section: TubeRecord['sections'][number],
): readonly string[] {
  const { name, model } = section
  const same = record.sections.slice(0, index).find((s) => JSON.stringify(s.model) === JSON.stringify(model))
  if (model !== null && same !== undefined) return [`    ${name}: as ${same.name}`]
  const own = record.points.filter((p) => p.section === index)
  return [
    `    ${name}: ${modelText(section)}`,
    ...(model === null
      ? []
      : [...(model.form === 'regulator' ? [] : [`      ${uncertaintyOf(section)}`]), ...plotOf(model, own)]),
  ]
}

function barretterLines({ barretter }: TubeRecord): readonly string[] {
  return barretter === undefined
    ? []
    : [
        '  barretter:',
        `    current             ${figure(barretter.amps, 'A')}`,
        `    holds it from       ${figure(barretter.least_V, 'V')}`,
        `    to                  ${figure(barretter.most_V, 'V')}`,
      ]
}

function lampLines({ kind }: TubeRecord): readonly string[] {
  if (kind !== 'lamp') return []
  const { least, most } = lampLife(1.05)
  return [
    `  life: 5 % over its volts leaves ${(100 * least).toFixed(0)} to ${(100 * most).toFixed(0)} % of it [V^-12 to V^-16: Standard Handbook for Electrical Engineers, 11th ed., p. 22-8, as cited]`,
  ]
}

function figure({ value, source, confidence }: Figure, unit: 'V' | 'A' | 'W' | 's' | 'Ω'): string {
  return `${formatQuantity(value, unit)} [${source}${unverified({ confidence })}]`
}

function modelText({ model, why }: TubeRecord['sections'][number]): string {
  if (model === null) return `no curves: ${why ?? 'too few published points'}`
  switch (model.form) {
    case 'triode':
    case 'screen':
      return `fitted to its points (K ${model.K}, x ${model.x}, mu ${model.mu})`
    case 'diode':
      return model.drop_V === undefined
        ? `Child's law, ${formatQuantity(1000 * model.K, 'A')} at 100 V`
        : `arc of about ${formatQuantity(model.drop_V, 'V')}`
    case 'regulator':
      return `holds ${formatQuantity(model.operating_V, 'V')} from ${formatQuantity(model.min_A, 'A')} to ${formatQuantity(model.max_A, 'A')}, strikes at ${formatQuantity(model.strike_V, 'V')}, goes out below ${formatQuantity(model.extinction_V, 'V')}`
  }
}
