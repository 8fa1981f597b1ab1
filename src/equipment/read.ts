import { findTube } from '../tubes/index.js'
import {
  createReport,
  readRough,
  type Problem,
  type Report,
  type Rough,
  type Where,
} from '../quantities/index.js'
import { checkCharts, toCharts } from './charts.js'
import { checkHeaters } from './heaters.js'
import { checkDriven } from './check-driven.js'
import { checkOwnMains } from './check-own-mains.js'
import { toOwnMains } from './own-mains-shape.js'
import { toDriven } from './driven-shape.js'
import { createKnown, polarityOf } from './known.js'
import { checkMeaning } from './meaning.js'
import { toNetwork } from './network.js'
import { checkNodes } from './nodes.js'
import { equipmentShape, type Written } from './shape.js'
import { lampOf, type OwnTypes, readTubeTypes } from './own-types.js'
import type { Equipment, HeaterChain, HeaterResistor, Part, Rail, Section, Tube } from './types.js'

type WrittenRough = Rough<typeof equipmentShape.shape>['value']

/**
 * Reads a set's file: shape element by element first, then meaning over whatever could be read, so that all problems
 * come at once. `value` is null when any problem is an error. Never throws.
 */
export function readEquipment(
  raw: unknown,
  where: Where,
): { readonly value: Equipment | null; readonly problems: readonly Problem[] } {
  const report = createReport(where)
  const rough = readRough(equipmentShape, raw, report)
  const broken = new Set(rough.broken)
  const equipment = fromWritten(rough.value, broken, report)
  const known = createKnown(equipment, broken)
  checkMeaning(equipment, known, report)
  checkDriven(equipment, known, report)
  checkCharts(equipment, known, report)
  checkHeaters(equipment, known, report)
  checkOwnMains(equipment, known, report)
  if (equipment.level === 3) checkNodes(equipment, known, report)
  if (equipment.level === 3) checkElementNames(equipment, report)
  const wrong = report.problems.some(({ severity }) => severity === 'error')
  return { value: wrong ? null : equipment, problems: report.problems }
}

/** The network names what the file does not (`V1 heater`, `V7.1`, `R3.a`): no part may bear such a name. */
function checkElementNames(equipment: Equipment, report: Report): void {
  const mode = Object.keys(equipment.modes)[0]
  if (mode === undefined || report.problems.some(({ severity }) => severity === 'error')) return
  const feeds = mapValues(equipment.rails, ({ working_V }) => ({ V: working_V, limit_A: 0, ohm: 0 }))
  const seen = new Set<string>()
  for (const { name } of toNetwork(equipment, mode, feeds).elements) {
    if (seen.has(name))
      report.error(
        ['parts', name],
        `'${name}' is what the network calls something else of this set`,
        'give the part another name',
        'key',
      )
    seen.add(name)
  }
}

/** What could not be read is named in `broken`; what makes no sense is added to it. */
function fromWritten(written: WrittenRough, broken: Set<string>, report: Report): Equipment {
  const chassis_node = written.chassis_node ?? 'chassis'
  const types = readTubeTypes(written.tube_types, report)
  const tubes = mapValues(written.tubes ?? {}, (tube, name) => toTube(tube, name, types, broken, report))
  const parts = Object.fromEntries(
    Object.entries(written.parts ?? {}).flatMap(([name, part]) => {
      const made = part.kind === 'lamp' ? lampOf(part, name, types, broken, report) : toPart(part)
      if (made === null) broken.add(`parts.${name}`)
      return made === null ? [] : [[name, made]]
    }),
  )
  const charts = toCharts(written.charts, tubes, chassis_node, report)
  const network =
    Object.values(tubes).some((tube) => tube.sections.length > 0) ||
    Object.values(parts).some((part) => part.kind !== 'heater resistor' && part.kind !== 'lamp')
  const rails = mapValues(written.rails ?? {}, (rail) => toRail(rail, chassis_node))
  return {
    name: written.name ?? '',
    ...(written.id !== undefined && { id: written.id }),
    ...(written.book !== undefined && { book: written.book }),
    ...(written.cold_readings_stand !== undefined && { cold_valid_s: written.cold_readings_stand }),
    level: network ? 3 : charts.voltages.length + charts.resistances.length > 0 ? 2 : 1,
    chassis: written.chassis ?? 'isolated',
    ...(written.power !== undefined && { power: written.power }),
    ...(written.isolating_transformer !== undefined && {
      isolating_transformer: written.isolating_transformer,
    }),
    chassis_node,
    hazards: written.hazards ?? [],
    panel_controls: written.panel_controls ?? [],
    modes: written.modes ?? {},
    rails,
    parts,
    rail_capacitors: mapValues(written.rail_capacitors ?? {}, ({ rail, value, rated, dielectric, can }) => ({
      rail,
      F: value,
      rated_V: rated,
      dielectric,
      ...(can !== undefined && { can }),
    })),
    tubes,
    spares: written.spares ?? [],
    heater_chains: written.heater_chains === undefined ? {} : mapValues(written.heater_chains, toChain),
    charts,
    test_points: written.test_points ?? {},
    ...(written.own_mains !== undefined && { own_mains: toOwnMains(written.own_mains) }),
  }
}

function toRail(rail: NonNullable<Written['rails']>[string], chassis: string): Rail {
  const { feeds, totals, required_bias, winding, manual } = rail
  return {
    role: rail.role,
    positive: rail.positive,
    negative: rail.negative,
    polarity: rail.polarity ?? polarityOf(rail, chassis),
    ...(rail.class !== undefined && { class: rail.class }),
    working_V: rail.working,
    max_V: rail.max,
    feeds: {
      positive_at: feeds.positive_at,
      negative_at: feeds.negative_at,
      lift: feeds.lift,
      pull: feeds.pull,
      ...(feeds.fuse !== undefined && { fuse_A: feeds.fuse }),
      ...(feeds.blocking_diode !== undefined && { blocking_diode: feeds.blocking_diode }),
      ...(feeds.series !== undefined && { series_ohm: feeds.series }),
      ...(feeds.bench_bleeder !== undefined && { bench_bleeder_ohm: feeds.bench_bleeder }),
      ...(feeds.bench_bleeder_tolerance !== undefined && {
        bench_bleeder_tolerance: feeds.bench_bleeder_tolerance,
      }),
    },
    totals: mapValues(totals, ({ at, current, source }) => ({ at_V: at, current_A: current, source })),
    ...(required_bias !== undefined && {
      required_bias: {
        node: required_bias.node,
        at_least_V: required_bias.at_least,
        nominal_V: required_bias.nominal,
        ...(required_bias.preload !== undefined && { preload_ohm: required_bias.preload }),
        source: required_bias.source,
      },
    }),
    ...(rail.winding_connected !== undefined && { winding_connected: rail.winding_connected }),
    ...(rail.earthed_at !== undefined && { earthed_at: rail.earthed_at }),
    ...(winding !== undefined && { winding: { rated_A: winding.rated, source: winding.source } }),
    ...(manual !== undefined && { manual: { trip_A: manual.trip, reason: manual.reason } }),
  }
}

function toPart(part: Exclude<WrittenPart, { kind: 'lamp' }>): Part | HeaterResistor {
  const noted = part.note !== undefined && { note: part.note }
  switch (part.kind) {
    case 'resistor':
      return {
        kind: part.kind,
        between: part.between,
        ohm: part.value,
        tolerance: part.tolerance,
        rated_W: part.rated ?? null,
        make: part.make,
        ...noted,
      }
    case 'capacitor':
      return {
        kind: part.kind,
        between: part.between,
        F: part.value,
        rated_V: part.rated,
        dielectric: part.dielectric,
        ...(part.can !== undefined && { can: part.can }),
        ...noted,
      }
    case 'choke':
    case 'winding':
      return {
        kind: part.kind,
        between: part.between,
        H: part.value,
        ohm: part.ohm,
        rated_A: part.rated ?? null,
        ...(part.of !== undefined && { of: part.of }),
        ...noted,
      }
    case 'potentiometer':
      return {
        kind: part.kind,
        ends: part.ends,
        wiper: part.wiper,
        ohm: part.value,
        tolerance: part.tolerance,
        position: part.position,
        positions: part.positions,
        rated_W: part.rated ?? null,
        ...noted,
      }
    case 'contact':
      return {
        kind: part.kind,
        between: part.between,
        closed_in: part.closed_in,
        control: part.control,
        ...noted,
      }
    case 'fuse':
      return { kind: part.kind, between: part.between, rated_A: part.rated, ohm: part.ohm, ...noted }
    case 'diode':
      return { kind: part.kind, between: part.between, ...noted }
    case 'heater resistor':
      return {
        kind: part.kind,
        ohm: part.value,
        tolerance: part.tolerance,
        rated_W: part.rated ?? null,
        ...noted,
      }
  }
}

type WrittenPart = NonNullable<Written['parts']>[string]
type WrittenTube = NonNullable<Written['tubes']>[string]

function toTube(
  tube: WrittenTube,
  name: string,
  types: OwnTypes,
  broken: ReadonlySet<string>,
  report: Report,
): Tube {
  const record = types.get(tube.type)
  const looked = record === undefined ? findTube(tube.type, [...types.keys()]) : { found: record, near: [] }
  // A definition that could not be read has been told already.
  const told = record === null || broken.has(`tube_types.${tube.type}`)
  if (looked.found === null && !told) {
    const near = looked.near.length === 0 ? '' : `; near it: ${looked.near.join(', ')}`
    report.error(
      ['tubes', name, 'type'],
      `tube type '${tube.type}' is not in the catalogue${near}`,
      looked.near[0] === undefined
        ? 'write the type as printed on the tube, or an equivalent, or define it under tube_types from its sheet'
        : `did you mean '${looked.near[0]}'?`,
    )
  }
  if (tube.mercury !== undefined && looked.found !== null && looked.found.kind !== 'rectifier-mercury')
    report.error(
      ['tubes', name, 'mercury'],
      `${name} (${tube.type}) is no mercury-vapour rectifier`,
      'leave mercury out, or correct the type',
    )
  if (tube.jumper !== undefined && looked.found !== null && looked.found.kind !== 'regulator-gas')
    report.error(
      ['tubes', name, 'jumper'],
      `${name} (${tube.type}) is no gas regulator, and no other type is known to have a link inside its base`,
      'leave jumper out, or correct the type; a link of wire is a resistor or a contact',
    )
  const given = tube.sections ?? (tube.plate === undefined && tube.cathode === undefined ? [] : [tube])
  return {
    type: looked.found?.type ?? tube.type,
    written: tube.type,
    ...(record !== undefined && record !== null && { record }),
    ...(tube.does !== undefined && { does: tube.does }),
    sections: given.flatMap((section, i) => toSection(section, i, name, tube, report) ?? []),
    ...(tube.rail !== undefined && { rail: tube.rail }),
    ...(tube.driven !== undefined && given.length === 0 && { driven: toDriven(tube.driven) }),
    ...(tube.modes !== undefined && { modes: tube.modes }),
    ...(tube.pulled !== undefined && { pulled: tube.pulled }),
    ...(tube.jumper !== undefined && { jumper: tube.jumper }),
    ...(tube.mercury !== undefined && { mercury: tube.mercury }),
  }
}

type WrittenSection = NonNullable<WrittenTube['sections']>[number]

function toSection(
  section: WrittenSection,
  index: number,
  name: string,
  tube: WrittenTube,
  report: Report,
): Section | null {
  const { plate, cathode } = section
  if (plate === undefined || cathode === undefined) {
    report.error(
      tube.sections === undefined ? ['tubes', name] : ['tubes', name, 'sections', index],
      `${name} has no node for its ${plate === undefined ? 'plate' : 'cathode'}`,
      'write plate: and cathode: with the nodes they are wired to',
    )
    return null
  }
  return {
    plate,
    cathode,
    ...(section.screen !== undefined && { screen: section.screen }),
    ...(section.grid !== undefined && { grid: section.grid }),
    ...(section.triode_connected !== undefined && { triode_connected: section.triode_connected }),
    ...(section.driven !== undefined && { driven: toDriven(section.driven) }),
  }
}

function toChain({
  rail,
  series,
  warm_up,
  leads,
}: NonNullable<Written['heater_chains']>[string]): HeaterChain {
  return {
    rail,
    series: series.map((element) => (typeof element === 'string' ? [element] : element)),
    ...(warm_up !== undefined && { warm_up_s: warm_up }),
    lead_ohm: leads ?? 0,
  }
}

function mapValues<A, B>(
  record: Readonly<Record<string, A>>,
  to: (value: A, name: string) => B,
): Record<string, B> {
  return Object.fromEntries(Object.entries(record).map(([name, value]) => [name, to(value, name)]))
}
