import {
  drivenRating,
  type Equipment,
  isScreenStandIn,
  type KnownRating,
  recordOf,
} from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import type { Figure, RatingSystem } from '../tubes/index.js'
import { ownerOf, sectionNumber } from './sampling.js'

/**
 * Rating systems differ in what a rating allows for: design-centre ratings leave room for supply and part spread, absolute
 * ones leave none (definitions of the systems: RETMA/EIA RS-239; the factors are our choice from them).
 */
export const ratingFactor: Readonly<Record<RatingSystem, number>> = {
  'design-centre': 1.2,
  'design-maximum': 1.1,
  absolute: 1,
  unknown: 1,
}

/** How hard a part works against one of its ratings. */
export interface Stress {
  readonly part: string
  readonly element: string
  readonly what: string
  /** Of what the rating allows (1 = at the rating × its factor). */
  readonly ratio: number
  /** Of the bare rating. */
  readonly of_rating: number
  readonly rating: string
  readonly source: string
  /** Whether more rail current means more of this; a voltage rating does not follow current. */
  readonly by_current: boolean
  /** Volts that must stand across the part before it can reach its rating at all; 0 where that is not a matter of volts. */
  readonly needs_V: number
  /** Amps through the part that this stress goes with. */
  readonly A: number
  /** Power ratings of resistors grow with the square of the current; all others in proportion. */
  readonly squared: boolean
  /** Watts in the part and what it is rated for, where heat is what the rating is about, and what kind of part takes them. */
  readonly heat: { readonly W: number; readonly rated_W: number; readonly of: HeatTaker } | null
}

export type HeatTaker = 'resistor' | 'electrode' | 'winding'

/**
 * All ratings of a solved set that are known, each with how far it is used. Driven stages carry their own data.
 *
 * @param above - only those used further than this (as `ratio`): words are made for nothing else, and they take the time
 */
export function stresses(
  equipment: Equipment,
  elements: readonly Element[],
  solution: Solution,
  above = -Infinity,
): Stress[] {
  const made: Stress[] = []
  for (const element of elements) {
    const owner = ownerOf(equipment, element.name)
    if (owner === null) continue
    if (element.kind === 'triode' || element.kind === 'screen tube' || element.kind === 'diode tube') {
      made.push(...tubeStresses(equipment, owner, element, solution, above))
      continue
    }
    const stress = partStress(equipment, owner, element, solution, above)
    if (stress !== null) made.push(stress)
  }
  return made
}

type TubeElement = Extract<Element, { readonly kind: 'triode' | 'screen tube' | 'diode tube' }>

function tubeStresses(
  equipment: Equipment,
  owner: string,
  element: TubeElement,
  solution: Solution,
  above: number,
): Stress[] {
  const tube = equipment.tubes[owner]
  const type = tube?.type ?? ''
  const found = tube === undefined ? null : recordOf(tube)
  // A cold tube takes no harm from volts that its ratings allow to a conducting one only.
  if (found === null || element.emission === 0) return []
  const volts = (node: string): number => solution.volts[node] ?? 0
  const cathode_V = volts(element.cathode)
  const amps = solution.currents[element.name] ?? {}
  const plate_A = amps.plate ?? amps.a ?? 0
  const screen_A = amps.screen ?? 0
  const plate_V = volts(element.plate) - cathode_V
  const screen_V = element.kind === 'screen tube' ? volts(element.screen) - cathode_V : 0
  const factor = ratingFactor[found.rating_system]
  if (element.kind !== 'diode tube' && element.driven !== undefined)
    return drivenStresses(equipment, owner, element, solution).filter(({ of_rating }) => of_rating > above)
  const made: Stress[] = []
  const add = (
    what: string,
    value: number,
    unit: 'W' | 'A' | 'V',
    figure: Figure | undefined,
    A: number,
  ): void => {
    if (figure === undefined || !(figure.value > 0)) return
    const allowed = figure.value * factor
    if (!(value / allowed > above)) return
    made.push({
      part: owner,
      element: element.name,
      what: `${owner} (${type}) ${what}`,
      ratio: value / allowed,
      of_rating: value / figure.value,
      rating: `${formatQuantity(figure.value, unit)} ${found.rating_system}${factor > 1 ? ` × ${factor}` : ''}`,
      source: sourceOf(figure),
      by_current: unit !== 'V',
      needs_V: 0,
      A,
      squared: false,
      heat: unit === 'W' ? { W: value, rated_W: figure.value, of: 'electrode' } : null,
    })
  }
  if (isScreenStandIn(element)) {
    add('screen dissipation', plate_A * plate_V, 'W', found.max.screen_W, plate_A)
    add('screen voltage', plate_V, 'V', found.max.screen_V, plate_A)
    return made
  }
  // A published plate dissipation is for one section of a twin tube (common practice, no source).
  add('plate dissipation', plate_A * plate_V, 'W', found.max.plate_W, plate_A + screen_A)
  add('screen dissipation', screen_A * screen_V, 'W', found.max.screen_W, plate_A + screen_A)
  add('cathode current', plate_A + screen_A, 'A', found.max.cathode_A, plate_A + screen_A)
  add('rectified current', plate_A, 'A', found.max.dc_output_A, plate_A)
  add('plate voltage', plate_V, 'V', found.max.plate_V, plate_A)
  add('screen voltage', screen_V, 'V', found.max.screen_V, screen_A)
  return made
}

/** A driven stage is held by what its service allows, which is less with modulation than without, and absolute. */
function drivenStresses(
  equipment: Equipment,
  owner: string,
  element: Extract<TubeElement, { kind: 'triode' | 'screen tube' }>,
  solution: Solution,
): Stress[] {
  const tube = equipment.tubes[owner]
  const section = sectionNumber(element.name)
  const stage = tube?.sections[section]?.driven
  if (tube === undefined || stage === undefined) return []
  const known = drivenRating(equipment, { tube: owner, type: tube.type, section, stage })
  if (known === null) return []
  const volts = (node: string): number => solution.volts[node] ?? 0
  const { plate = 0, screen = 0, grid = 0 } = solution.currents[element.name] ?? {}
  const plate_V = volts(element.plate) - volts(element.cathode)
  const screen_V = element.kind === 'screen tube' ? volts(element.screen) - volts(element.cathode) : 0
  const { rating } = known
  const add = serviceStress({ part: owner, element: element.name, type: tube.type }, known)
  return [
    ...add('plate current', plate, 'A', rating.plate_A, plate + screen),
    ...add('plate input', plate * plate_V, 'W', rating.plate_input_W, plate + screen),
    ...add('screen dissipation', screen * screen_V, 'W', rating.screen_W, plate + screen),
    ...add('plate voltage', plate_V, 'V', rating.plate_V, plate),
    // What the HT rail draws says nothing of the grid: its own meter or the bias rail does (`drive`).
    ...(grid > 0 && rating.grid_A !== null && grid > rating.grid_A
      ? add('grid current', grid, 'A', rating.grid_A, grid)
      : []),
  ]
}

/** A driven stage against what its service allows: absolute, without any factor. `A` is what of it the rail sees. */
export function serviceStress(
  { part, element, type }: { readonly part: string; readonly element: string; readonly type: string },
  known: KnownRating,
) {
  return (what: string, value: number, unit: 'W' | 'A' | 'V', most: number | null, A: number): Stress[] =>
    most === null || !(most > 0)
      ? []
      : [
          {
            part,
            element,
            what: `${part} (${type}) ${what} in ${known.text}`,
            ratio: value / most,
            of_rating: value / most,
            rating: formatQuantity(Number(most.toPrecision(3)), unit),
            source: known.from_memory ? `unverified, check your manual (${known.source})` : known.source,
            by_current: unit !== 'V',
            heat:
              unit === 'W' && what === 'screen dissipation'
                ? { W: value, rated_W: most, of: 'electrode' }
                : null,
            needs_V: 0,
            A,
            squared: false,
          },
        ]
}

function sourceOf(figure: Figure): string {
  return figure.confidence === 'from memory'
    ? `unverified, check your manual (${figure.source})`
    : figure.source
}

function partStress(
  equipment: Equipment,
  owner: string,
  element: Element,
  solution: Solution,
  above: number,
): Stress | null {
  const part = equipment.parts[owner]
  if (part === undefined || !('a' in element)) return null
  const V = Math.abs((solution.volts[element.a] ?? 0) - (solution.volts[element.b] ?? 0))
  const A = Math.abs(solution.currents[element.name]?.a ?? 0)
  const stress = (
    what: string,
    value: number,
    rated: number,
    unit: 'W' | 'A' | 'V',
    more: Partial<Stress> = {},
  ): Stress | null => {
    const ratio = value / rated
    if (!(ratio > above)) return null
    return {
      part: owner,
      element: element.name,
      what: `${owner} ${what}`,
      ratio,
      of_rating: ratio,
      rating: formatQuantity(rated, unit),
      source: 'the set file',
      by_current: unit !== 'V',
      needs_V: 0,
      A,
      squared: false,
      heat: null,
      ...more,
    }
  }
  switch (part.kind) {
    case 'resistor':
    case 'potentiometer':
      return part.rated_W === null
        ? null
        : stress('power', V * A, part.rated_W, 'W', {
            squared: true,
            heat: { W: V * A, rated_W: part.rated_W, of: 'resistor' },
            needs_V: element.kind === 'resistor' ? Math.sqrt(part.rated_W * element.ohm) : Infinity,
          })
    case 'choke':
    case 'winding':
      return part.rated_A === null
        ? null
        : stress('winding current', A, part.rated_A, 'A', {
            heat:
              part.ohm > 0
                ? { W: A * A * part.ohm, rated_W: part.rated_A * part.rated_A * part.ohm, of: 'winding' }
                : null,
          })
    case 'fuse':
      return stress('fuse current', A, part.rated_A, 'A')
    case 'capacitor':
      return stress('voltage', V, part.rated_V, 'V')
    case 'contact':
    case 'lamp':
    case 'diode':
    case 'heater resistor':
      return null
  }
}
