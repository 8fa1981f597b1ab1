import { formatQuantity, parseQuantity } from '../../quantities/index.js'
import {
  bandAmps,
  diodeCurrent,
  findTube,
  ratingsOf,
  screenBand,
  screenBandOfKind,
  screenTubeCurrents,
  type SectionModel,
  triodeConnectedCurrents,
  triodeCurrents,
  type TubeRecord,
} from '../../tubes/index.js'

/* What a section should draw at electrode volts that a person names. */

type Section = TubeRecord['sections'][number]

/** Electrode volts against the cathode, as `tube --json` prints them. */
export interface Volts {
  readonly plate_V: number
  readonly screen_V?: number
  readonly grid_V?: number
}

/** Reads `plate_V=250,screen_V=250,grid_V=-12.5` and holds it against the electrodes this model has. */
export function readAt(
  text: string,
  model: SectionModel,
  tied: boolean,
): { readonly ok: true; readonly volts: Volts } | { readonly ok: false; readonly problem: string } {
  if (model.form === 'regulator') {
    return { ok: false, problem: 'a gas regulator holds its volts; its record (without --at) has them.' }
  }
  if (model.form === 'diode' && model.drop_V !== undefined) {
    return {
      ok: false,
      problem: `a mercury arc drops about ${formatQuantity(model.drop_V, 'V')} at any current: the circuit sets the current, its volts do not; its record (without --at) has what it may carry.`,
    }
  }
  const wanted =
    model.form === 'diode'
      ? ['plate_V']
      : model.form === 'screen' && !tied
        ? ['plate_V', 'screen_V', 'grid_V']
        : ['plate_V', 'grid_V']
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

/** Amps at a point, with the band that model error alone leaves about them. */
interface Currents {
  readonly plate_A: number
  readonly lower_A: number
  readonly upper_A: number
  readonly screen_A: number | null
  readonly grid_A: number
  /** Why the band does not answer for this point, where no row was ever held against the curves there. */
  readonly untested: string | null
}

function currentsAt(record: TubeRecord, section: Section, at: Volts, tied = false): Currents {
  const { model, band } = section
  const own = record.points.filter((p) => p.section === record.sections.indexOf(section))
  const points = own.length > 0 ? own : record.points
  const { plate_V, screen_V = 0, grid_V = 0 } = at
  const { plate_A, screen_A, grid_A } =
    model?.form === 'triode'
      ? { ...triodeCurrents(model, plate_V, grid_V), screen_A: null }
      : model?.form === 'screen'
        ? tied
          ? { ...triodeConnectedCurrents(model, plate_V, grid_V), screen_A: null }
          : screenTubeCurrents(model, plate_V, screen_V, grid_V)
        : { plate_A: model?.form === 'diode' ? diodeCurrent(model, plate_V) : 0, screen_A: null, grid_A: 0 }
  const plus_A = bandAmps(band, plate_V)
  return {
    plate_A,
    lower_A: Math.max(0, band.low * plate_A - plus_A),
    upper_A: band.high * plate_A + plus_A,
    screen_A,
    grid_A,
    untested:
      model?.form === 'screen' && !tied && plate_V < kneeOf(points, screen_V)
        ? 'no row lies so far below its screen volts: the knee, and what the screen takes there, are untested'
        : model?.form !== 'diode' && plate_A < cutOff * Math.max(0, ...points.map((p) => p.plate_A ?? 0))
          ? 'deep cut-off, under a fiftieth of its largest published current, is untested: any current up to the band’s end may flow'
          : null,
  }
}

/** Below this part of its largest published current no row was held against the curves. */
const cutOff = 0.02

/** The plate volts of a screen-grid type below which no row stands with these screen volts. */
function kneeOf(points: TubeRecord['points'], screen_V: number): number {
  const least = points.flatMap((p) =>
    p.plate_A === null || p.screen_V === null || !(p.screen_V > 0) ? [] : [p.plate_V / p.screen_V],
  )
  return least.length === 0 ? 0 : Math.min(1, ...least) * screen_V
}

/** Model error of a screen current, and whether any row of the type prints one. */
function screensOf({ points, service }: TubeRecord): { low: number; high: number; own: boolean } {
  const own =
    points.some((p) => p.screen_A !== null && p.doubtful === null && p.disputed == null) ||
    service.some((s) => s.screen_A !== null && /zero signal/.test(s.service) && s.disputed == null)
  return { ...(own ? screenBand : screenBandOfKind), own }
}

/** The document of `tube --at --json`: milliamps for people's scripts, volts as given. */
export function atDocument(record: TubeRecord, section: Section, as: string, at: Volts, tied: boolean) {
  const { plate_A, lower_A, upper_A, screen_A, grid_A, untested } = currentsAt(record, section, at, tied)
  const screens = screensOf(record)
  return {
    type: record.type,
    as,
    section: section.name,
    ...(tied && { connection: 'triode' }),
    at,
    plate_mA: milli(plate_A),
    screen_mA: screen_A === null ? null : milli(screen_A),
    grid_mA: milli(grid_A),
    lower_mA: milli(lower_A),
    upper_mA: milli(upper_A),
    ...(screen_A !== null && {
      screen_lower_mA: milli(screens.low * screen_A),
      screen_upper_mA: milli(screens.high * screen_A),
      screen_told_by: screens.own ? 'its rows' : 'its kind',
    }),
    over_ratings: overRatings(record, section, at, plate_A, screens.own ? screen_A : null, tied),
    uncertainty: uncertaintyOf(section),
    ...(untested !== null && { untested }),
    sources: sourcesOf(record, section),
  }
}

/** The same for people. */
export function atText(record: TubeRecord, section: Section, as: string, at: Volts, tied: boolean): string {
  const { plate_A, lower_A, upper_A, screen_A, grid_A, untested } = currentsAt(record, section, at, tied)
  const screens = screensOf(record)
  const A = (amps: number): string => formatQuantity(amps, 'A')
  const volts = [
    `plate ${formatQuantity(at.plate_V, 'V')}`,
    ...(at.screen_V === undefined ? [] : [`screen ${formatQuantity(at.screen_V, 'V')}`]),
    ...(at.grid_V === undefined ? [] : [`grid ${formatQuantity(at.grid_V, 'V')}`]),
  ]
  return [
    `${record.type}, ${section.name}${tied ? ' as a triode' : ''}, at ${volts.join(', ')}${as === '' ? '' : ` (${as})`}`,
    `  plate   ${A(plate_A)}, band ${A(lower_A)} to ${A(upper_A)}`,
    ...(screen_A === null
      ? []
      : [
          `  screen  ${A(screen_A)}, band ${A(screens.low * screen_A)} to ${A(screens.high * screen_A)}${screens.own ? '' : ': no row of the type prints one, so its kind tells it; this cannot say whether it is over its rating'}`,
        ]),
    ...overRatings(record, section, at, plate_A, screens.own ? screen_A : null, tied).map(
      (text) => `  ${text}`,
    ),
    ...(grid_A > 0 ? [`  grid    ${A(grid_A)} (positive grids: order of size only)`] : []),
    `  ${uncertaintyOf(section)}`,
    ...(untested === null ? [] : [`  mind: ${untested}`]),
    ...sourcesOf(record, section).map((text) => `  fitted to: ${text}`),
  ].join('\n')
}

/** A point that would hurt the tube is told as such: the curves go on where the tube does not. */
function overRatings(
  record: TubeRecord,
  section: Section,
  { plate_V, screen_V }: Volts,
  plate_A: number,
  screen_A: number | null,
  tied: boolean,
): readonly string[] {
  const max = ratingsOf(record, record.sections.indexOf(section))
  const held = [
    { what: 'plate volts', is: plate_V, most: max.plate_V?.value, unit: 'V' },
    {
      what: 'plate dissipation',
      is: plate_V * plate_A,
      most: tied ? undefined : max.plate_W?.value,
      unit: 'W',
    },
    { what: 'screen volts', is: screen_V, most: max.screen_V?.value, unit: 'V' },
    {
      what: 'screen dissipation',
      is: screen_V === undefined || screen_A === null ? undefined : screen_V * screen_A,
      most: max.screen_W?.value,
      unit: 'W',
    },
  ] as const
  return held.flatMap(({ what, is, most, unit }) =>
    is === undefined || most === undefined || is <= 1.0005 * most
      ? []
      : [`over its rating: ${what} ${formatQuantity(is, unit)}, ${formatQuantity(most, unit)} at most`],
  )
}

/** How far the model may err, and how that is known. */
export function uncertaintyOf({ band, told, why }: Section): string {
  const known = {
    checked: `${told.rows} of its rows, each told from the others, were off by ${formatQuantity(told.worst, 'ratio')} at most`,
    few:
      told.rows > 0
        ? `${told.rows} of its rows, told from others, off by ${formatQuantity(told.worst, 'ratio')} at most; the band of its kind where that is wider`
        : `${why ?? 'too few rows to check this type by itself'}: the band of its kind`,
    vague: `${why ?? 'no row tells where its grid stands'}: a wide band`,
    disputed: `sources disagree on its rows; each of ${told.rows} told from the others was off by ${formatQuantity(told.worst, 'ratio')} at most`,
    either:
      'its rows do not say which connection of the filament they are for: the band holds what either would draw',
  }[told.basis]
  const from =
    band.plus_from_V > 0 ? ` (less below ${formatQuantity(band.plus_from_V, 'V')} at its plate)` : ''
  return `model error ×${band.low}..${band.high} and ${formatQuantity(band.plus_A, 'A')}${from} (${known}), for an average tube; good new tubes lie at 0.66..1.33 of it`
}

/** Rows that the curves are fitted to: points, idle rows of typical operation, and where another type tells them, that one's. */
function sourcesOf(record: TubeRecord, section: Section): readonly string[] {
  const other = section.like === undefined ? null : findTube(section.like).found
  const { points, service } = other ?? record
  const idle = service.filter(
    (row) => !row.rating && /zero signal/.test(row.service) && row.grid_V !== null && row.plate_V !== null,
  )
  const rows = [
    ...points.filter((p) => p.doubtful === null),
    ...(section.model?.form === 'diode' ? [] : idle),
  ]
  return [...new Set(rows.map((p) => (other === null ? p.source : `rows of ${other.type}: ${p.source}`)))]
}

/** To three more digits than any meter has, without the noise of binary fractions. */
function milli(A: number): number {
  return Number((1000 * A).toPrecision(6))
}
