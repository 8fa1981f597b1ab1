import type { Equipment, PartName, RailName } from '../equipment/index.js'
import { allTypes } from '../tubes/index.js'
import { heaterChanges, type HeaterChanged, layHeaters } from './heater-chains.js'
import type { HeaterElement } from './heaters.js'
import { show } from './rail-limits.js'
import type { HeaterSign } from './types.js'

/** What each single fault of a heater rail would do to its current and volts: faults that look alike are one sign. */

/** Parts that look alike within this, or within a step of the ammeter, cannot be told apart by the rail. Our choice. */
const alike = 0.02
/** A rating that this many types share is one that may stand in a wrong socket. Our choice. */
const common = 4

export function heaterSigns(
  equipment: Equipment,
  rail: RailName,
  volts: number,
  lead_ohm: number,
  resolution: { readonly V: number; readonly A: number },
): HeaterSign[] {
  const laid = layHeaters(equipment, rail)
  const changed = heaterChanges(laid, volts, lead_ohm)
  const found: Found[] = []
  for (const { name, groups } of laid.chains) {
    const seen = (what: Found['what'], of: string, parts: PartName[], made: HeaterChanged): void =>
      void found.push({ what, of, chain: name, parts, made })
    for (const group of groups) {
      const parts = group.map(({ part }) => part)
      if (groups.length > 1 || groups[0] !== group)
        seen(
          'shorted section',
          'a shorted section',
          parts,
          changed(name, (part) => (parts.includes(part) ? 'short' : 1)),
        )
      for (const element of group) {
        const own = [element.part]
        const opened = element.kind === 'heater' ? 'one open heater' : 'an open resistor'
        seen(
          'open',
          opened,
          own,
          changed(name, (part) => (part === element.part ? 'open' : 1)),
        )
        if (equipment.tubes[element.part] === undefined) continue
        for (const other of othersFor(element)) {
          const of = `a heater of ${show(other.hot_V, 'V')} ${show(other.hot_A, 'A')} in place of ${show(element.hot_V, 'V')} ${show(element.hot_A, 'A')}`
          seen(
            'wrong rating',
            of,
            own,
            changed(name, (part) => (part === element.part ? other : 1)),
          )
        }
      }
    }
  }
  const order = ['open', 'shorted section', 'wrong rating']
  return merged(found, resolution.A)
    .map((group) => signOf(group, resolution.V))
    .sort((a, b) => order.indexOf(a.what) - order.indexOf(b.what))
}

interface Found {
  readonly what: HeaterSign['what']
  readonly of: string
  readonly chain: string
  readonly parts: readonly PartName[]
  readonly made: HeaterChanged
}

/** Faults of one kind whose currents cannot be told apart, together. */
function merged(found: readonly Found[], resolution_A: number): Found[][] {
  const groups: Found[][] = []
  for (const each of found) {
    const near = groups.find(([first]) => {
      if (first?.of !== each.of) return false
      const by = Math.abs(first.made.change_A - each.made.change_A)
      return by <= Math.max(resolution_A, alike * Math.abs(each.made.change_A))
    })
    if (near === undefined) groups.push([each])
    else near.push(each)
  }
  return groups
}

function signOf(group: readonly Found[], resolution_V: number): HeaterSign {
  const [first] = group
  const chains = [...new Set(group.map(({ chain }) => chain))]
  const change_A = mean(group.map(({ made }) => made.change_A))
  const set_change_V = mean(group.map(({ made }) => made.set_change_V))
  const over = worstOver(group)
  const of = first?.of ?? ''
  const where = `${of} in chain ${listed(chains)} (${listed(group.map(({ parts }) => parts.join(' with ')))})`
  const atSet =
    Math.abs(set_change_V) >= Math.max(resolution_V, 1e-3)
      ? ` and ${signed(set_change_V, 'V')} at the set, behind the leads`
      : ''
  const harm =
    over === null
      ? ''
      : `; what is left of its chain then gets up to ${show(over.volts, 'V')} on a heater of ${show(over.rated_V, 'V')} (${over.part})`
  return {
    what: first?.what ?? 'open',
    of,
    chains,
    parts: [...new Set(group.flatMap(({ parts }) => parts))],
    change_A,
    set_change_V,
    over,
    text: `${where}: ${signed(change_A, 'A')}${atSet}${harm}`,
  }
}

/** The heater that a fault drives furthest beyond its rated volts, where that is beyond what heaters stand. */
function worstOver(group: readonly Found[]): HeaterSign['over'] {
  let worst: HeaterSign['over'] = null
  for (const { made, parts } of group)
    for (const { element, volts } of made.elements) {
      if (element.kind !== 'heater' || volts <= 1.1 * element.hot_V) continue
      // A wrong heater stands by its own rating, and what is shorted or open has nothing to suffer.
      if (parts.includes(element.part)) continue
      if (worst === null || volts / element.hot_V > worst.volts / worst.rated_V)
        worst = { part: element.part, volts, rated_V: element.hot_V }
    }
  return worst
}

interface Rating {
  readonly hot_V: number
  readonly hot_A: number
}

/** Common ratings that may stand in a heater's place: the same volts at the next current up or down, and twice or half the volts. */
function othersFor({ hot_V, hot_A }: HeaterElement): Rating[] {
  const same = known.filter((each) => Math.abs(each.hot_V - hot_V) <= 0.05 * hot_V)
  const below = same.filter((each) => each.hot_A < 0.95 * hot_A).sort((a, b) => b.hot_A - a.hot_A)[0]
  const above = same.filter((each) => each.hot_A > 1.05 * hot_A).sort((a, b) => a.hot_A - b.hot_A)[0]
  const sisters = [2, 0.5].map((times) =>
    known.find(
      (each) =>
        Math.abs(each.hot_V - times * hot_V) <= 0.05 * each.hot_V &&
        Math.abs(each.hot_A - hot_A / times) <= 0.05 * each.hot_A,
    ),
  )
  return [below, above, ...sisters].filter((each) => each !== undefined)
}

function commonRatings(): readonly Rating[] {
  const counts = new Map<string, { rating: Rating; count: number }>()
  for (const { heater } of allTypes()) {
    if (heater === null) continue
    const rating = { hot_V: heater.volts.value, hot_A: heater.amps.value }
    const key = `${rating.hot_V} ${rating.hot_A}`
    counts.set(key, { rating, count: (counts.get(key)?.count ?? 0) + 1 })
  }
  return [...counts.values()].filter(({ count }) => count >= common).map(({ rating }) => rating)
}
const known = commonRatings()

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length)
}

function signed(value: number, unit: 'A' | 'V'): string {
  return `${value < 0 ? '−' : '+'}${show(Math.abs(value), unit)}`
}

function listed(names: readonly string[]): string {
  const all = [...new Set(names)]
  const last = all.pop()
  return all.length === 0 ? (last ?? '') : `${all.join(', ')} or ${last ?? ''}`
}
