import type { Bench, Channel, Meter } from '../bench/index.js'
import type { Capacitor, Equipment, Part, PartName } from '../equipment/index.js'
import type { ReformOrder } from '../profile/index.js'

/* Lifted parts as a set of their own: what hangs behind the supply is feed resistors and electrolytics, and nothing else. */

export const formingNode = 'forming line'
export const returnNode = 'forming return'
export const formingMode = 'forming'
/** Free end of a lifted part, where its feed resistor and its meter meet. */
export const nodeOf = (part: PartName): string => `${part} +`
export const feedOf = (part: PartName): string => `feed ${part}`
/** What a person types of a part: the volts across it, or across its feed resistor. */
export const typedNode = (part: PartName, across: 'part' | 'feed'): string =>
  across === 'part' ? nodeOf(part) : `drop in ${feedOf(part)}`

/** What stands behind one feed resistor, taken together. */
export interface Lifted {
  readonly name: PartName
  readonly parts: readonly PartName[]
  readonly joined: 'alone' | 'parallel' | 'series'
  readonly F: number
  readonly rated_V: number
  /**
   * The lowest rating, also of a string: where one of it leaks or shorts, another sees nearly all of its volts, and the one meter
   * across the string cannot see that.
   */
  readonly most_V: number
  /** Each of them as it is marked. */
  readonly each: readonly { readonly F: number; readonly rated_V: number }[]
  readonly cans: readonly string[]
}

export function liftedOf(equipment: Equipment, order: ReformOrder): readonly Lifted[] {
  return Object.entries(order.parts).map(([name, { of, joined }]) => {
    const parts = of ?? [name]
    const found = parts.flatMap((part) => {
      const known = equipment.parts[part] ?? equipment.rail_capacitors[part]
      return known !== undefined && 'rated_V' in known && 'F' in known ? [known] : []
    })
    const lowest_V = Math.min(...found.map(({ rated_V }) => rated_V))
    const cans = found.flatMap((part) => ('can' in part ? [part.can] : []))
    const all = {
      name,
      parts,
      most_V: lowest_V,
      each: found.map(({ F, rated_V }) => ({ F, rated_V })),
      cans: [...new Set(cans)],
    }
    if (parts.length === 1 || joined === 'parallel')
      return {
        ...all,
        joined: parts.length === 1 ? ('alone' as const) : ('parallel' as const),
        F: found.reduce((sum, { F }) => sum + F, 0),
        rated_V: lowest_V,
      }
    return {
      ...all,
      joined: 'series' as const,
      F: 1 / found.reduce((sum, { F }) => sum + 1 / F, 0),
      rated_V: lowest_V * found.length,
    }
  })
}

/** Charge that a dielectric soaks up and gives back: share of the capacitance, and how slowly (common practice, no source). */
const soaked = { share: 0.03, s: 40 }

/**
 * The lifted parts as a set. `real`: with the charge that dielectrics soak up, for the virtual bench; a plan does without.
 */
export function liftedSet(equipment: Equipment, order: ReformOrder, real = false): Equipment {
  const parts: Record<string, Part> = {}
  const resistor = (name: string, a: string, b: string, ohm: number, tolerance: number, W: number): void => {
    parts[name] = { kind: 'resistor', between: [a, b], ohm, tolerance, rated_W: W, make: 'film' }
  }
  for (const lifted of liftedOf(equipment, order)) {
    const { name, F, rated_V } = lifted
    const own = order.parts[name]
    if (own === undefined) continue
    resistor(feedOf(name), formingNode, nodeOf(name), own.feed_ohm, own.feed_error, own.feed_rated_W)
    const capacitor: Capacitor = {
      kind: 'capacitor',
      between: [nodeOf(name), returnNode],
      F,
      rated_V,
      dielectric: 'electrolytic',
    }
    parts[name] = capacitor
    if (!real) continue
    const soak_F = soaked.share * F
    resistor(`soak ${name}`, nodeOf(name), `${name} soaked`, soaked.s / soak_F, 0, 1)
    parts[`soaked ${name}`] = {
      ...capacitor,
      between: [`${name} soaked`, returnNode],
      F: soak_F,
      dielectric: 'film',
    }
  }
  const top_V = Math.max(0, ...liftedOf(equipment, order).map(({ most_V }) => most_V))
  const given = equipment.rails[order.rail]
  return {
    name: equipment.name,
    lifted: true,
    level: 3,
    chassis: 'isolated',
    chassis_node: returnNode,
    hazards: [],
    panel_controls: [],
    modes: { [formingMode]: { controls: {}, driven: false } },
    rails: {
      [order.rail]: {
        role: 'HT',
        positive: formingNode,
        negative: returnNode,
        polarity: 'positive',
        working_V: top_V,
        max_V: { value: top_V, source: 'the rating of the lifted parts' },
        feeds: {
          positive_at: 'the far ends of the feed resistors, joined',
          negative_at: 'the negative ends of the lifted parts, joined',
          lift: [],
          pull: [],
          ...(given?.feeds.bench_bleeder_ohm !== undefined && {
            bench_bleeder_ohm: given.feeds.bench_bleeder_ohm,
          }),
        },
        totals: {},
      },
    },
    parts,
    rail_capacitors: {},
    tubes: {},
    spares: [],
    heater_chains: {},
    charts: { within: 0.2, voltages: [], resistances: [] },
    test_points: Object.fromEntries(
      Object.keys(order.parts).map((name) => [nodeOf(name), `the lifted positive end of ${name}`]),
    ),
  }
}

/** The meter of a part: across the part, or across its feed resistor. */
export function meterOf(
  bench: Bench,
  part: PartName,
): { readonly name: string; readonly meter: Meter; readonly across: 'part' | 'feed' } | null {
  for (const [name, meter] of Object.entries(bench.meters)) {
    if (meter.measures !== 'V') continue
    if (meter.at === nodeOf(part) && meter.against === returnNode) return { name, meter, across: 'part' }
    if (meter.at === formingNode && meter.against === nodeOf(part)) return { name, meter, across: 'feed' }
  }
  return null
}

/** The channel that feeds the rail. */
export function feederOf(
  bench: Bench,
  rail: string,
): { readonly port: string; readonly name: string; readonly channel: Channel } | null {
  for (const [port, { channels }] of Object.entries(bench.supplies))
    for (const [name, channel] of Object.entries(channels))
      if (channel.feeds === rail) return { port, name: `${port}.${name}`, channel }
  return null
}

/** Name under which an output stands that feeds nothing here. */
export const idleRail = (channel: string): string => `${channel}, not connected`

/** The bench as far as it takes part: one supply, and meters that stand at the lifted parts or guard the bench. */
export function formingBench(bench: Bench, order: ReformOrder): Bench | null {
  const found = feederOf(bench, order.rail)
  const supply = found === null ? undefined : bench.supplies[found.port]
  if (found === null || supply === undefined) return null
  const channels: Record<string, Channel> = {}
  for (const [name, channel] of Object.entries(supply.channels)) {
    const own = `${found.port}.${name}`
    const feeds = own === found.name ? order.rail : idleRail(own)
    channels[name] = { ...channel, feeds, role: 'HT', off_order: 10 }
  }
  const parts = Object.keys(order.parts)
  const nodes = [formingNode, ...parts.map(nodeOf)]
  const takesPart = ({ measures, at, against, line, on }: Meter): boolean =>
    line === null && on === null
      ? // Clipped on and read by a person: what it draws flows all the time.
        measures === 'V' && at !== null && nodes.includes(at) && against !== null
      : (line !== null || on === found.port) &&
        (measures === '°C' || measures === 'contact' || (at !== null && nodes.includes(at)))
  const meters = Object.fromEntries(Object.entries(bench.meters).filter(([, meter]) => takesPart(meter)))
  const here = [
    found.port,
    `line.${found.port}`,
    `timer.${found.port}`,
    order.rail,
    ...parts,
    ...parts.map(feedOf),
    ...Object.keys(meters).flatMap((name) => [`line.${name}`, `input.${name}`]),
  ]
  return {
    ...bench,
    faults: bench.faults.filter((fault) => here.some((part) => fault.startsWith(part))),
    supplies: { [found.port]: { ...supply, channels } },
    meters,
    stacks: [],
  }
}
