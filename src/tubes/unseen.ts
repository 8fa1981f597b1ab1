import type { TypeData } from './data-shape.js'
import { atPoint, fitSection, isIdle, type Kind } from './fit.js'
import { pointsOf, samePlace } from './rows.js'
import type { Confidence, ModelBand, OperatingPoint, Told } from './types.js'

/* How well a fit tells what it has not seen, and the band of model error that follows for a type. */

/** A row left out of its type's fit. */
export interface Unseen {
  /**
   * `low plate`: class A at or below half the usual plate volts of the type; `idle`: class AB or B without
   * signal; `drop`: a diode's row against the middle of its rows. */
  readonly at: 'class A' | 'low plate' | 'idle' | 'drop'
  readonly confidence: Confidence
  /** Published over computed plate current. */
  readonly ratio: number
  readonly plate_A: number
}

/**
 * Each row against a fit of all rows at other volts; none with fewer than two places. Cut-off rows (under 2 % of the
 * largest current) are left out: there a ratio says nothing, the band's amps do. Disputed rows are not counted.
 */
export function unseenRows(points: readonly OperatingPoint[], kind: Kind): readonly Unseen[] {
  const largest = largest_A(points)
  const usual_V = Math.max(
    0,
    ...points.filter((p) => !isIdle(p) && !/test/.test(p.class)).map((p) => p.plate_V),
  )
  return points.flatMap((left) => {
    const placed = left.grid_V !== null || left.cathode_ohm !== null
    if (left.plate_A === null || !placed || left.disputed != null || left.plate_A <= 0.02 * largest) return []
    const others = points.filter((p) => !samePlace(p, left))
    if (!others.some((p) => p.plate_A !== null && p.plate_A > 0.02 * largest)) return []
    const model = fitSection(others, kind)
    const computed = model === null ? 0 : atPoint(model, left).plate_A
    if (!(computed > 0)) return []
    return [
      {
        at: isIdle(left) ? 'idle' : left.plate_V <= 0.5 * usual_V ? 'low plate' : 'class A',
        confidence: left.confidence,
        ratio: Number((left.plate_A / computed).toPrecision(4)),
        plate_A: left.plate_A,
      } satisfies Unseen,
    ]
  })
}

/**
 * Bands that held 95-98 % of unseen rows of their kind when the form was tried (physics of this room: class A and
 * near cut-off); where no row tells where the grid stands, or sources disagree, three times that.
 */
const kinds = {
  checked: { low: 0.88, high: 1.15, share: 0.03 },
  few: { low: 0.85, high: 1.2, share: 0.05 },
  vague: { low: 0.6, high: 1.6, share: 0.05 },
}
const least_A = 0.05e-3

/**
 * Model error of a section: of its kind, and wider where the type's own unseen rows lay outside. Kinds are `checked`
 * (sharp cut-off, class A rows, at least two of them told from the others), `few`, and `vague`.
 */
export function bandOf(type: TypeData, section: number, unseen: readonly Unseen[]): ModelBand {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  const plus_A = (share: number): number =>
    Number(Math.max(least_A, share * largest_A(points)).toPrecision(4))
  const kind = kinds[kindOfBand(type, points, unseen)]
  const amps = plus_A(kind.share)
  const own = unseen.map((row) => ({
    low: (row.plate_A + amps) / (row.plate_A / row.ratio),
    high: (row.plate_A - amps) / (row.plate_A / row.ratio),
  }))
  return {
    low: Number(Math.min(kind.low, ...own.map(({ low }) => low)).toPrecision(4)),
    high: Number(Math.max(kind.high, ...own.map(({ high }) => high)).toPrecision(4)),
    plus_A: amps,
  }
}

/** How the band of a section is known. */
export function toldOf(type: TypeData, section: number, unseen: readonly Unseen[]): Told {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  return {
    basis: kindOfBand(type, points, unseen),
    rows: unseen.length,
    worst: Number(Math.max(0, ...unseen.map(({ ratio }) => Math.abs(ratio - 1))).toPrecision(2)),
  }
}

function kindOfBand(
  type: TypeData,
  points: readonly OperatingPoint[],
  unseen: readonly Unseen[],
): Told['basis'] {
  const sure = points.filter((p) => p.disputed == null && p.plate_A !== null)
  if (points.length > 0 && !sure.some((p) => p.grid_V !== null || p.cathode_ohm !== null)) {
    return type.sections.some((s) => s.curves === 'triode' || s.curves === 'screen') ? 'vague' : 'few'
  }
  return unseen.length > 1 && sure.some(isClassA) && type.cut_off === 'sharp' ? 'checked' : 'few'
}

function isClassA(point: OperatingPoint): boolean {
  return point.class.startsWith('class A1')
}
function largest_A(points: readonly OperatingPoint[]): number {
  return Math.max(0, ...points.map((p) => p.plate_A ?? 0))
}
