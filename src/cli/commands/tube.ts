import { formatQuantity, parseQuantity } from '../../quantities/index.js'
import {
  diodeCurrent,
  type Figure,
  findTube,
  screenTubeCurrents,
  type SectionModel,
  triodeCurrents,
  type TubeRecord,
} from '../../tubes/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import type { Register } from './index.js'

/** `slowglow tube TYPE`: what is known of a type, and what it should draw at a point. */
export const registerTube: Register = (program, io) => {
  program
    .command('tube')
    .argument('<type>', 'tube type, as 6V6GT')
    .description('the record of a tube type with its sources; with --at, the current expected there')
    .option('--at <volts>', 'electrode volts against the cathode: plate_V=250,screen_V=250,grid_V=-12.5')
    .option('--section <name>', 'which section of a multiple tube (default: the first with known curves)')
    .option('--json', 'one JSON document')
    .action((type: string, options: Options) => {
      process.exitCode = tube(type, options, io)
    })
}

interface Options {
  readonly at?: string
  readonly section?: string
  readonly json?: boolean
}

/** Returns the exit code. */
export function tube(type: string, options: Options, io: Io): number {
  const hit = findTube(type)
  if (hit.found === null) {
    if (options.json === true) printJson(io, { type, found: false, near: hit.near })
    const near =
      hit.near.length > 0
        ? `Near it, not taken by itself: ${hit.near.join(', ')}.`
        : 'No known name is near it.'
    io.err(`slowglow tube: ${type} is not in the catalogue. ${near}`)
    return exits.finding
  }
  const { found, as } = hit
  if (options.at === undefined) {
    if (options.json === true) printJson(io, { as, ...found })
    else io.out(recordText(found, as))
    return exits.done
  }
  const section = sectionOf(found, options.section)
  if (section === null) {
    const names = found.sections.map((s) => s.name).join(', ')
    return refuse(io, options.json === true, {
      exit: exits.usage,
      where: `--section ${options.section ?? ''}`,
      what: `slowglow tube: ${found.type} has no section ${options.section ?? ''}.`,
      remedy: `It has ${names}.`,
    })
  }
  const { name, model, band } = section
  if (model === null) {
    return refuse(io, options.json === true, {
      exit: exits.finding,
      where: found.type,
      what: `slowglow tube: no curves of the ${found.type} could be fitted: too few published points.`,
      remedy: 'Its ratings and typical operation are in its record (without --at).',
    })
  }
  const at = readAt(options.at, model)
  if (!at.ok) {
    return refuse(io, options.json === true, {
      exit: exits.usage,
      where: `--at ${options.at}`,
      what: `slowglow tube: --at ${options.at}: ${at.problem}`,
    })
  }
  const currents = currentsAt(model, at.volts)
  const lower_A = Math.max(0, band.low * currents.plate_A - band.plus_A)
  const upper_A = band.high * currents.plate_A + band.plus_A
  const uncertainty = `model error ×${band.low}..${band.high} and ${formatQuantity(band.plus_A, 'A')}, for an average tube; good new tubes lie at 0.66..1.33 of it`
  const sources = [...new Set(found.points.filter((p) => p.doubtful === null).map((p) => p.source))]
  if (options.json === true) {
    printJson(io, {
      type: found.type,
      as,
      section: name,
      at: at.volts,
      plate_mA: milli(currents.plate_A),
      screen_mA: currents.screen_A === null ? null : milli(currents.screen_A),
      grid_mA: milli(currents.grid_A),
      lower_mA: milli(lower_A),
      upper_mA: milli(upper_A),
      uncertainty,
      sources,
    })
    return exits.done
  }
  const { plate_V, screen_V, grid_V } = at.volts
  const volts = [
    `plate ${formatQuantity(plate_V, 'V')}`,
    ...(screen_V === undefined ? [] : [`screen ${formatQuantity(screen_V, 'V')}`]),
    ...(grid_V === undefined ? [] : [`grid ${formatQuantity(grid_V, 'V')}`]),
  ]
  io.out(
    [
      `${found.type}, ${name}, at ${volts.join(', ')}${as === '' ? '' : ` (${as})`}`,
      `  plate   ${formatQuantity(currents.plate_A, 'A')}, band ${formatQuantity(lower_A, 'A')} to ${formatQuantity(upper_A, 'A')}`,
      ...(currents.screen_A === null ? [] : [`  screen  ${formatQuantity(currents.screen_A, 'A')}`]),
      ...(currents.grid_A > 0 ? [`  grid    ${formatQuantity(currents.grid_A, 'A')}`] : []),
      `  ${uncertainty}`,
      ...sources.map((text) => `  fitted to: ${text}`),
    ].join('\n'),
  )
  return exits.done
}

/** To three more digits than any meter has, without the noise of binary fractions. */
function milli(A: number): number {
  return Number((1000 * A).toPrecision(6))
}

function sectionOf(record: TubeRecord, name: string | undefined): TubeRecord['sections'][number] | null {
  if (name !== undefined) return record.sections.find((s) => s.name === name) ?? null
  return record.sections.find((s) => s.model !== null) ?? record.sections[0] ?? null
}

/** Electrode volts against the cathode, as `tube --json` prints them. */
interface Volts {
  readonly plate_V: number
  readonly screen_V?: number
  readonly grid_V?: number
}

/** Reads `plate_V=250,screen_V=250,grid_V=-12.5` and holds it against the electrodes this model has. */
function readAt(
  text: string,
  model: SectionModel,
): { readonly ok: true; readonly volts: Volts } | { readonly ok: false; readonly problem: string } {
  if (model.form === 'regulator') {
    return { ok: false, problem: 'a gas regulator holds its volts; its record (without --at) has them.' }
  }
  const wanted =
    model.form === 'screen'
      ? ['plate_V', 'screen_V', 'grid_V']
      : model.form === 'triode'
        ? ['plate_V', 'grid_V']
        : ['plate_V']
  const example = wanted
    .map((key) => `${key}=${{ plate_V: '250', screen_V: '250' }[key] ?? '-12.5'}`)
    .join(',')
  const read = new Map<string, number>()
  for (const part of text.split(',')) {
    const [key = '', value = '', ...rest] = part.split('=').map((s) => s.trim())
    if (rest.length > 0 || value === '') {
      return { ok: false, problem: `'${part.trim()}' is not NAME=VOLTS; write ${example}.` }
    }
    if (!wanted.includes(key)) {
      return {
        ok: false,
        problem: `'${key}' is no electrode of this section, which has ${wanted.join(', ')}.`,
      }
    }
    if (read.has(key)) return { ok: false, problem: `${key} is given twice.` }
    const quantity = parseQuantity(/[0-9.]$/.test(value) ? `${value} V` : value, 'V')
    if (!quantity.ok) return { ok: false, problem: `${key}: ${quantity.problem}; ${quantity.remedy}.` }
    if (Math.abs(quantity.value) > 100_000) return { ok: false, problem: `${key}: beyond any tube (100 kV).` }
    read.set(key, quantity.value)
  }
  const missing = wanted.filter((key) => !read.has(key))
  const plate_V = read.get('plate_V')
  if (missing.length > 0 || plate_V === undefined) {
    return { ok: false, problem: `${missing.join(' and ')} missing; write ${example}.` }
  }
  const screen_V = read.get('screen_V')
  const grid_V = read.get('grid_V')
  return {
    ok: true,
    volts: {
      plate_V,
      ...(screen_V === undefined ? {} : { screen_V }),
      ...(grid_V === undefined ? {} : { grid_V }),
    },
  }
}

function currentsAt(
  model: SectionModel,
  at: Volts,
): { readonly plate_A: number; readonly screen_A: number | null; readonly grid_A: number } {
  switch (model.form) {
    case 'triode':
      return { ...triodeCurrents(model, at.plate_V, at.grid_V ?? 0), screen_A: null }
    case 'screen':
      return screenTubeCurrents(model, at.plate_V, at.screen_V ?? 0, at.grid_V ?? 0)
    case 'diode':
      return { plate_A: diodeCurrent(model, at.plate_V), screen_A: null, grid_A: 0 }
    case 'regulator':
      return { plate_A: 0, screen_A: null, grid_A: 0 }
  }
}

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

function recordText(record: TubeRecord, as: string): string {
  const { heater } = record
  return [
    `${record.type}: ${record.kind.replaceAll('-', ' ')}${as === '' ? '' : ` (${as})`}`,
    `  also known as: ${record.aliases.join(', ') || 'no other name stored'}`,
    heater === null
      ? '  heater: none'
      : `  heater: ${figure(heater.volts, 'V')}; ${figure(heater.amps, 'A')}; ${record.cathode === 'direct' ? 'directly' : 'indirectly'} heated`,
    ...(record.cathode === 'cold' ? [] : [`  warm-up: ${figure(record.warm_up_s, 's')}`]),
    `  ratings (${record.rating_system === 'unknown' ? 'rating system unknown: taken as absolute' : `${record.rating_system} [${record.rating_source}]`}):`,
    ...ratings.flatMap(([key, words, unit]) => {
      const rating = record.max[key]
      return rating === undefined ? [] : [`    ${words.padEnd(20)}${figure(rating, unit)}`]
    }),
    '  curves:',
    ...record.sections.map((s) => `    ${s.name}: ${modelText(s.model)}`),
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
          .join(', ')} [${p.source}]${p.doubtful === null ? '' : ` not used: ${p.doubtful}`}`,
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
          .join(' ')} [${s.source}]`,
    ),
  ].join('\n')
}

function figure({ value, source, confidence }: Figure, unit: 'V' | 'A' | 'W' | 's'): string {
  const mark = confidence === 'from memory' ? ', unverified: check your manual' : ''
  return `${formatQuantity(value, unit)} [${source}${mark}]`
}

function modelText(model: SectionModel | null): string {
  if (model === null) return 'none: too few published points'
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
