import type { Equipment, NodeName, Rail } from '../equipment/index.js'
import { formatQuantity, own } from '../quantities/index.js'
import type { Joint } from './ground.js'
import type { Bench } from './types.js'

/** Above this a rail is dangerous, and must come down by itself (the threshold of product and plan). */
const touch_V = 60
/** Wanted time from working voltage to 60 V (our choice). */
const within_s = 5

/**
 * Every programmed rail above 60 V needs a path for charge at the supply's own terminals: a bench bleeder, or the set's
 * bleeder with no diode or fuse between. Null when there is one; else what is missing, with the resistor computed
 * (t = R·C·ln(V/60)).
 */
export function dischargeProblem(
  { name, channel }: Joint,
  equipment: Equipment,
  bench: Bench,
): { readonly what: string; readonly remedy: string } | null {
  const rail = own(equipment.rails, channel.feeds)
  if (rail === undefined) return null
  const stack = bench.stacks.find((each) => each.rail === channel.feeds)
  const highest_V = Math.min(channel.max_V, rail.max_V.value)
  if ((stack === undefined ? highest_V : rail.max_V.value) <= touch_V) return null
  if (channel.bleeder_ohm !== null || rail.feeds.bench_bleeder_ohm !== undefined) return null
  const stopped = rail.feeds.fuse_A !== undefined || rail.feeds.blocking_diode === true
  if (!stopped && bleederOhm(equipment, rail) !== null) return null
  const C = channel.output_F + railFarads(equipment, channel.feeds)
  const V = Math.max(highest_V, touch_V * 1.2)
  const resistor = bleederFor(V, C)
  return {
    what: `rail ${channel.feeds} goes up to ${formatQuantity(V, 'V')}, and nothing discharges it at the terminals of ${name}${
      stopped ? ' (the fuse or diode in its lead parts them from the set)' : ''
    }: "off" could not be confirmed`,
    remedy: `clip a fixed ${formatQuantity(resistor, 'Ω')} resistor rated ${formatQuantity(rating((V * V) / resistor), 'W')} or more across the supply's terminals (it takes ${formatQuantity(short((V * V) / resistor), 'W')} and brings ${formatQuantity(C, 'F')} to ${touch_V} V in ${formatQuantity(short(resistor * C * Math.log(V / touch_V)), 's')}) and write bleeder: ${formatQuantity(resistor, 'Ω')} at the channel`,
  }
}

/** The least resistance from side to side of a rail that no fuse, contact, diode or tube interrupts; null when none. */
export function bleederOhm(equipment: Equipment, rail: Rail): number | null {
  const ways = new Map<NodeName, { readonly to: NodeName; readonly ohm: number }[]>()
  const join = (a: NodeName, b: NodeName, ohm: number): void => {
    ways.set(a, [...(ways.get(a) ?? []), { to: b, ohm }])
    ways.set(b, [...(ways.get(b) ?? []), { to: a, ohm }])
  }
  for (const part of Object.values(equipment.parts)) {
    if (part.kind === 'resistor' || part.kind === 'choke' || part.kind === 'winding')
      join(part.between[0], part.between[1], part.ohm)
    if (part.kind === 'potentiometer') join(part.ends[0], part.ends[1], part.ohm)
  }
  const best = new Map<NodeName, number>([[rail.positive, 0]])
  const open = new Set<NodeName>([rail.positive])
  while (open.size > 0) {
    const node = [...open].reduce((a, b) => ((best.get(a) ?? 0) <= (best.get(b) ?? 0) ? a : b))
    open.delete(node)
    const so_far = best.get(node) ?? 0
    if (node === rail.negative) return so_far > 0 ? so_far : null
    for (const { to, ohm } of ways.get(node) ?? [])
      if (so_far + ohm < (best.get(to) ?? Infinity)) {
        best.set(to, so_far + ohm)
        open.add(to)
      }
  }
  return null
}

/** Capacitance that hangs on a rail: level 1 as stated; level 3 every electrolytic on wire or choke to it, taken together. */
function railFarads(equipment: Equipment, name: string): number {
  const rail = own(equipment.rails, name)
  const stated = Object.values(equipment.rail_capacitors)
    .filter((capacitor) => capacitor.rail === name)
    .reduce((sum, { F }) => sum + F, 0)
  if (rail === undefined) return stated
  const near = new Set<NodeName>([rail.positive])
  for (const part of Object.values(equipment.parts))
    if ((part.kind === 'choke' || part.kind === 'fuse') && part.between.some((node) => near.has(node)))
      for (const node of part.between) near.add(node)
  return Object.values(equipment.parts).reduce(
    (sum, part) =>
      part.kind === 'capacitor' && near.has(part.between[0]) && part.between[1] === rail.negative
        ? sum + part.F
        : sum,
    stated,
  )
}

/** Largest resistor that brings a capacitor from `from_V` down to `to_V` within `t_s`. */
export function largestBleeder_ohm(F: number, from_V: number, to_V: number, t_s: number): number {
  return t_s / (F * Math.log(from_V / to_V))
}

/** A bleeder (ohm, E12) that brings C farads from V to 60 V within 5 s and takes 2 mA at least. */
export function bleederFor(V: number, C: number): number {
  const from_V = Math.max(V, touch_V * 1.2)
  const largest = C > 0 ? largestBleeder_ohm(C, from_V, touch_V, within_s) : Infinity
  return standardBelow_ohm(Math.min(largest, from_V / 0.002))
}

/** The next lower value of the E12 series (IEC 60063). */
export function standardBelow_ohm(ohm: number): number {
  const series = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
  for (let decade = 10_000; decade >= 1; decade /= 10) {
    const value = series.toReversed().find((each) => each * decade <= ohm)
    if (value !== undefined) return value * decade
  }
  return 10
}

/** A common rating at least twice what it takes. */
function rating(watts: number): number {
  return [1, 2, 3, 5, 10, 15, 25, 50, 100, 200].find((each) => each >= 2 * watts) ?? Math.ceil(2 * watts)
}

const short = (value: number): number => Number(value.toPrecision(2))
