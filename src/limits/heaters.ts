import {
  type Equipment,
  type HeaterChain,
  type PartName,
  type RailName,
  recordOf,
} from '../equipment/index.js'
import { coldRatio } from '../tubes/index.js'
import { parallel_ohm } from './discharge.js'

/** One heater, lamp or resistor of a chain, as it should be. */
export interface HeaterElement {
  readonly part: PartName
  readonly kind: 'heater' | 'resistor'
  readonly hot_V: number
  readonly hot_A: number
  readonly ohm: number
  readonly cathode: 'indirect' | 'direct'
  /** Of a resistor, as a part of its value. */
  readonly tolerance: number
  readonly source: string
  /** Its rating was recalled, not looked up. */
  readonly recalled: boolean
}

/** Heater voltage windows, relative: published, Radio Constructor April 1962: ±10 % does little harm. */
export const heaterWindow = {
  low: 0.9,
  high: 1.1,
  source: 'heaters stand ±10 % of rated volts: Radio Constructor, April 1962',
}

/** Spread of one heater's current about its type, standard deviation: common practice, no source. */
export const heaterSpread = 0.03

/** Hot over cold resistance of an element. */
export function ratioOf(element: HeaterElement): number {
  return coldRatio(element.cathode).typical
}

export interface ColdWindow {
  readonly low_ohm: number
  /** Stone cold, by the usual cold ratio of each, and by the smallest published. */
  readonly cold_ohm: number
  readonly cold_high_ohm: number
  readonly high_ohm: number
}

/**
 * Ohms of a heater rail from stone cold (published range of cold ratios) to fully hot: what a hook-up test of a second or
 * two can read. Null where no chain is known.
 */
export function heaterWindow_ohm(equipment: Equipment, rail: RailName, lead_ohm: number): ColdWindow | null {
  const at = (ohmOf: (element: HeaterElement) => number): number | null => {
    const missing: string[] = []
    return parallel_ohm(
      chainsOf(equipment, rail).map(([, chain]) =>
        chain.series.reduce((sum, group) => {
          const elements = group.flatMap((part) => elementOf(equipment, part, missing))
          return sum + (parallel_ohm(elements.map(ohmOf)) ?? Infinity)
        }, chain.lead_ohm),
      ),
    )
  }
  const cold = (ratio: 'low' | 'typical' | 'high'): number | null =>
    at((e) => (e.kind === 'resistor' ? e.ohm : e.hot_V / e.hot_A / coldRatio(e.cathode)[ratio]))
  const hot = at((e) => (e.kind === 'resistor' ? e.ohm : e.hot_V / e.hot_A))
  const [coldest, usual, least] = [cold('high'), cold('typical'), cold('low')]
  if (coldest === null || usual === null || least === null || hot === null) return null
  return {
    low_ohm: coldest + lead_ohm,
    cold_ohm: usual + lead_ohm,
    cold_high_ohm: least + lead_ohm,
    high_ohm: hot + lead_ohm,
  }
}

export function chainsOf(equipment: Equipment, rail: RailName): [string, HeaterChain][] {
  return Object.entries(equipment.heater_chains).filter(([, chain]) => chain.rail === rail)
}

/** Heater parts of a rail (tubes and lamps), each once. */
export function heatersOn(equipment: Equipment, rail: RailName): PartName[] {
  const parts = chainsOf(equipment, rail).flatMap(([, chain]) => chain.series.flat())
  const missing: string[] = []
  return [...new Set(parts)].filter((part) =>
    elementOf(equipment, part, missing).some((element) => element.kind === 'heater'),
  )
}

/** Where a part's heater figures come from; null for resistors. */
export function heaterSource(
  equipment: Equipment,
  part: PartName,
): Pick<HeaterElement, 'source' | 'recalled'> | null {
  const element = elementOf(equipment, part, [])[0]
  return element === undefined || element.kind === 'resistor' ? null : element
}

/** What a chain of the file names: an empty list where its place is empty, and why in `missing` where it is not known. */
export function elementOf(equipment: Equipment, part: PartName, missing: string[]): HeaterElement[] {
  const tube = equipment.tubes[part]
  if (tube !== undefined) {
    // A pulled tube leaves its place empty: open in series, absent in parallel.
    if (tube.pulled === true) return []
    const found = recordOf(tube)
    if (found === null || found.heater === null) {
      if (found === null || found.cathode !== 'cold') missing.push(`${part} (${tube.type}): no heater data`)
      return []
    }
    return [
      {
        part,
        kind: 'heater',
        hot_V: found.heater.volts.value,
        hot_A: found.heater.amps.value,
        ohm: 0,
        cathode: found.cathode === 'direct' ? 'direct' : 'indirect',
        tolerance: 0,
        source: `${tube.type}: ${found.heater.amps.source}`,
        recalled: found.heater.amps.confidence === 'from memory',
      },
    ]
  }
  const other = equipment.parts[part]
  if (other?.kind === 'lamp') {
    const { volts, amps, known } = other
    return [
      {
        part,
        kind: 'heater',
        hot_V: volts,
        hot_A: amps,
        ohm: 0,
        cathode: 'direct',
        tolerance: 0,
        source: known === undefined ? 'the set file' : `${known.type}: ${known.source}`,
        recalled: known?.recalled === true,
      },
    ]
  }
  if (other?.kind === 'heater resistor' || other?.kind === 'resistor') {
    return [
      {
        part,
        kind: 'resistor',
        hot_V: 0,
        hot_A: 0,
        ohm: other.ohm,
        cathode: 'indirect',
        tolerance: other.tolerance,
        source: 'the set file',
        recalled: false,
      },
    ]
  }
  missing.push(`${part}: is no tube, lamp or resistor of this file`)
  return []
}

/**
 * Time for cold heaters on a supply in current limit to reach 99 % of their temperature: published for a small heater at
 * constant nominal current [S38 of the reference: model plus measurement], s.
 */
export const softStart = {
  warm_s: 31.6,
  source: 'published measurement and model of a small heater: 31.6 s to 99 % at constant nominal current',
  allowed: 2,
} as const

/** Time to 99 % with the supply in current limit, and the time after which the plan gives up: twice that. */
export function softStart_s(
  target_V: number,
  slew_V_per_s: number,
): { predicted_s: number; allowed_s: number } {
  const predicted_s = softStart.warm_s + target_V / slew_V_per_s
  return { predicted_s, allowed_s: softStart.allowed * predicted_s }
}

/** What a chain of the file names, where that is known; none where its place is empty. */
export function heaterElements(equipment: Equipment, part: PartName): readonly HeaterElement[] {
  return elementOf(equipment, part, [])
}
