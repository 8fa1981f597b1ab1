import { type Equipment, type PartName, recordOf } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { MercuryRules } from '../tubes/index.js'
import type { MercuryWatch } from './types.js'

/*
 * Mercury-vapour rectifiers. Plate volts on one whose filament is not hot, or whose mercury lies on its electrodes, strip
 * the filament or strike an arc back through the transformer; so the filament heats alone first, at every start, and for
 * half an hour when the tube is new or was moved.
 */

interface Found {
  readonly part: PartName
  readonly type: string
  readonly each_s: number
  readonly rules: MercuryRules
  readonly stated: 'first use' | 'moved' | null
}

/** Mercury-vapour rectifiers among these parts that stand in their sockets. */
function mercuryIn(equipment: Equipment, parts: readonly PartName[]): Found[] {
  return parts.flatMap((part) => {
    const tube = equipment.tubes[part]
    const record = tube === undefined || tube.pulled === true ? null : recordOf(tube)
    if (tube === undefined || record?.mercury === undefined) return []
    const { type, mercury } = tube
    return [{ part, type, each_s: record.warm_up_s.value, rules: record.mercury, stated: mercury ?? null }]
  })
}

/** Least time a chain's filaments heat before HT because of the mercury in it; null where there is none. */
export function mercuryWarmUp(
  equipment: Equipment,
  chain: readonly PartName[],
): { readonly s: number; readonly source: string } | null {
  let longest: { s: number; source: string } | null = null
  for (const { part, type, each_s, rules, stated } of mercuryIn(equipment, chain)) {
    const s = stated === null ? each_s : Math.max(each_s, rules.first_use_s.value)
    if (longest !== null && longest.s >= s) continue
    const source =
      stated === null
        ? `mercury-vapour rectifier ${part} (${type}), at each start`
        : `mercury-vapour rectifier ${part} (${type}), ${statedWords(stated)}: ${rules.first_use_s.source}`
    longest = { s, source }
  }
  return longest
}

/** What plan and run must know of the mercury of a chain; null where there is none. */
export function mercuryWatch(equipment: Equipment, chain: readonly PartName[]): MercuryWatch | null {
  const found = mercuryIn(equipment, chain)
  if (found.length === 0) return null
  const tubes = found.map(({ part }) => part)
  const each_s = Math.max(...found.map((each) => each.each_s))
  const first_use_s = Math.max(each_s, ...found.map(({ rules }) => rules.first_use_s.value))
  const condensed_low_C = Math.max(...found.map(({ rules }) => rules.condensed_low_C.value))
  const condensed_high_C = Math.min(...found.map(({ rules }) => rules.condensed_high_C.value))
  const said = found.flatMap(({ part, stated }) =>
    stated === null ? [] : [`${part} is ${stated === 'moved' ? 'stated as moved' : 'stated as new'}`],
  )
  const stated = said.length === 0 ? null : said.join(', ')
  const which = found.map(({ part, type }) => `${part} (${type})`).join(', ')
  const long = minutes(first_use_s)
  return {
    tubes,
    first_use_s,
    stated,
    condensed_low_C,
    condensed_high_C,
    text: `${which}: mercury vapour. The filament heats alone before any HT: ${
      stated === null
        ? `${show(each_s, 's')} at each start, ${long} on first use or after the tube was moved (asked at the start)`
        : `${long}, the set's file says so (${stated}); take that line out once it has worked and stays in place`
    }. Upright always. The foot of the bulb, where the mercury condenses, belongs between ${condensed_low_C} and ${condensed_high_C} °C: below, the arc drops more and wears the filament; above, it may strike back. A cold room is warmed first; nothing blows on or crowds the bulb.`,
    source: [
      ...new Set(
        found.flatMap(({ rules }) => [
          rules.first_use_s.source,
          rules.condensed_low_C.source,
          rules.condensed_high_C.source,
        ]),
      ),
    ].join('; '),
  }
}

function statedWords(stated: 'first use' | 'moved'): string {
  return stated === 'moved' ? 'moved by the file of the set' : 'on first use by the file of the set'
}

/** What is to be minded when such a tube is pulled for the bench supplies; null for others. */
export function pulledMercury(equipment: Equipment, part: PartName): string | null {
  const tube = equipment.tubes[part]
  const rules = tube === undefined ? undefined : recordOf(tube)?.mercury
  if (rules === undefined) return null
  return `mercury vapour: keep it upright and whole; back in its socket its filament heats alone for ${minutes(rules.first_use_s.value)} before any HT`
}

const minutes = (seconds: number): string => `${Math.round(seconds / 60)} min`
