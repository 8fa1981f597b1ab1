import { type Equipment, heaterEnds, type PartName } from '../equipment/index.js'
import type { Solution } from '../network/index.js'
import type { Figure, TubeRecord } from '../tubes/index.js'

/* Volts between a heater and its cathode: what a cathode far above the chassis strains on a heater that is returned there. */

/** Where no sheet gives a limit. Rectifiers are left out: their limits differ by hundreds of volts. */
const usual: Figure = {
  value: 90,
  source: 'from memory: usual for receiving types; no sheet of this type gives one',
  confidence: 'from memory',
}

/** Chains are walked once a set: ratings are tried at every solution. */
const walked = new WeakMap<Equipment, Map<PartName, ReturnType<typeof heaterEnds>>>()

/**
 * The most volts between the cathode and either end of the heater, with the limit they are held to. Null for directly heated
 * tubes, and where the heater's rail hangs free of the circuit: nothing says where it stands.
 */
export function heaterCathode(
  equipment: Equipment,
  part: PartName,
  record: TubeRecord,
  cathode_V: number,
  volts: Solution['volts'],
): { readonly volts: number; readonly limit: Figure; readonly assumed: boolean } | null {
  if (record.cathode !== 'indirect') return null
  const own = record.max.heater_cathode_V
  if (own === undefined && record.kind.startsWith('rectifier')) return null
  const ends = endsOf(equipment, part)
  const rail = ends === null ? undefined : equipment.rails[ends.rail]
  if (ends === null || rail === undefined) return null
  const at = (node: string): number | undefined =>
    node === equipment.chassis_node ? (volts[node] ?? 0) : volts[node]
  const positive_V = at(rail.positive)
  const negative_V = at(rail.negative) ?? (positive_V === undefined ? undefined : positive_V - rail.working_V)
  if (negative_V === undefined) return null
  const above_V = cathode_V - negative_V
  return {
    volts: Math.max(Math.abs(above_V - ends.low_V), Math.abs(above_V - ends.high_V)),
    limit: own ?? usual,
    assumed: own === undefined,
  }
}

function endsOf(equipment: Equipment, part: PartName): ReturnType<typeof heaterEnds> {
  const known = walked.get(equipment) ?? new Map<PartName, ReturnType<typeof heaterEnds>>()
  walked.set(equipment, known)
  const before = known.get(part)
  if (before !== undefined) return before
  const found = heaterEnds(equipment, part)
  known.set(part, found)
  return found
}
