import { own } from '../quantities/index.js'
import type { SectionModel, TubeRecord } from '../tubes/index.js'
import type { Element, Network } from '../network/index.js'
import { drivenElement, drivenStages, type StageInMode } from './driven.js'
import { heaterRating } from './heaters.js'
import { filamentOf } from './filaments.js'
import { recordOf } from './known.js'
import { liftedWindings } from './nodes.js'
import { standIns } from './stand-in.js'
import type { Equipment, HeaterChain, ModeName, PartName, Rail, RailName, Section, Tube } from './types.js'

/** What feeds a rail: the set-point, its current limit, and the resistance of leads and output. */
export interface Feed {
  readonly V: number
  readonly limit_A: number
  readonly ohm: number
}

/** A meter clipped on, by its own resistance. */
export interface ClippedMeter {
  readonly name: string
  readonly a: string
  readonly b: string
  readonly ohm: number
}

/** Departures from the nominal set; each absent function means nominal. */
export interface NetworkOptions {
  /** Resistance of a resistor, dropper or potentiometer's track, ohm. */
  readonly resistor?: (name: PartName, nominal_ohm: number) => number
  /** Scale of a section's space current: 1 good, 0 no emission. Sections count from 0. */
  readonly emission?: (tube: PartName, section: number) => number
  /** Grid gas of a section, as the network's `gas`. */
  readonly gas?: (tube: PartName, section: number) => number
  /** Hot current of a heater or lamp at its rated volts, amps. */
  readonly heater?: (name: PartName, nominal_A: number) => number
  /** Warmth of a heater or lamp, 0 cold to 1 hot. */
  readonly warmth?: (name: PartName) => number
  /** Whether a regulator has struck; lit unless said otherwise. */
  readonly lit?: (tube: PartName) => boolean
  /** Leakage of a capacitor, siemens. */
  readonly leak?: (name: PartName, rated_V: number) => number
  readonly meters?: readonly ClippedMeter[]
  /** False: without the heater chains, which are solved by themselves. Filaments keep the bias that they make. */
  readonly heaters?: boolean
  /** Leads of a heater rail that are clipped on the other way round. */
  readonly exchanged?: (rail: RailName) => boolean
}

/** Smallest resistance an element is given: contacts, and a potentiometer at its end stop. */
const contact_ohm = 0.02
const stop_ohm = 1

/**
 * The network of a level-3 set in one mode with these feeds. A rail that is not fed is left open.
 * Names: parts as in the file; a tube's sections `V7.1`, `V7.2` (one section: `V7`); heaters `V7 heater`; halves of a
 * potentiometer `R3.a`, `R3.b`; a supply as its rail; what stands in its lead `RAIL fuse`, `RAIL diode`, `RAIL series`.
 * Nodes of heater chains: `chain A:1` after the first element, and so on; in a feed lead `HT:supply`, `HT:fused`,
 * `HT:blocked`, `HT:fed`. No name in a file holds a colon.
 */
export function toNetwork(
  equipment: Equipment,
  mode: ModeName,
  supplies: Readonly<Record<RailName, Feed>>,
  options: NetworkOptions = {},
): Network {
  const elements: Element[] = []
  for (const [name, feed] of Object.entries(supplies)) {
    const rail = own(equipment.rails, name)
    if (rail !== undefined) elements.push(...feedElements(name, rail, feed))
  }
  for (const [name, { required_bias }] of Object.entries(equipment.rails)) {
    const ohm = required_bias?.preload_ohm
    if (required_bias === undefined || ohm === undefined) continue
    const { node } = required_bias
    elements.push({ kind: 'resistor', name: `${name} preload`, a: node, b: equipment.chassis_node, ohm })
  }
  const lifted = liftedWindings(equipment)
  for (const name of Object.keys(equipment.parts))
    if (!lifted.has(name)) elements.push(...partElements(equipment, name, mode, options))
  for (const [name, tube] of Object.entries(equipment.tubes))
    elements.push(...tubeElements(equipment, name, tube, options))
  for (const of of drivenStages(equipment, mode)) drive(equipment, elements, of)
  const chains = options.heaters === false ? {} : equipment.heater_chains
  for (const [name, chain] of Object.entries(chains))
    elements.push(...chainElements(equipment, name, chain, options))
  for (const { name, a, b, ohm } of options.meters ?? []) elements.push({ kind: 'meter', name, a, b, ohm })
  return { ground: equipment.chassis_node, elements }
}

/** Puts what drive adds into the element of a driven stage. */
function drive(equipment: Equipment, elements: Element[], of: StageInMode): void {
  const name = sectionName(of.tube, equipment.tubes[of.tube]?.sections.length ?? 1, of.section)
  const at = elements.findIndex((element) => element.name === name)
  const element = elements[at]
  if (element?.kind !== 'triode' && element?.kind !== 'screen tube') return
  const driven = drivenElement(equipment, of, element.model)
  if (driven !== null) elements[at] = { ...element, driven }
}

/** The element that a section of a tube is in the network. */
export function sectionName(tube: PartName, sections: number, section: number): string {
  return sections === 1 ? tube : `${tube}.${section + 1}`
}

function feedElements(name: RailName, rail: Rail, { V, limit_A, ohm }: Feed): Element[] {
  const { fuse_A, blocking_diode, series_ohm, bench_bleeder_ohm } = rail.feeds
  const made: Element[] = []
  // From the supply's terminal towards the set; what stands in the lead takes a node each.
  let node = `${name}:supply`
  const terminal = node
  if (fuse_A !== undefined) {
    // Cold resistance of a small glass fuse, about 0.3 V at rated current (common practice, no source).
    made.push({ kind: 'resistor', name: `${name} fuse`, a: node, b: `${name}:fused`, ohm: 0.3 / fuse_A })
    node = `${name}:fused`
  }
  if (blocking_diode === true) {
    made.push({ kind: 'junction', name: `${name} diode`, a: node, b: `${name}:blocked` })
    node = `${name}:blocked`
  }
  if (series_ohm !== undefined) {
    made.push({ kind: 'resistor', name: `${name} series`, a: node, b: `${name}:fed`, ohm: series_ohm })
    node = `${name}:fed`
  }
  // The last element ends on the set's own node; with nothing in the lead the terminal is that node.
  const last = made.at(-1)
  if (
    last !== undefined &&
    last.kind !== 'screen tube' &&
    last.kind !== 'triode' &&
    last.kind !== 'diode tube'
  )
    made[made.length - 1] = { ...last, b: rail.positive }
  const positive = last === undefined ? rail.positive : terminal
  made.push({ kind: 'supply', name, a: positive, b: rail.negative, V, limit_A, ohm })
  if (bench_bleeder_ohm !== undefined)
    made.push({
      kind: 'resistor',
      name: `${name} bench bleeder`,
      a: positive,
      b: rail.negative,
      ohm: bench_bleeder_ohm,
    })
  return made
}

function partElements(
  equipment: Equipment,
  name: PartName,
  mode: ModeName,
  options: NetworkOptions,
): Element[] {
  const part = equipment.parts[name]
  if (part === undefined) return []
  const ohm = (nominal: number): number => options.resistor?.(name, nominal) ?? nominal
  switch (part.kind) {
    case 'resistor':
      return [{ kind: 'resistor', name, a: part.between[0], b: part.between[1], ohm: ohm(part.ohm) }]
    case 'capacitor':
      return [
        {
          kind: 'capacitor',
          name,
          a: part.between[0],
          b: part.between[1],
          F: part.F,
          leak_S: options.leak?.(name, part.rated_V) ?? 0,
          // Order of size of an electrolytic's series resistance (common practice, no source); others hardly any.
          series_ohm: part.dielectric === 'electrolytic' ? 2 : 0.1,
        },
      ]
    case 'choke':
    case 'winding':
      return [{ kind: 'inductor', name, a: part.between[0], b: part.between[1], H: part.H, ohm: part.ohm }]
    case 'potentiometer': {
      const track = ohm(part.ohm)
      const at = own(part.positions, mode) ?? part.position
      const halves = [
        { of: 'a', a: part.ends[0], b: part.wiper, ohm: Math.max(stop_ohm, track * at) },
        { of: 'b', a: part.wiper, b: part.ends[1], ohm: Math.max(stop_ohm, track * (1 - at)) },
      ]
      // Where the wiper is wired to one end, that half is shorted by the wire.
      return halves
        .filter(({ a, b }) => a !== b)
        .map(({ of, a, b, ohm }) => ({ kind: 'resistor', name: `${name}.${of}`, a, b, ohm }))
    }
    case 'contact':
      return [
        {
          kind: 'contact',
          name,
          a: part.between[0],
          b: part.between[1],
          closed: part.closed_in.includes(mode),
          ohm: contact_ohm,
        },
      ]
    case 'fuse':
      return [{ kind: 'resistor', name, a: part.between[0], b: part.between[1], ohm: part.ohm }]
    case 'lamp':
      return part.between === undefined
        ? []
        : [heater(name, name, part.between[0], part.between[1], part, options)]
    case 'diode':
      return [{ kind: 'junction', name, a: part.between[0], b: part.between[1] }]
    case 'heater resistor':
      return []
  }
}

function tubeElements(equipment: Equipment, name: PartName, tube: Tube, options: NetworkOptions): Element[] {
  if (tube.pulled === true) return []
  const record = recordOf(tube)
  const link: Element[] =
    tube.jumper === undefined
      ? []
      : [{ kind: 'resistor', name: jumperOf(name), a: tube.jumper[0], b: tube.jumper[1], ohm: contact_ohm }]
  return [...link, ...sectionElements(equipment, name, tube, record, options)]
}

/** The link inside a tube's base, as an element. */
export function jumperOf(tube: PartName): string {
  return `${tube}.jumper`
}

function sectionElements(
  equipment: Equipment,
  name: PartName,
  tube: Tube,
  record: TubeRecord | null,
  options: NetworkOptions,
): Element[] {
  return tube.sections.flatMap((section, i) => {
    const model = record?.sections[i]?.model ?? null
    if (model === null) {
      const own = sectionName(name, tube.sections.length, i)
      return standIns(equipment, name, i, own, options.emission?.(name, i) ?? 1)
    }
    const [element] = sectionElement(name, tube, i, section, model, options)
    if (element?.kind !== 'triode' && element?.kind !== 'screen tube') return element ?? []
    const filament = filamentOf(equipment, name, section.cathode)
    if (filament === null) return element
    const exchanged = options.exchanged?.(filament.rail) === true
    return { ...element, reference_V: exchanged ? filament.exchanged_V : filament.reference_V }
  })
}

function sectionElement(
  tube: PartName,
  { sections }: Tube,
  index: number,
  section: Section,
  model: SectionModel,
  options: NetworkOptions,
): Element[] {
  const name = sectionName(tube, sections.length, index)
  const { plate, cathode } = section
  const grid = section.grid ?? cathode
  const emission = options.emission?.(tube, index) ?? 1
  const gas = options.gas?.(tube, index) ?? 0
  switch (model.form) {
    case 'triode':
      return [{ kind: 'triode', name, plate, grid, cathode, model, emission, gas }]
    case 'screen': {
      const screen = section.triode_connected === true ? plate : (section.screen ?? plate)
      return [{ kind: 'screen tube', name, plate, screen, grid, cathode, model, emission, gas }]
    }
    case 'diode':
      return [{ kind: 'diode tube', name, plate, cathode, model, emission }]
    case 'regulator':
      return [{ kind: 'regulator', name, a: plate, b: cathode, model, lit: options.lit?.(tube) ?? true }]
  }
}

function chainElements(
  equipment: Equipment,
  name: string,
  chain: HeaterChain,
  options: NetworkOptions,
): Element[] {
  const rail = own(equipment.rails, chain.rail)
  if (rail === undefined) return []
  const made: Element[] = []
  let node = rail.positive
  if (chain.lead_ohm > 0) {
    made.push({
      kind: 'resistor',
      name: `chain ${name} leads`,
      a: node,
      b: `chain ${name}:0`,
      ohm: chain.lead_ohm,
    })
    node = `chain ${name}:0`
  }
  chain.series.forEach((group, i) => {
    const next = i === chain.series.length - 1 ? rail.negative : `chain ${name}:${i + 1}`
    for (const element of group) {
      const rating = heaterRating(equipment, element)
      if (rating === null) continue
      if ('ohm' in rating)
        made.push({
          kind: 'resistor',
          name: element,
          a: node,
          b: next,
          ohm: options.resistor?.(element, rating.ohm) ?? rating.ohm,
        })
      else {
        const isTube = Object.hasOwn(equipment.tubes, element)
        made.push(heater(element, isTube ? `${element} heater` : element, node, next, rating, options))
      }
    }
    node = next
  })
  return made
}

function heater(
  part: PartName,
  name: string,
  a: string,
  b: string,
  { volts, amps }: { readonly volts: number; readonly amps: number },
  options: NetworkOptions,
): Element {
  return {
    kind: 'heater',
    name,
    a,
    b,
    hot_V: volts,
    hot_A: options.heater?.(part, amps) ?? amps,
    warmth: options.warmth?.(part) ?? 1,
  }
}
