import type { Figure, OperatingPoint, RatingSystem, ServicePoint, TubeRecord } from './types.js'

/*
 * Figures that an owner held against their own sheet. Most maximum ratings of the catalogue were recalled, not read:
 * an owner's check is what turns "unverified" into a figure with a sheet behind it. Where the two differ the stricter is in
 * force: the lower rating, the longer warm-up.
 */

/** One check as the owner recorded it. */
export interface OwnerCheck {
  /** The catalogue's name of the type. */
  readonly type: string
  /** `plate_W`, `heater_A`, `point_1`, `service_2_plate_A`, `rating_system`…: see `figuresOf`. */
  readonly figure: string
  /** What the owner's sheet prints, in the figure's unit; of the rating system its name. */
  readonly value: number | RatingSystem
  readonly sheet: string
  /** Day of the check, as 2025-01-31. */
  readonly on: string
}

/** Amplification is a bare number. */
export type FigureUnit = 'V' | 'A' | 'W' | 's' | 'Ω' | 'S' | '°C' | 'number'
/** A figure of a record that can be checked; the rating system is a word. */
export type Checkable =
  | { readonly name: string; readonly unit: FigureUnit; readonly value: number; readonly stricter: Stricter }
  | { readonly name: 'rating_system'; readonly unit: null; readonly value: RatingSystem }
/** Which of two differing figures is the safe one; `neither`: that cannot be said, and the record's stays. */
type Stricter = 'lower' | 'higher' | 'neither'

/** From the one that allows least above a printed figure; an unknown one is no statement of a sheet. */
const systems: readonly RatingSystem[] = ['absolute', 'design-maximum', 'design-centre']
export function isRatingSystem(text: string): text is RatingSystem {
  return systems.some((system) => system === text)
}

/** What a driven stage is held by, and what else its rows say; of a typical operation there is no stricter figure. */
const held = [
  'plate_V',
  'plate_A',
  'screen_V',
  'screen_A',
  'grid_A',
  'plate_W',
  'screen_W',
  'plate_input_W',
] as const
const ofService = [...held, 'grid_V', 'peak_grid_V', 'output_W'] as const
/** What a point prints beside its plate current. */
const ofPoint = ['screen_A', 'gm_S', 'rp_ohm', 'mu', 'mu_g1g2'] as const
const ofRegulator = [
  'operating_V',
  'strike_V',
  'strike_most_V',
  'extinction_V',
  'slope_ohm',
  'min_A',
  'max_A',
] as const

/** Every figure of a record that an owner can check; numbers count its points and services as `slowglow tube` prints them. */
export function figuresOf(record: TubeRecord): readonly Checkable[] {
  const { heater, warm_up_s, max, sections, points, service, regulator, barretter, mercury } = record
  const one = (name: string, value: number, stricter: Stricter): Checkable => ({
    name,
    unit: unitOf(name),
    value,
    stricter,
  })
  return [
    ...(heater === null
      ? []
      : [one('heater_V', heater.volts.value, 'neither'), one('heater_A', heater.amps.value, 'neither')]),
    ...(record.cathode === 'cold' ? [] : [one('warm_up_s', warm_up_s.value, 'higher')]),
    ...(Object.keys(max).length === 0
      ? []
      : [{ name: 'rating_system' as const, unit: null, value: record.rating_system }]),
    ...Object.entries(max).map(([name, { value }]) => one(name, value, 'lower')),
    ...sections.flatMap((section) =>
      Object.entries(section.max ?? {}).map(([name, { value }]) =>
        one(ofSection(section.name, name), value, 'lower'),
      ),
    ),
    ...points.flatMap((point, i) => [
      ...(point.plate_A === null ? [] : [one(`point_${i + 1}`, point.plate_A, 'neither')]),
      ...ofPoint.flatMap((key) => {
        const value = point[key]
        return value == null ? [] : [one(`point_${i + 1}_${key}`, value, 'neither')]
      }),
    ]),
    ...service.flatMap((row, i) =>
      ofService.flatMap((key) => {
        const value = row[key]
        const bounds = row.rating && held.some((each) => each === key)
        return value == null ? [] : [one(`service_${i + 1}_${key}`, value, bounds ? 'lower' : 'neither')]
      }),
    ),
    ...ofRegulator.flatMap((key) =>
      regulator === undefined ? [] : [one(`regulator_${key}`, regulator[key].value, 'neither')],
    ),
    ...(barretter === undefined
      ? []
      : [
          one('barretter_amps', barretter.amps.value, 'neither'),
          one('barretter_least_V', barretter.least_V.value, 'neither'),
          one('barretter_most_V', barretter.most_V.value, 'neither'),
        ]),
    ...(mercury === undefined
      ? []
      : [
          one('mercury_first_use_s', mercury.first_use_s.value, 'higher'),
          one('mercury_condensed_low_C', mercury.condensed_low_C.value, 'higher'),
          one('mercury_condensed_high_C', mercury.condensed_high_C.value, 'lower'),
        ]),
  ]
}
/** `triode_plate_W`: a rating of one section alone. */
function ofSection(section: string, rating: string): string {
  return `${section.replaceAll(' ', '_')}_${rating}`
}
const units: Readonly<Record<string, FigureUnit>> = {
  ...{ V: 'V', W: 'W', s: 's', S: 'S', C: '°C', ohm: 'Ω' },
  ...{ mu: 'number', g1g2: 'number' },
}
function unitOf(name: string): FigureUnit {
  return units[/_([A-Za-z0-9]+)$/.exec(name)?.[1] ?? ''] ?? 'A'
}

/** Whether a sheet's figure is the record's: within rounding. */
export function agrees(sheet: number | RatingSystem, record: number | RatingSystem): boolean {
  return typeof sheet === 'number' && typeof record === 'number'
    ? Math.abs(sheet - record) <= 0.005 * Math.abs(record)
    : sheet === record
}

/** What is in force once the owner's sheet was held against the record: whose figure, the record's where they agree. */
export function inForce(
  figure: Checkable,
  sheet: number | RatingSystem,
): { readonly value: number | RatingSystem; readonly whose: 'both' | 'record' | 'sheet' } {
  if (agrees(sheet, figure.value)) return { value: figure.value, whose: 'both' }
  const sheets = { value: sheet, whose: 'sheet' } as const
  const records = { value: figure.value, whose: 'record' } as const
  if (figure.unit === null) {
    // A record without a system says nothing that the sheet could differ from.
    if (figure.value === 'unknown') return sheets
    const [own, told] = [sheet, figure.value].map((each) => systems.findIndex((system) => system === each))
    return (own ?? 0) < (told ?? 0) ? sheets : records
  }
  if (typeof sheet !== 'number' || figure.stricter === 'neither') return records
  return sheet < figure.value === (figure.stricter === 'lower') ? sheets : records
}

/** A check that says otherwise than the record. */
export interface Difference {
  readonly figure: Checkable
  readonly check: OwnerCheck
  readonly whose: 'record' | 'sheet'
}

/** The last check of each figure counts. */
function lastOf(record: TubeRecord, checks: readonly OwnerCheck[]): ReadonlyMap<string, OwnerCheck> {
  return new Map(checks.filter(({ type }) => type === record.type).map((each) => [each.figure, each]))
}

/** Where the owner's sheets and the record differ: a plan says each of these. */
export function differencesOf(record: TubeRecord, checks: readonly OwnerCheck[]): readonly Difference[] {
  const mine = lastOf(record, checks)
  return figuresOf(record).flatMap((figure) => {
    const check = mine.get(figure.name)
    if (check === undefined) return []
    const { whose } = inForce(figure, check.value)
    // An unknown rating system differs from nothing.
    return whose === 'both' || figure.value === 'unknown' ? [] : [{ figure, check, whose }]
  })
}

/**
 * The record with its owner's checks: an agreeing figure is the owner's from then on, with the sheet named first; of a
 * differing one the stricter is in force, and its source says what both print.
 */
export function withChecks(record: TubeRecord, checks: readonly OwnerCheck[]): TubeRecord {
  const mine = lastOf(record, checks)
  if (mine.size === 0) return record
  const known = new Map(figuresOf(record).map((figure) => [figure.name, figure]))
  const told = (name: string): Told | null => {
    const [check, figure] = [mine.get(name), known.get(name)]
    return check === undefined || figure === undefined
      ? null
      : { check, figure, ...inForce(figure, check.value) }
  }
  const figure = (name: string, of: Figure): Figure => {
    const now = told(name)
    if (now === null) return of
    const owners = now.whose !== 'record'
    return {
      value: typeof now.value === 'number' ? now.value : of.value,
      source: sourceOf(now, of.source),
      confidence: owners ? 'owner' : of.confidence,
    }
  }
  const { heater } = record
  const system = told('rating_system')
  return {
    ...record,
    heater:
      heater === null
        ? null
        : { volts: figure('heater_V', heater.volts), amps: figure('heater_A', heater.amps) },
    warm_up_s: figure('warm_up_s', record.warm_up_s),
    ...(system !== null && {
      ...(typeof system.value === 'string' && { rating_system: system.value }),
      ...(system.whose !== 'record' && { rating_confidence: 'owner' as const }),
      rating_source: sourceOf(system, record.rating_source),
    }),
    max: Object.fromEntries(Object.entries(record.max).map(([name, of]) => [name, figure(name, of)])),
    sections: record.sections.map((section) =>
      section.max === undefined
        ? section
        : {
            ...section,
            max: Object.fromEntries(
              Object.entries(section.max).map(([name, of]) => [
                name,
                figure(ofSection(section.name, name), of),
              ]),
            ),
          },
    ),
    points: record.points.map((point, i) => checkedPoint(point, told, `point_${i + 1}`)),
    service: record.service.map((row, i) => checkedService(row, told, `service_${i + 1}`)),
    ...(record.regulator !== undefined && {
      regulator: {
        operating_V: figure('regulator_operating_V', record.regulator.operating_V),
        strike_V: figure('regulator_strike_V', record.regulator.strike_V),
        strike_most_V: figure('regulator_strike_most_V', record.regulator.strike_most_V),
        extinction_V: figure('regulator_extinction_V', record.regulator.extinction_V),
        slope_ohm: figure('regulator_slope_ohm', record.regulator.slope_ohm),
        min_A: figure('regulator_min_A', record.regulator.min_A),
        max_A: figure('regulator_max_A', record.regulator.max_A),
      },
    }),
    ...(record.barretter !== undefined && {
      barretter: {
        amps: figure('barretter_amps', record.barretter.amps),
        least_V: figure('barretter_least_V', record.barretter.least_V),
        most_V: figure('barretter_most_V', record.barretter.most_V),
      },
    }),
    ...(record.mercury !== undefined && {
      mercury: {
        first_use_s: figure('mercury_first_use_s', record.mercury.first_use_s),
        condensed_low_C: figure('mercury_condensed_low_C', record.mercury.condensed_low_C),
        condensed_high_C: figure('mercury_condensed_high_C', record.mercury.condensed_high_C),
      },
    }),
  }
}

interface Told {
  readonly check: OwnerCheck
  readonly figure: Checkable
  readonly value: number | RatingSystem
  readonly whose: 'both' | 'record' | 'sheet'
}

/** Both sides, whoever is in force. */
function sourceOf({ check, figure, whose }: Told, source: string): string {
  const { value, sheet, on } = check
  if (whose === 'both') return `checked by the owner on ${on}: ${sheet}; ${source}`
  return whose === 'sheet'
    ? `the owner's sheet, checked on ${on}: ${sheet}; the catalogue has ${figure.value} (${source})`
    : `the owner's sheet prints ${value} (${sheet}); ${source}`
}

type Asked = (name: string) => Told | null

function checkedPoint(point: OperatingPoint, told: Asked, name: string): OperatingPoint {
  const plate = told(name)
  const others = ofPoint.flatMap((key) => {
    const now = told(`${name}_${key}`)
    return now === null ? [] : [`${key}: ${sourceOf(now, 'the row')}`]
  })
  return plate === null && others.length === 0
    ? point
    : {
        ...point,
        source: [plate === null ? point.source : sourceOf(plate, point.source), ...others].join('; '),
        confidence: plate?.whose === 'both' ? 'owner' : point.confidence,
      }
}

/** A row's figures may be checked one by one: what was not stays as it was known. */
function checkedService(row: ServicePoint, told: Asked, name: string): ServicePoint {
  const own = ofService.flatMap((key) => {
    const now = told(`${name}_${key}`)
    return now === null ? [] : [{ key, now }]
  })
  if (own.length === 0) return row
  const changed = own.flatMap(({ key, now }) =>
    now.whose === 'sheet' && typeof now.value === 'number' ? [[key, now.value] as const] : [],
  )
  return {
    ...row,
    ...Object.fromEntries(changed),
    source: [...own.map(({ key, now }) => `${key}: ${sourceOf(now, 'the row')}`), row.source].join('; '),
    checked: own.flatMap(({ key, now }) => (now.whose === 'record' ? [] : [key])),
  }
}
