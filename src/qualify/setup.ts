import { channelOf, type Bench, type Channel, type Meter } from '../bench/index.js'
import type { Equipment, Rail } from '../equipment/index.js'
import type { Order } from './types.js'

/** Where the dummy load is, for whoever builds the same thing on a virtual bench. */
export const loadRail = 'dummy load'
export const loadNode = 'load +'
export const loadReturn = 'load -'
const loadMode = 'dummy load'

/** A rail that is on the plan to be seen and kept off, with nothing connected. */
export const idleRail = (channel: string): string => `${channel}, not connected`

/**
 * The bench as far as it takes part: the supply under test with all its channels, each on a rail of its own, the load on one of
 * them. Every rail counts as HT: whatever it feeds otherwise, here it goes off at once.
 */
export function benchUnderTest(bench: Bench, order: Order): Bench | null {
  const found = channelOf(bench, order.channel)
  if (found === null) return null
  const port = portOf(bench, order.channel)
  const channels: Record<string, Channel> = {}
  for (const [name, channel] of Object.entries(found.supply.channels)) {
    const own = `${port}.${name}`
    const loaded = own === order.channel
    channels[name] = {
      ...channel,
      feeds: loaded ? loadRail : idleRail(own),
      role: 'HT',
      off_order: 10,
      // As bias and heaters stand beside HT in a run: what goes off then is taken by the timer that is being proved.
      ...(!loaded && found.supply.dialect.dead_man?.per === 'output' && { unguarded: true as const }),
    }
  }
  const meters = Object.fromEntries(
    Object.entries(bench.meters).filter(([, meter]) => isWatched(meter, port)),
  )
  const here = [
    port,
    `line.${port}`,
    ...Object.keys(meters).flatMap((name) => [`line.${name}`, `input.${name}`]),
  ]
  return {
    ...bench,
    faults: bench.faults.filter((fault) => here.some((part) => fault.startsWith(part))),
    supplies: { [port]: { ...found.supply, channels } },
    meters,
    stacks: [],
  }
}

/** Guards the bench rather than a set: a lid, an emergency loop, a temperature. */
export const isGuard = ({ measures }: Meter): boolean => measures === 'contact' || measures === '°C'

/** A guard on a line that takes part: its own, or that of the supply under test. */
const isWatched = (meter: Meter, port: string): boolean =>
  isGuard(meter) && (meter.line !== null || meter.on === port)

/** The resistor as a set: what a virtual bench stands behind the supply, and what a meter is clipped to. */
export function loadAsSet(bench: Bench, order: Order): Equipment {
  const rails: Record<string, Rail> = {}
  for (const [port, supply] of Object.entries(bench.supplies)) {
    for (const [name, channel] of Object.entries(supply.channels)) {
      const loaded = channel.feeds === loadRail
      rails[channel.feeds] = {
        role: 'HT',
        positive: loaded ? loadNode : `${port}.${name} +`,
        negative: loadReturn,
        polarity: 'positive',
        working_V: loaded ? order.top_V : 0,
        max_V: { value: loaded ? order.top_V : 0, source: 'accepted for this load' },
        feeds: { positive_at: 'the load', negative_at: 'the load', lift: [], pull: [] },
        totals: {},
      }
    }
  }
  return {
    name: nameOf(order),
    level: 3,
    chassis: 'isolated',
    chassis_node: loadReturn,
    hazards: [],
    panel_controls: [],
    modes: { [loadMode]: { controls: {}, driven: false } },
    rails,
    parts: {
      load: {
        kind: 'resistor',
        between: [loadNode, loadReturn],
        ohm: order.load.ohm,
        tolerance: order.load.tolerance,
        rated_W: order.load.rated_W,
        make: 'wirewound',
      },
    },
    rail_capacitors: {},
    tubes: {},
    spares: [],
    heater_chains: {},
    charts: { within: 0.2, voltages: [], resistances: [] },
    test_points: {},
  }
}

/** The supply that a channel is one of. */
export function portOf(bench: Bench, channel: string): string {
  const of = (name: string): boolean => channel.startsWith(`${name}.`)
  return Object.keys(bench.supplies).find(of) ?? ''
}

export const nameOf = ({ channel }: Order): string => `dummy load on ${channel}`
export { loadMode }
