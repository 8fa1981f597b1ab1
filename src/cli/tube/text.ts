import { formatQuantity } from '../../quantities/index.js'
import type { Figure, TubeRecord } from '../../tubes/index.js'
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
          `  ratings (${record.rating_system === 'unknown' ? 'rating system unknown: taken as absolute' : `${record.rating_system} [${record.rating_source}]`}):`,
        ]),
    ...ratings.flatMap(([key, words, unit]) => {
      const rating = record.max[key]
      return rating === undefined ? [] : [`    ${words.padEnd(20)}${figure(rating, unit)}`]
    }),
    ...(record.sections.length === 0 || record.barretter !== undefined
      ? []
      : ['  curves:', ...record.sections.flatMap((section, i) => sectionLines(record, i, section))]),
    ...barretterLines(record),
    ...(record.points.length === 0 ? [] : ['  published points:']),
    ...record.points.map(
      (p) =>
        `    ${[
          p.class,
          `plate ${formatQuantity(p.plate_V, 'V')}`,
          p.screen_V === null ? '' : `screen ${formatQuantity(p.screen_V, 'V')}`,
          p.grid_V === null ? '' : `grid ${formatQuantity(p.grid_V, 'V')}`,
          p.cathode_ohm === null ? '' : `cathode resistor ${formatQuantity(p.cathode_ohm, 'Ω')}`,
          p.plate_A === null ? '' : `draws ${formatQuantity(p.plate_A, 'A')}`,
          p.screen_A === null ? '' : `screen ${formatQuantity(p.screen_A, 'A')}`,
        ]
          .filter((part) => part !== '')
          .join(
            ', ',
          )} [${p.source}${unverified(p)}]${p.doubtful === null ? '' : ` not used: ${p.doubtful}`}${p.disputed == null ? '' : ` disputed: ${p.disputed}`}`,
    ),
    ...(record.service.length === 0 ? [] : ['  by service:']),
    ...record.service.map(
      (s) =>
        `    ${s.rating ? 'maximum' : 'typical'}, ${s.service}${s.duty === 'unknown' ? '' : `, ${s.duty}`}: ${[
          s.plate_V === null ? '' : `plate ${formatQuantity(s.plate_V, 'V')}`,
          s.plate_A === null ? '' : formatQuantity(s.plate_A, 'A'),
          s.plate_W === null ? '' : formatQuantity(s.plate_W, 'W'),
          s.screen_V === null ? '' : `screen ${formatQuantity(s.screen_V, 'V')}`,
          s.screen_W === null ? '' : formatQuantity(s.screen_W, 'W'),
        ]
          .filter((part) => part !== '')
          .join(' ')} [${s.source}]${s.disputed == null ? '' : ` disputed: ${s.disputed}`}`,
    ),
    ...(record.notes.length === 0 ? [] : ['  worth knowing:']),
    ...record.notes.map((note) => `    ${note.text} [${note.source}${unverified(note)}]`),
  ].join('\n')
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

function figure({ value, source, confidence }: Figure, unit: 'V' | 'A' | 'W' | 's'): string {
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
