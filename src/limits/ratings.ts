import { type Equipment, isScreenStandIn, recordOf } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import { type Figure, type RatingSystem, ratingsOf, type TubeRecord } from '../tubes/index.js'
import { feedOf, voltsForWatts } from './feeds.js'
import { heaterCathode } from './heater-cathode.js'
import { ownerOf, sectionOf } from './sampling.js'
import { drivenStresses, serviceOf } from './service-ratings.js'
import { drawsOf, type Stress } from './stress.js'
import type { Doubt } from './types.js'

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
      made.push(...tubeStresses(equipment, owner, elements, element, solution, above))
      continue
    }
    const stress =
      element.kind === 'regulator'
        ? regulatorStress(equipment, owner, element, solution, above)
        : partStress(equipment, owner, element, solution, above)
    if (stress !== null) made.push(stress)
  }
  return made
}

type TubeElement = Extract<Element, { readonly kind: 'triode' | 'screen tube' | 'diode tube' }>

function tubeStresses(
  equipment: Equipment,
  owner: string,
  elements: readonly Element[],
  element: TubeElement,
  solution: Solution,
  above: number,
): Stress[] {
  const tube = equipment.tubes[owner]
  const type = tube?.type ?? ''
  const found = tube === undefined ? null : recordOf(tube)
  // A cold tube takes no harm from volts that its ratings allow to a conducting one only.
  if (found === null || element.emission === 0) return []
  const section = sectionOf(tube, element.name)
  const rated = ratingsOf(found, section)
  const system = found.sections[section]
  const whose = system?.max === undefined ? '' : ` of its ${system.name}`
  const volts = (node: string): number => solution.volts[node] ?? 0
  const cathode_V = volts(element.cathode)
  const amps = solution.currents[element.name] ?? {}
  const plate_A = amps.plate ?? amps.a ?? 0
  const screen_A = amps.screen ?? 0
  const plate_V = volts(element.plate) - cathode_V
  const screen_V = element.kind === 'screen tube' ? volts(element.screen) - cathode_V : 0
  const made: Stress[] = []
  const add = (
    what: string,
    value: number,
    unit: 'W' | 'A' | 'V',
    figure: Figure | undefined,
    A: number,
    more: {
      readonly assumed?: boolean
      readonly needs_V?: (allowed: number) => number
      /** Taken as it is printed, without the factor of its system; why, in words. */
      readonly bare?: string
    } = {},
  ): void => {
    if (figure === undefined || !(figure.value > 0)) return
    const factor = more.bare === undefined ? ratingFactor[found.rating_system] : 1
    const allowed = figure.value * factor
    if (!(value / allowed > above)) return
    made.push({
      part: owner,
      element: element.name,
      what: `${owner} (${type}) ${what}${whose}`,
      ratio: value / allowed,
      of_rating: value / figure.value,
      rating: `${formatQuantity(figure.value, unit)} ${found.rating_system}${factor > 1 ? ` × ${factor}` : ''}${more.bare ?? ''}`,
      ...toldBy(figure, found, factor),
      by_current: unit !== 'V',
      needs_V: more.needs_V?.(allowed) ?? 0,
      A,
      squared: false,
      heat: unit === 'W' ? { W: value, rated_W: figure.value, of: 'electrode' } : null,
      ...(unit !== 'V' && { draws: drawsOf(what, { plate_A, screen_A, plate_V, screen_V }) }),
      ...(more.assumed === true && { assumed: true }),
    })
  }
  if (isScreenStandIn(element)) {
    add('screen dissipation', plate_A * plate_V, 'W', rated.screen_W, plate_A)
    add('screen voltage', plate_V, 'V', rated.screen_V, plate_A)
    return made
  }
  // A published plate dissipation is for one section of a twin tube (common practice, no source).
  const both_A = plate_A + screen_A
  const strained = heaterCathode(equipment, owner, found, cathode_V, solution.volts)
  const heated = (): void => {
    if (strained !== null)
      add('heater to cathode voltage', strained.volts, 'V', strained.limit, 0, { assumed: strained.assumed })
  }
  if (element.kind !== 'diode tube' && element.driven !== undefined) {
    const service = serviceOf(equipment, owner, element)
    const own = service === null ? [] : drivenStresses(service, owner, element, solution)
    made.push(...own.filter(({ of_rating }) => of_rating > above))
    // What its service does not say, its type does: a screen, and a cathode, burn whatever drives them.
    const bare = `, its type's: none is known for ${service?.known.text ?? 'its service'}`
    if (service?.known.rating.screen_V == null)
      add('screen voltage', screen_V, 'V', rated.screen_V, screen_A, { bare })
    if (service?.known.rating.screen_W == null)
      add('screen dissipation', screen_A * screen_V, 'W', rated.screen_W, both_A, { bare })
    add('cathode current', both_A + Math.max(0, amps.grid ?? 0), 'A', rated.cathode_A, both_A)
    heated()
    return made
  }
  const plate_S = feedOf(elements, element.plate)
  const screen_S = element.kind === 'screen tube' ? feedOf(elements, element.screen) : 0
  const tied = element.kind !== 'screen tube' || element.screen === element.plate
  const both_S = tied ? plate_S : plate_S > 0 && screen_S > 0 ? plate_S + screen_S : 0
  add('plate dissipation', plate_A * plate_V, 'W', rated.plate_W, both_A, {
    needs_V: (W) => voltsForWatts(W, plate_S),
  })
  add('screen dissipation', screen_A * screen_V, 'W', rated.screen_W, both_A, {
    needs_V: (W) => voltsForWatts(W, screen_S),
  })
  add('cathode current', both_A, 'A', rated.cathode_A, both_A, {
    needs_V: (A) => (both_S > 0 ? A / both_S : 0),
  })
  add('rectified current', plate_A, 'A', rated.dc_output_A, plate_A)
  add('plate voltage', plate_V, 'V', rated.plate_V, plate_A)
  add('screen voltage', screen_V, 'V', rated.screen_V, screen_A)
  if (plate_V < 0) add('inverse voltage', -plate_V, 'V', rated.peak_inverse_V, 0)
  heated()
  return made
}

/** A gas tube: beyond its largest current it is spent, and no longer holds its volts. */
function regulatorStress(
  equipment: Equipment,
  owner: string,
  element: Extract<Element, { readonly kind: 'regulator' }>,
  solution: Solution,
  above: number,
): Stress | null {
  const tube = equipment.tubes[owner]
  const found = tube === undefined ? null : recordOf(tube)
  const figure = found?.max.regulator_A
  if (found === null || figure === undefined || !(figure.value > 0)) return null
  const A = Math.abs(solution.currents[element.name]?.a ?? 0)
  const factor = ratingFactor[found.rating_system]
  const ratio = A / (figure.value * factor)
  if (!(ratio > above)) return null
  return {
    part: owner,
    element: element.name,
    what: `${owner} (${tube?.type ?? ''}) current`,
    ratio,
    of_rating: A / figure.value,
    rating: `${formatQuantity(figure.value, 'A')} ${found.rating_system}${factor > 1 ? ` × ${factor}` : ''}`,
    ...toldBy(figure, found, factor),
    by_current: true,
    needs_V: 0,
    A,
    squared: false,
    heat: null,
  }
}

/** Where a rating is from, and what of it was recalled: its figure, or the system that lets it be passed. */
export function toldBy(
  figure: Figure,
  of: TubeRecord,
  factor: number,
): { readonly source: string; readonly unverified?: Doubt } {
  const recalled = figure.confidence === 'from memory'
  const system = factor > 1 && of.rating_confidence === 'from memory'
  const own = recalled ? `unverified, check your manual (${figure.source})` : figure.source
  return {
    source: system && !recalled ? `${own}; rating system ${of.rating_source}` : own,
    ...((recalled || system) && { unverified: recalled ? ('figure' as const) : ('rating system' as const) }),
  }
}

/** The same of a rating that several figures make together: each is named, and the first doubt counts. */
export function toldByAll(
  figures: readonly Figure[],
  of: TubeRecord,
  factor: number,
): { readonly source: string; readonly unverified?: Doubt } {
  const told = figures.map((figure) => toldBy(figure, of, factor))
  const unverified = doubtOf(told)
  return {
    source: [...new Set(told.map(({ source }) => source))].join('; '),
    ...(unverified !== undefined && { unverified }),
  }
}

/** The first doubt of several figures, a recalled figure before a recalled system. */
export function doubtOf(of: readonly { readonly unverified?: Doubt | undefined }[]): Doubt | undefined {
  return (['figure', 'rating system'] as const).find((doubt) => of.some((one) => one.unverified === doubt))
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
