import { createReport, type Problem, readRough, type Report, type Where } from '../quantities/index.js'
import { findTube, type TubeRecord } from '../tubes/index.js'
import { equipmentShape, type Written } from './shape.js'
import { toRecord } from './tube-record.js'
import type { Lamp } from './types.js'

/** Types that a set's file defines, each under its own name; null where a definition lacks something, which is told. */
export type OwnTypes = ReadonlyMap<string, TubeRecord | null>

export function readTubeTypes(tube_types: Written['tube_types'] | undefined, report: Report): OwnTypes {
  const types = new Map<string, TubeRecord | null>()
  for (const [name, written] of Object.entries(tube_types ?? {})) {
    const { record, problems } = toRecord(name, written)
    types.set(name, record)
    for (const problem of problems)
      report.error(['tube_types', name], `${name}: ${problem}`, 'write what its sheet says', 'key')
  }
  return types
}

/** The types of a set's file alone, whatever else of it is still wrong: for a look at one while the file is written. */
export function readOwnTypes(
  raw: unknown,
  where: Where,
): { readonly value: OwnTypes; readonly problems: readonly Problem[] } {
  const report = createReport(where)
  const written = typeof raw === 'object' && raw !== null && 'tube_types' in raw ? raw.tube_types : undefined
  const { value, broken } = readRough(
    equipmentShape.pick({ tube_types: true }),
    { tube_types: written },
    report,
  )
  const types = new Map(readTubeTypes(value.tube_types, report))
  for (const entry of broken) types.set(entry.replace(/^tube_types\./, ''), null)
  return { value: types, problems: report.problems }
}

type WrittenLamp = Extract<NonNullable<Written['parts']>[string], { kind: 'lamp' }>

/** A dial lamp by its figures or by its type; null where neither tells them, which is told. */
export function lampOf(
  part: WrittenLamp,
  name: string,
  types: OwnTypes,
  broken: ReadonlySet<string>,
  report: Report,
): Lamp | null {
  const { type, volts, amps, between, note } = part
  const placed = {
    kind: part.kind,
    ...(between !== undefined && { between }),
    ...(note !== undefined && { note }),
  }
  if (type === undefined) {
    if (volts !== undefined && amps !== undefined) return { ...placed, volts, amps }
    report.error(
      ['parts', name],
      `nothing says what ${volts === undefined ? 'volts' : 'current'} the lamp ${name} is for`,
      'write volts: and amps: as they are printed on it, or its type, as type: lamp 47',
      'key',
    )
    return null
  }
  if (volts !== undefined || amps !== undefined) {
    report.error(
      ['parts', name, 'type'],
      `${name} names its type and gives figures of its own too`,
      'leave type out, or volts and amps; where your sheet says otherwise than the catalogue, define the lamp under tube_types',
    )
    return null
  }
  // The bare number of a lamp is a tube's elsewhere; here nothing but a lamp is meant.
  const own = types.get(type)
  if (own === null || broken.has(`tube_types.${type}`)) return null
  const looked = [findTube(type, [...types.keys()]), findTube(`lamp ${type}`)]
  const record = own ?? looked.map(({ found }) => found).find((found) => found?.kind === 'lamp')
  if (record?.kind === 'lamp' && record.heater !== null) {
    const { heater } = record
    const recalled = heater.volts.confidence === 'from memory' || heater.amps.confidence === 'from memory'
    return {
      ...placed,
      volts: heater.volts.value,
      amps: heater.amps.value,
      known: { type: record.type, source: heater.amps.source, recalled },
    }
  }
  const near = looked
    .flatMap((each) => ('near' in each ? each.near : []))
    .filter((each) => isLamp(each, types))
  report.error(
    ['parts', name, 'type'],
    record === undefined && looked.every(({ found }) => found === null)
      ? `'${type}' is no lamp of the catalogue, and none of this file's tube_types`
      : `${name} is said to be a lamp, and '${type}' is none`,
    near[0] === undefined
      ? 'write volts: and amps: as they are printed on it, or define it under tube_types with kind: lamp'
      : `did you mean '${near[0]}'?`,
  )
  return null
}

function isLamp(name: string, types: OwnTypes): boolean {
  return (types.get(name) ?? findTube(name).found)?.kind === 'lamp'
}
