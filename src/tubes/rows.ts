import type { TypeData } from './data-shape.js'
import type { Kind } from './fit.js'
import type { OperatingPoint } from './types.js'

/* Which published rows a section's curves are fitted to and checked against. */

/** What the fit must know of a section; null for those that are no space-charge amplifier. */
export function kindOf(type: TypeData, section: number): Kind | null {
  const curves = type.sections[section]?.curves
  if (curves !== 'triode' && curves !== 'screen') return null
  const part = type.sections[section]?.name ?? ''
  return {
    curves,
    cathode: type.cathode === 'direct' ? 'direct' : 'indirect',
    filament_V: type.volts_against === 'negative filament end' ? (type.heater?.volts.value ?? 0) : 0,
    cut_off: curves === 'screen' ? type.cut_off : 'sharp',
    beam: part.startsWith('tetrode'),
  }
}

/**
 * Rows a section is fitted to and checked against: its points, and the zero-signal rows of its typical operation.
 * A section without any points of its own takes those of the first section with the same curves.
 */
export function pointsOf(type: TypeData, section: number): readonly OperatingPoint[] {
  const like = type.sections.findIndex((s) => s.curves === type.sections[section]?.curves)
  const of = type.points.some((p) => p.section === section) ? section : like
  if (of < 0 || of > section) return []
  const own = type.points.filter((p) => p.section === of)
  const first = type.sections.findIndex((s) => s.curves === 'triode' || s.curves === 'screen')
  if (of !== first) return own
  const screened = type.sections[of]?.curves === 'screen'
  const idle = type.service
    .filter((row) => isIdle(row) && (row.screen_V !== null) === screened)
    .map((row) => asPoint(row, of))
  return [
    ...own,
    ...idle.filter((row) => !own.some((point) => point.doubtful === null && samePlace(point, row))),
  ]
}

type ServiceRow = TypeData['service'][number]

/** Undriven rows with fixed bias tell the static curves; rows above the type's own limits do too, without being limits. */
function isIdle(row: ServiceRow): boolean {
  return !row.rating && /zero signal/.test(row.service) && row.grid_V !== null && row.plate_V !== null
}
function asPoint(row: ServiceRow, section: number): OperatingPoint {
  return {
    class: row.service,
    section,
    plate_V: row.plate_V ?? 0,
    screen_V: row.screen_V,
    grid_V: row.grid_V,
    cathode_ohm: null,
    plate_A: row.plate_A,
    screen_A: row.screen_A,
    gm_S: null,
    rp_ohm: null,
    mu: null,
    source: row.source,
    confidence: row.confidence,
    doubtful: null,
    disputed: row.disputed,
  }
}

/** Rows at the same electrode volts are one observation to a fit, however often a manual prints them. */
export function samePlace(a: OperatingPoint, b: OperatingPoint): boolean {
  return (
    alike(a.plate_V, b.plate_V) &&
    alike(a.screen_V ?? 0, b.screen_V ?? 0) &&
    alike(a.grid_V ?? 0, b.grid_V ?? 0) &&
    a.cathode_ohm === b.cathode_ohm
  )
}
function alike(a: number, b: number): boolean {
  return Math.abs(a - b) <= 0.02 * Math.max(Math.abs(a), Math.abs(b))
}
