import type { TypeData } from './data-shape.js'
import { atPoint, fitSection, isIdle, type Kind, usable } from './fit.js'
import { kindOf, pointsOf, samePlace } from './rows.js'
import type { Confidence, ModelBand, OperatingPoint, Told } from './types.js'

/* How well a fit tells what it has not seen, and the band of model error that follows for a type. */

/** A row left out of its type's fit. */
export interface Unseen {
  /**
   * `low plate`: class A at or below half the usual plate volts of the type; `idle`: class AB or B without
   * signal; `drop`: a diode's row against the middle of its other rows. */
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
 * near cut-off); where no row tells where the grid stands, three times that.
 */
const kinds = {
  checked: { low: 0.88, high: 1.15, share: 0.03 },
  few: { low: 0.85, high: 1.2, share: 0.05 },
  vague: { low: 0.6, high: 1.6, share: 0.05 },
  disputed: { low: 0.85, high: 1.2, share: 0.05 },
  either: { low: 0.85, high: 1.2, share: 0.05 },
}
const least_A = 0.05e-3

/**
 * Model error of a section: of its kind, and wider where the type's own unseen rows lay outside. Kinds are `checked`
 * (sharp cut-off, class A rows, at least two of them told from the others), `few`, and `vague`. Of a type whose rows are
 * all disputed each is told from the others all the same: how far they lie apart is how far the dispute reaches.
 */
export function bandOf(type: TypeData, section: number, unseen: readonly Unseen[]): ModelBand {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  const plus_A = (share: number): number =>
    Number(Math.max(least_A, share * largest_A(points)).toPrecision(4))
  const basis = kindOfBand(type, section, points, unseen)
  const kind = kinds[basis]
  const amps = plus_A(kind.share)
  const own = (basis === 'disputed' ? amongDisputed(type, section, points) : unseen).map((row) => ({
    low: (row.plate_A + amps) / (row.plate_A / row.ratio),
    high: (row.plate_A - amps) / (row.plate_A / row.ratio),
  }))
  const other = basis === 'either' ? otherConnection(type, section, points) : 1
  return {
    low: Number((Math.min(1, other) * Math.min(kind.low, ...own.map(({ low }) => low))).toPrecision(4)),
    high: Number((Math.max(1, other) * Math.max(kind.high, ...own.map(({ high }) => high))).toPrecision(4)),
    plus_A: amps,
    plus_from_V: lowest_V(points),
  }
}

/** The lowest plate volts at which a row prints a current; 0 where none does. */
function lowest_V(points: readonly OperatingPoint[]): number {
  const volts = points.flatMap((p) => (p.plate_A === null || !(p.plate_V > 0) ? [] : [p.plate_V]))
  return volts.length === 0 ? 0 : Math.min(...volts)
}

/** How the band of a section is known. */
export function toldOf(type: TypeData, section: number, unseen: readonly Unseen[]): Told {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  const basis = kindOfBand(type, section, points, unseen)
  const told = basis === 'disputed' ? amongDisputed(type, section, points) : unseen
  return {
    basis,
    rows: told.length,
    worst: Number(Math.max(0, ...told.map(({ ratio }) => Math.abs(ratio - 1))).toPrecision(2)),
  }
}

function kindOfBand(
  type: TypeData,
  section: number,
  points: readonly OperatingPoint[],
  unseen: readonly Unseen[],
): Told['basis'] {
  const sure = points.filter((p) => p.disputed == null && p.plate_A !== null)
  if (points.length > 0 && !sure.some((p) => p.grid_V !== null || p.cathode_ohm !== null)) {
    if (kindOf(type, section) === null) return 'few'
    if (points.every((p) => isOfEither(p))) return 'either'
    return amongDisputed(type, section, points).length > 2 ? 'disputed' : 'vague'
  }
  return unseen.length > 1 && sure.some(isClassA) && type.cut_off === 'sharp' ? 'checked' : 'few'
}

/** Disputed rows, each told from the others. */
function amongDisputed(
  type: TypeData,
  section: number,
  points: readonly OperatingPoint[],
): readonly Unseen[] {
  const kind = kindOf(type, section)
  if (kind === null) return []
  return unseenRows(
    points.filter(usable).map((point) => ({ ...point, disputed: null })),
    kind,
  )
}

/** A row of a split filament that does not say how its halves were joined. */
function isOfEither({ disputed }: OperatingPoint): boolean {
  return disputed != null && disputed.includes('connection of the filament')
}

/**
 * What this connection of a split filament would draw, were its rows taken with the other, over what its curves say: in
 * series the far half stands higher, so the grid is more negative against it by half of the difference in filament volts.
 */
function otherConnection(type: TypeData, section: number, points: readonly OperatingPoint[]): number {
  const kind = kindOf(type, section)
  const model = kind === null ? null : fitSection(points.filter(usable), kind)
  if (kind === null || model === null) return 1
  const other_V = kind.filament_V > 2 ? kind.filament_V / 2 : 2 * kind.filament_V
  const ratios = points.flatMap((point) =>
    point.grid_V === null
      ? []
      : [
          atPoint(model, { ...point, grid_V: point.grid_V + (other_V - kind.filament_V) / 2 }).plate_A /
            atPoint(model, point).plate_A,
        ],
  )
  return ratios.length === 0 ? 1 : other_V > kind.filament_V ? Math.max(...ratios) : Math.min(...ratios)
}

/**
 * Types kept back when forms and priors are chosen, one in four by a hash of their names: a choice counts as better only if
 * it tells these no worse. The fits that are committed use the rows of all types.
 */
export function keptBack(type: string): boolean {
  let hash = 0x811c9dc5
  for (let i = 0; i < type.length + 11; i++) {
    hash = Math.imul(hash ^ `kept back: ${type}`.charCodeAt(i), 0x01000193) >>> 0
  }
  return hash % 4 === 0
}

function isClassA(point: OperatingPoint): boolean {
  return point.class.startsWith('class A1')
}
function largest_A(points: readonly OperatingPoint[]): number {
  return Math.max(0, ...points.map((p) => p.plate_A ?? 0))
}
