import {
  type Equipment,
  type HeaterChain,
  type PartName,
  type RailName,
  recordOf,
} from '../equipment/index.js'
import { coldRatio, heaterCurrent } from '../tubes/index.js'
import { parallel_ohm } from './discharge.js'

/**
 * Heater chains, solved by themselves: each chain is a row of groups in parallel, a group being heaters, lamps or resistors.
 * Resistances follow from volts and volts from resistances, in turn; as a hot heater's resistance grows only with V^0.42
 * each round more than halves the error.
 */

interface HeaterElement {
  readonly part: PartName
  readonly kind: 'heater' | 'resistor'
  readonly hot_V: number
  readonly hot_A: number
  readonly ohm: number
  readonly cathode: 'indirect' | 'direct'
  readonly source: string
}

/** Heater voltage windows, relative: published, Radio Constructor April 1962 [S32]: ±10 % does little harm. */
export const heaterWindow = {
  low: 0.9,
  high: 1.1,
  source: 'heaters stand ±10 % of rated volts: Radio Constructor, April 1962',
}

/** Spread of one heater's current about its type, standard deviation: common practice, no source. */
export const heaterSpread = 0.03

export interface ChainPoint {
  readonly chain: string
  readonly amps: number
  readonly elements: readonly {
    readonly part: PartName
    readonly volts: number
    readonly rated_V: number | null
  }[]
}
export interface HeaterPoint {
  readonly amps: number
  readonly chains: readonly ChainPoint[]
  /** Parts of chains that are not known well enough, in words. */
  readonly missing: readonly string[]
}

/** How an element differs from nominal: factor on its current, or open. */
export type HeaterChange = (part: PartName) => number | 'open'

const nominal: HeaterChange = () => 1

/**
 * Hot currents of every chain on a heater rail with `volts` at the supply's terminals.
 *
 * @param lead_ohm - resistance of the bench leads that all chains share, both ways
 */
export function heaterPoint(
  equipment: Equipment,
  rail: RailName,
  volts: number,
  lead_ohm: number,
  change: HeaterChange = nominal,
): HeaterPoint {
  const missing: string[] = []
  const chains = chainsOf(equipment, rail).map(([name, chain]) => ({
    name,
    chain,
    groups: chain.series.map((group) => group.flatMap((part) => elementOf(equipment, part, missing))),
  }))
  let total_A = 0
  let solved: ChainPoint[] = []
  for (let round = 0; round < 30; round++) {
    const here_V = Math.max(0, volts - total_A * lead_ohm)
    solved = chains.map(({ name, chain, groups }) => solveChain(name, chain, groups, here_V, change))
    const next_A = solved.reduce((sum, chain) => sum + chain.amps, 0)
    const done = Math.abs(next_A - total_A) <= 1e-9 * next_A
    total_A = next_A
    if (done || lead_ohm === 0) break
  }
  return { amps: total_A, chains: solved, missing: [...new Set(missing)] }
}

function solveChain(
  name: string,
  chain: HeaterChain,
  groups: readonly (readonly HeaterElement[])[],
  volts: number,
  change: HeaterChange,
): ChainPoint {
  let shares = groups.map(() => volts / Math.max(1, groups.length))
  let amps = 0
  for (let round = 0; round < 80; round++) {
    const ohms = groups.map((group, at) => groupOhm(group, shares[at] ?? 0, change))
    const ohm = ohms.reduce((sum, each) => sum + each, chain.lead_ohm)
    const next = ohm > 0 && Number.isFinite(ohm) ? volts / ohm : 0
    shares = ohms.map((each) => (Number.isFinite(each) ? next * each : volts))
    const done = Math.abs(next - amps) <= 1e-10 * next
    amps = next
    if (done) break
  }
  const elements = groups.flatMap((group, at) =>
    group.map((element) => ({
      part: element.part,
      volts: shares[at] ?? 0,
      rated_V: element.kind === 'heater' ? element.hot_V : null,
    })),
  )
  return { chain: name, amps, elements }
}

function groupOhm(group: readonly HeaterElement[], volts: number, change: HeaterChange): number {
  let siemens = 0
  for (const element of group) {
    const factor = change(element.part)
    if (factor === 'open') continue
    if (element.kind === 'resistor') siemens += factor / element.ohm
    else if (volts > 0)
      siemens += (factor * heaterCurrent(element.hot_V, element.hot_A, volts, ratioOf(element))) / volts
    else siemens += (factor * element.hot_A * ratioOf(element)) / element.hot_V
  }
  return siemens > 0 ? 1 / siemens : Infinity
}

function ratioOf(element: HeaterElement): number {
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

/** Where a part's heater figures come from, in words; null for resistors. */
export function heaterSource(equipment: Equipment, part: PartName): string | null {
  const element = elementOf(equipment, part, [])[0]
  return element === undefined || element.kind === 'resistor' ? null : element.source
}

function elementOf(equipment: Equipment, part: PartName, missing: string[]): HeaterElement[] {
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
        source: `${tube.type}: ${found.heater.amps.source}`,
      },
    ]
  }
  const other = equipment.parts[part]
  if (other?.kind === 'lamp') {
    const { volts, amps } = other
    return [
      { part, kind: 'heater', hot_V: volts, hot_A: amps, ohm: 0, cathode: 'direct', source: 'the set file' },
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
        source: 'the set file',
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
