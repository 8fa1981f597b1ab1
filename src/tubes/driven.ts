import type { ServicePoint, TubeRecord } from './types.js'

/*
 * A driven stage by published operation (physics.md section 1): what drive adds to a tube's static currents. Without drive
 * nothing is added and the static model stands alone, so that loss of drive, a grid-leak runaway among it, is computed.
 * Volts relative to the cathode, mean (DC) amps.
 */

/** Radio frequency makes the tube conduct in pulses and bias itself; audio raises the mean current over its idle one. */
export type DrivenBy = 'RF' | 'audio'

/** Published or stated operation that a driven stage is scaled from. */
export interface DrivenFigures {
  readonly plate_V: number
  readonly screen_V: number | null
  /** Bias at which the figures were taken. */
  readonly grid_V: number
  /** Peak of the drive at the grid. */
  readonly peak_V: number
  /** Mean amps with drive, less those of the same row without (audio). */
  readonly plate_A: number
  readonly screen_A: number
  readonly grid_A: number
}

export interface Driven extends DrivenFigures {
  readonly by: DrivenBy
  /** Plate volts at which the drive is whole, where the stages before it share its HT; null: drive of its own. */
  readonly whole_at_V: number | null
  /** Amplification of what accelerates (screen or plate): where the grid cuts off. */
  readonly mu: number
  /** Departures of one set from the published figures; 1 and 0 in nominal ones. */
  readonly plate: number
  readonly screen: number
  readonly grid: number
  readonly bend: number
}

interface Add {
  readonly plate_A: number
  readonly screen_A: number
  readonly grid_A: number
}

/**
 * What drive adds at these volts. A stage driven by radio frequency into a fixed load takes plate current in proportion to
 * its plate volts (a modulated stage is a constant resistance to its modulator: textbook fact, from memory); of a tetrode
 * that holds while its screen falls along, here as the root of either. Screen current follows its own volts to the 3/2.
 * Grid current falls in proportion to what the drive's peak reaches above the cathode. How far a stage with too little
 * drive still opens is our choice, as no source gives it.
 */
export function drivenAdd(of: Driven, plate_V: number, screen_V: number, grid_V: number): Add {
  const part = Math.max(0, plate_V / of.plate_V)
  const screened = of.screen_V !== null && of.screen_V > 0
  const screen = of.screen_V !== null && of.screen_V > 0 ? Math.max(0, screen_V / of.screen_V) : part
  const both = part * screen
  // The root's slope has no end at zero; a solver needs one.
  const plates = (both / Math.sqrt(both + corner)) * Math.exp(of.bend * Math.log(Math.max(0.05, part)))
  const screens = screen > 0 ? screen * Math.sqrt(screen) * Math.sqrt((1 + knee) / (part / screen + knee)) : 0
  if (of.by === 'audio')
    return {
      plate_A: of.plate * of.plate_A * plates,
      screen_A: screened ? of.screen * of.screen_A * screens : 0,
      grid_A: 0,
    }
  const whole = of.whole_at_V === null ? 1 : Math.min(most, Math.max(0, plate_V / of.whole_at_V))
  const reach_V = Math.max(1, of.peak_V + of.grid_V)
  const above_V = grid_V + of.peak_V * whole
  const cut_V = Math.max(0, screened ? screen_V : plate_V) / of.mu
  const opens = opening((above_V + cut_V) / (reach_V + cut_V))
  return {
    plate_A: of.plate * of.plate_A * plates * opens,
    screen_A: screened ? of.screen * of.screen_A * screens * opens : 0,
    // Grid and cathode are a diode of their own: they take current whatever plate and screen do.
    grid_A: of.grid * of.grid_A * soft(above_V / reach_V),
  }
}

/** Rounds the root law below some 5 % of the published volts. */
const corner = 0.001
/** Screen current rises as the plate nears zero volts, by at most √((1+knee)/knee) here; our choice. */
const knee = 0.1
/** Drive grows with its HT up to this part of what is whole. */
const most = 1.2

/** 0 below cut-off, 1 at the published drive, saturating some 15 % above: with more drive a class C stage gains little. */
function opening(x: number): number {
  return x <= 0 ? 0 : 1.15 * (1 - Math.exp(-2.037 * x * x))
}

/** max(0, x) with a rounded corner, 1 at 1. */
function soft(x: number): number {
  const width = 0.05
  const u = x / width
  if (u > 40) return x
  if (u < -40) return 0
  return width * (u > 0 ? u + Math.log1p(Math.exp(-u)) : Math.log1p(Math.exp(u)))
}

/** Currents with their slopes in siemens, for a solver. */
export interface DrivenSlopes {
  readonly at: Add
  readonly by_plate: Add
  readonly by_screen: Add
  readonly by_grid: Add
}

export function drivenSlopes(of: Driven, plate_V: number, screen_V: number, grid_V: number): DrivenSlopes {
  const at = drivenAdd(of, plate_V, screen_V, grid_V)
  const slope = (up: Add, down: Add, span_V: number): Add => ({
    plate_A: (up.plate_A - down.plate_A) / span_V,
    screen_A: (up.screen_A - down.screen_A) / span_V,
    grid_A: (up.grid_A - down.grid_A) / span_V,
  })
  const dp = 1e-3 + 1e-4 * Math.abs(plate_V)
  const ds = 1e-3 + 1e-4 * Math.abs(screen_V)
  const dg = 1e-3 + 1e-4 * Math.abs(grid_V)
  return {
    at,
    by_plate: slope(
      drivenAdd(of, plate_V + dp, screen_V, grid_V),
      drivenAdd(of, plate_V - dp, screen_V, grid_V),
      2 * dp,
    ),
    by_screen: slope(
      drivenAdd(of, plate_V, screen_V + ds, grid_V),
      drivenAdd(of, plate_V, screen_V - ds, grid_V),
      2 * ds,
    ),
    by_grid: slope(
      drivenAdd(of, plate_V, screen_V, grid_V + dg),
      drivenAdd(of, plate_V, screen_V, grid_V - dg),
      2 * dg,
    ),
  }
}

type Duty = 'CCS' | 'ICAS'

/** Services of a type that ratings or typical operation are known of. */
export function servicesOf(record: TubeRecord): string[] {
  const names = record.service.map(({ service }) => plain(service))
  return [...new Set(names)]
}

function plain(service: string): string {
  return service.replace(/, (zero|maximum) signal$/, '')
}

/** What a service allows; `borrowed`: of another duty, taken because it is the stricter one or all there is. */
export interface Allowed {
  readonly point: ServicePoint
  readonly borrowed: boolean
}

/**
 * Maximum ratings of a type in a service and duty. A rating without a duty, or the continuous one, is taken where the
 * intermittent is not known: it is the stricter. An intermittent one is never taken for continuous duty.
 */
export function ratingOf(record: TubeRecord, service: string, duty: Duty): Allowed | null {
  const rows = record.service.filter((row) => row.rating && row.service === service)
  const own = rows.find((row) => row.duty === duty)
  if (own !== undefined) return { point: own, borrowed: false }
  const other = rows.find((row) => row.duty === 'unknown') ?? rows.find((row) => row.duty === 'CCS')
  return other === undefined ? null : { point: other, borrowed: true }
}

/** Typical operation: full signal, and the same row at rest where there is one. */
export interface Typical {
  readonly driven: ServicePoint
  readonly rest: ServicePoint | null
  readonly borrowed: boolean
}

/** The typical operation nearest to these plate volts, of the same duty if possible. */
export function typicalOf(record: TubeRecord, service: string, duty: Duty, plate_V: number): Typical | null {
  const rows = record.service.filter(
    (row) =>
      !row.rating &&
      plain(row.service) === service &&
      !/zero signal$/.test(row.service) &&
      row.plate_A !== null &&
      row.plate_V !== null,
  )
  const away = (row: ServicePoint): number => Math.abs(Math.log((row.plate_V ?? 1) / plate_V))
  const nearest = (of: readonly ServicePoint[]): ServicePoint | undefined =>
    [...of].sort((a, b) => away(a) - away(b))[0]
  const own = nearest(rows.filter((row) => row.duty === duty))
  const driven = own ?? nearest(rows)
  if (driven === undefined) return null
  const rest = record.service.find(
    (row) =>
      row.service === `${service}, zero signal` &&
      row.duty === driven.duty &&
      row.plate_V === driven.plate_V &&
      row.screen_V === driven.screen_V,
  )
  return { driven, rest: rest ?? null, borrowed: own === undefined }
}

/** Drive beyond its bias where no row prints it: a fifth of the bias and 10 V (common practice, no source). */
function peakFor(grid_V: number): number {
  return 1.2 * Math.abs(grid_V) + 10
}

/** A typical operation as what drive adds; null where it lacks volts or amps. */
export function drivenOf({ driven, rest }: Typical, by: DrivenBy): DrivenFigures | null {
  if (driven.plate_V === null || driven.plate_A === null) return null
  const grid_V = driven.grid_V ?? 0
  return {
    plate_V: driven.plate_V,
    screen_V: driven.screen_V,
    grid_V,
    peak_V: driven.peak_grid_V ?? peakFor(grid_V),
    plate_A: Math.max(0, driven.plate_A - (by === 'audio' ? (rest?.plate_A ?? 0) : 0)),
    screen_A: Math.max(0, (driven.screen_A ?? 0) - (by === 'audio' ? (rest?.screen_A ?? 0) : 0)),
    grid_A: driven.grid_A ?? 0,
  }
}
