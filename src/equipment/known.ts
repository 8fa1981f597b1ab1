import {
  type Difference,
  differencesOf,
  findTube,
  type OwnerCheck,
  type TubeRecord,
  withChecks,
} from '../tubes/index.js'
import type { Equipment, Rail, Tube } from './types.js'

/** What the file names, even where the entry itself could not be read: no error follows from another. */
export interface Known {
  has(
    table: 'modes' | 'rails' | 'parts' | 'tubes' | 'rail_capacitors' | 'heater_chains',
    name: string,
  ): boolean
  /** Whether any entry of this table could not be read. */
  anyBroken(...tables: string[]): boolean
}
export function createKnown(equipment: Equipment, broken: ReadonlySet<string>): Known {
  return {
    has: (table, name) => Object.hasOwn(equipment[table], name) || broken.has(`${table}.${name}`),
    anyBroken: (...tables) =>
      [...broken].some((entry) => tables.some((table) => entry.startsWith(`${table}.`))),
  }
}

/** Of the driven side against chassis. */
export function polarityOf(
  rail: { readonly positive: string; readonly negative: string },
  chassis: string,
): Rail['polarity'] {
  if (rail.negative === chassis) return 'positive'
  return rail.positive === chassis ? 'negative' : 'floating'
}

/** What is known of a tube: the set's own record, else the catalogue's; null where the type is unknown (told once, when read). */
export function recordOf(tube: Tube): TubeRecord | null {
  return tube.record ?? findTube(tube.type).found
}

/** The set with its owner's checks of tube figures: a checked tube carries its record, for limits and reasons to name. */
export function withOwnerChecks(equipment: Equipment, checks: readonly OwnerCheck[]): Equipment {
  if (checks.length === 0) return equipment
  const tubes = Object.entries(equipment.tubes).map(([name, tube]): [string, Tube] => {
    // What the set's own file defines is the owner's already.
    if (tube.record !== undefined) return [name, tube]
    const { found } = findTube(tube.type)
    const record = found === null ? null : withChecks(found, checks)
    return [name, record === null || record === found ? tube : { ...tube, record }]
  })
  return { ...equipment, tubes: Object.fromEntries(tubes) }
}

/** Where its owner's sheets say otherwise than the catalogue of a type that stands in this set; each type once. */
export function ownerDifferences(
  equipment: Equipment,
  checks: readonly OwnerCheck[],
): readonly (Difference & { readonly tubes: readonly string[] })[] {
  const types = new Map<string, string[]>()
  for (const [name, tube] of Object.entries(equipment.tubes))
    if (tube.record === undefined) types.set(tube.type, [...(types.get(tube.type) ?? []), name])
  return [...types].flatMap(([type, tubes]) => {
    const { found } = findTube(type)
    return found === null ? [] : differencesOf(found, checks).map((each) => ({ ...each, tubes }))
  })
}
