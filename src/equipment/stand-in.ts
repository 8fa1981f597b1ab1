import type { Element } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import { type Figure, type Ratings, ratingsOf } from '../tubes/index.js'
import { recordOf } from './known.js'
import type { Equipment, PartName, RailName, Tube } from './types.js'

/*
 * A tube whose type has no curves would be missing from the network: its rail would be expected to draw less than it
 * does, and nothing would say so. In its place stands what its ratings allow, half of it as the middle, so that the band
 * reaches from nothing to the rating; the plan says by name that this tube is not judged.
 */

/** A section whose electrodes draw something that no curve tells. */
export interface Uncharted {
  readonly part: PartName
  readonly type: string
  readonly section: number
  /** Why the type has no curves, in words. */
  readonly why: string
  readonly plate: string
  readonly screen: string | null
  readonly cathode: string
  /** Largest currents that its ratings allow where it stands, amps; null where no rating bounds it. */
  readonly plate_A: number | null
  readonly screen_A: number | null
  /** HT rail that its plate is fed from, and its working volts. */
  readonly rail: RailName | null
  readonly at_V: number
  /** The ratings these come from, in words. */
  readonly by: string
}

/** Every section in its socket that no curve tells, detector diodes aside: they draw nothing from a rail. Level 3. */
export function unchartedSections(equipment: Equipment): readonly Uncharted[] {
  return Object.keys(equipment.tubes).flatMap((part) => unchartedOf(equipment, part))
}

function unchartedOf(equipment: Equipment, part: PartName): readonly Uncharted[] {
  const tube = equipment.tubes[part]
  if (tube === undefined || tube.pulled === true) return []
  const record = recordOf(tube)
  return tube.sections.flatMap((nodes, section) => {
    const own = record?.sections[section]
    const standing = own !== undefined && own.model === null && !/diode|wire/i.test(own.name)
    if (record === null || !standing) return []
    const { plate, cathode } = nodes
    const screen = nodes.screen ?? null
    const rail = feedOf(equipment, plate)
    const at_V = Math.abs(equipment.rails[rail ?? '']?.working_V ?? 0)
    const max = ratingsOf(record, section)
    const screen_V = Math.min(at_V, max.screen_V?.value ?? at_V)
    return [
      {
        part,
        type: record.type,
        section,
        why: own.why ?? 'too few published points',
        plate,
        screen: screen === plate ? null : screen,
        cathode,
        plate_A: allowed_A(at_V, max.plate_W, max.cathode_A),
        screen_A: allowed_A(screen_V, max.screen_W, undefined),
        rail,
        at_V,
        by: ratingWords(max),
      },
    ]
  })
}

function allowed_A(at_V: number, watts: Figure | undefined, amps: Figure | undefined): number | null {
  if (!(at_V > 0)) return null
  const known = [
    ...(watts === undefined ? [] : [watts.value / at_V]),
    ...(amps === undefined ? [] : [amps.value]),
  ]
  return known.length === 0 ? null : Math.min(...known)
}

function ratingWords(max: Ratings): string {
  const words = [
    max.plate_W === undefined ? '' : `${formatQuantity(max.plate_W.value, 'W')} plate`,
    max.screen_W === undefined ? '' : `${formatQuantity(max.screen_W.value, 'W')} screen`,
    max.cathode_A === undefined ? '' : `${formatQuantity(max.cathode_A.value, 'A')} cathode`,
  ].filter((each) => each !== '')
  const sources = [max.plate_W, max.screen_W, max.cathode_A].flatMap((figure) => figure?.source ?? [])
  return words.length === 0 ? '' : `${words.join(', ')} [${[...new Set(sources)].join('; ')}]`
}

/** The rail that feeds a node through parts that pass direct current; null where none does. */
export function feedOf(equipment: Equipment, from: string): RailName | null {
  const seen = new Set([from])
  for (const node of seen) {
    const rail = Object.entries(equipment.rails).find(
      ([, { role, positive }]) => role !== 'heater' && role !== 'bias' && positive === node,
    )
    if (rail !== undefined) return rail[0]
    if (node === equipment.chassis_node) continue
    for (const part of Object.values(equipment.parts)) {
      if (part.kind === 'capacitor' || part.kind === 'heater resistor') continue
      const ends = part.kind === 'potentiometer' ? [...part.ends, part.wiper] : (part.between ?? [])
      if (ends.includes(node)) for (const end of ends) seen.add(end)
    }
  }
  return null
}

const screenMark = ' screen'

/** Whether an element stands for the screen of a tube without curves. */
export function isScreenStandIn({ kind, name }: Element): boolean {
  return kind === 'diode tube' && name.endsWith(screenMark)
}
/** Whether an element stands for a section without curves. */
export function isStandIn(tube: Tube, element: Element): boolean {
  if (element.kind !== 'diode tube') return false
  const record = recordOf(tube)
  const section = Number(/\.(\d+)( screen)?$/.exec(element.name)?.[1] ?? 1) - 1
  return record?.sections[section] !== undefined && record.sections[section].model === null
}

/** What stands in the network for a section without curves: named as the section, its screen with a mark after it. */
export function standIns(
  equipment: Equipment,
  part: PartName,
  section: number,
  name: string,
  emission: number,
): Element[] {
  const of = unchartedOf(equipment, part).find((each) => each.section === section)
  if (of === undefined) return []
  // Child's law through half of what is allowed at the rail's working volts.
  const diode = (as: string, plate: string, most_A: number | null): Element[] =>
    most_A === null
      ? []
      : [
          {
            kind: 'diode tube',
            name: as,
            plate,
            cathode: of.cathode,
            model: { form: 'diode', K: most_A / 2 / (of.at_V * Math.sqrt(of.at_V)) },
            emission,
          },
        ]
  return [
    ...diode(name, of.plate, of.plate_A),
    ...(of.screen === null ? [] : diode(`${name}${screenMark}`, of.screen, of.screen_A)),
  ]
}
