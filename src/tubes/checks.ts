import type { Figure, TubeRecord } from './types.js'

/*
 * Figures that an owner held against their own sheet. Most maximum ratings of the catalogue were recalled, not read:
 * an owner's check is what turns "unverified" into a figure with a sheet behind it.
 */

/** One check as the owner recorded it. */
export interface OwnerCheck {
  /** The catalogue's name of the type. */
  readonly type: string
  /** `plate_W`, `heater_A`, `point_1`…: see `figuresOf`. */
  readonly figure: string
  /** What the owner's sheet prints, in the figure's unit. */
  readonly value: number
  readonly sheet: string
  /** Day of the check, as 2025-01-31. */
  readonly on: string
}

export type FigureUnit = 'V' | 'A' | 'W' | 's'
/** A figure of a record that can be checked. */
export interface Checkable {
  readonly name: string
  readonly unit: FigureUnit
  readonly value: number
}

/** Every figure of a record that an owner can check: heater, warm-up, ratings, plate currents of its points. */
export function figuresOf(record: TubeRecord): readonly Checkable[] {
  const { heater, warm_up_s, max, points } = record
  return [
    ...(heater === null
      ? []
      : [
          { name: 'heater_V', unit: 'V' as const, value: heater.volts.value },
          { name: 'heater_A', unit: 'A' as const, value: heater.amps.value },
        ]),
    ...(record.cathode === 'cold' ? [] : [{ name: 'warm_up_s', unit: 's' as const, value: warm_up_s.value }]),
    ...Object.entries(max).map(([name, { value }]) => ({ name, unit: unitOf(name), value })),
    ...points.flatMap(({ plate_A }, i) =>
      plate_A === null ? [] : [{ name: `point_${i + 1}`, unit: 'A' as const, value: plate_A }],
    ),
  ]
}
function unitOf(name: string): FigureUnit {
  return name.endsWith('_W') ? 'W' : name.endsWith('_A') ? 'A' : 'V'
}

/** Whether a sheet's figure is the record's: within rounding. */
export function agrees(sheet: number, record: number): boolean {
  return Math.abs(sheet - record) <= 0.005 * Math.abs(record)
}

/**
 * The record with its owner's checks: an agreeing figure is the owner's from then on, with the sheet named first; a
 * differing one stays as it is and its source says what the owner's sheet prints. The last check of a figure counts.
 */
export function withChecks(record: TubeRecord, checks: readonly OwnerCheck[]): TubeRecord {
  const mine = new Map(checks.filter(({ type }) => type === record.type).map((each) => [each.figure, each]))
  if (mine.size === 0) return record
  const checked = <F extends Pick<Figure, 'source' | 'confidence'>>(
    name: string,
    value: number,
    of: F,
  ): F => {
    const check = mine.get(name)
    if (check === undefined) return of
    return agrees(check.value, value)
      ? {
          ...of,
          confidence: 'owner',
          source: `checked by the owner on ${check.on}: ${check.sheet}; ${of.source}`,
        }
      : { ...of, source: `the owner's sheet prints ${check.value} (${check.sheet}); ${of.source}` }
  }
  const figure = (name: string, of: Figure): Figure => checked(name, of.value, of)
  const { heater } = record
  return {
    ...record,
    heater:
      heater === null
        ? null
        : { volts: figure('heater_V', heater.volts), amps: figure('heater_A', heater.amps) },
    warm_up_s: figure('warm_up_s', record.warm_up_s),
    max: Object.fromEntries(Object.entries(record.max).map(([name, of]) => [name, figure(name, of)])),
    points: record.points.map((point, i) =>
      point.plate_A === null ? point : checked(`point_${i + 1}`, point.plate_A, point),
    ),
  }
}
