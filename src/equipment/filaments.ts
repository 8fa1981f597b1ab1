import { heaterRating } from './heaters.js'
import { recordOf } from './known.js'
import type { Equipment, HeaterChain, NodeName, PartName, RailName } from './types.js'

/*
 * Directly heated tubes on direct current. The filament is the cathode, and its ends stand its own volts apart; in a chain it
 * stands above or below what its grid returns to by all that lies between. On alternating current with the middle returned
 * none of that shows.
 */

export interface FilamentBias {
  readonly chain: string
  readonly rail: RailName
  readonly volts: number
  /** The point its published volts are against, V above the node its section names as cathode. */
  readonly reference: 'middle' | 'negative end'
  readonly reference_V: number
  /** The same with the supply's leads exchanged. */
  readonly exchanged_V: number
  /** Filaments between it and the positive lead: their plate and screen currents return through this one. */
  readonly above: readonly PartName[]
}

/**
 * Where the filament of a directly heated amplifier stands against the node its file names as cathode, with every element of
 * its chain at its rated volts. Null where the tube is none, stands in no chain, or its cathode is neither end of the rail: a
 * return of its own (a centre tap, a hum potentiometer) is taken as the point its published volts are against.
 */
export function filamentOf(equipment: Equipment, part: PartName, cathode: NodeName): FilamentBias | null {
  const tube = equipment.tubes[part]
  const record = tube === undefined ? null : recordOf(tube)
  const reference = record?.filament_reference
  if (tube === undefined || tube.pulled === true || reference === undefined || record?.heater == null)
    return null
  const volts = record.heater.volts.value
  for (const [name, chain] of Object.entries(equipment.heater_chains)) {
    const at = chain.series.findIndex((group) => group.includes(part))
    const rail = equipment.rails[chain.rail]
    if (at < 0 || rail === undefined) continue
    if (cathode !== rail.negative && cathode !== rail.positive) return null
    const below_V = voltsOf(equipment, chain, at + 1, chain.series.length)
    const above_V = voltsOf(equipment, chain, 0, at)
    const whole_V = below_V + volts + above_V
    const of = (negativeEnd_V: number): number => negativeEnd_V + (reference === 'middle' ? volts / 2 : 0)
    const fromNegative = cathode === rail.negative
    return {
      chain: name,
      rail: chain.rail,
      volts,
      reference,
      reference_V: of(fromNegative ? below_V : below_V - whole_V),
      // The chain then hangs from the lead that was negative, and each filament's other end is its negative one.
      exchanged_V: of(fromNegative ? -below_V - volts : above_V),
      above: chain.series
        .slice(0, at)
        .flat()
        .filter((each) => equipment.tubes[each] !== undefined),
    }
  }
  return null
}

/**
 * Where the two ends of a tube's heater stand above the negative side of its rail, with every element of its chain at its
 * rated volts. Null where it is pulled, or in no chain.
 */
export function heaterEnds(
  equipment: Equipment,
  part: PartName,
): { readonly rail: RailName; readonly low_V: number; readonly high_V: number } | null {
  if (equipment.tubes[part]?.pulled === true) return null
  for (const chain of Object.values(equipment.heater_chains)) {
    const at = chain.series.findIndex((group) => group.includes(part))
    if (at < 0 || equipment.rails[chain.rail] === undefined) continue
    const low_V = voltsOf(equipment, chain, at + 1, chain.series.length)
    return { rail: chain.rail, low_V, high_V: low_V + voltsOf(equipment, chain, at, at + 1) }
  }
  return null
}

/** Volts across a stretch of a chain at its rated current. */
function voltsOf(equipment: Equipment, chain: HeaterChain, from: number, to: number): number {
  const amps = chainAmps(equipment, chain)
  return chain.series.slice(from, to).reduce((sum, group) => sum + groupVolts(equipment, group, amps), 0)
}

function groupVolts(equipment: Equipment, group: readonly PartName[], amps: number): number {
  let siemens = 0
  for (const element of group) {
    const rating = heaterRating(equipment, element)
    if (rating === null) continue
    if ('volts' in rating) return rating.volts
    siemens += 1 / rating.ohm
  }
  return siemens > 0 ? amps / siemens : 0
}

/** Rated current of a chain: that of its first group with a heater in it. */
export function chainAmps(equipment: Equipment, chain: HeaterChain): number {
  for (const group of chain.series) {
    const rated = group.flatMap((element) => heaterRating(equipment, element) ?? [])
    const volts = rated.find((rating) => 'volts' in rating)?.volts
    if (volts === undefined) continue
    return rated.reduce((sum, rating) => sum + ('volts' in rating ? rating.amps : volts / rating.ohm), 0)
  }
  return 0
}
