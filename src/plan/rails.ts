import { channelOf, dialectPowers, type Bench } from '../bench/index.js'
import {
  type Equipment,
  modulatorRails,
  type NodeName,
  type Rail,
  type RailName,
} from '../equipment/index.js'
import {
  bleederTolerance,
  channelsOf,
  type LimitsDesk,
  type RailBench,
  show,
  terminalBleeder_ohm,
} from '../limits/index.js'
import { channelPlan } from './channel-plan.js'
import { dischargeOf } from './discharge.js'
import { staleOf_s, staleWhileOn_s } from './stale.js'
import { againstOf } from './supplies.js'
import type { BiasPlan, ChannelPlan, RailPlan } from './types.js'

/** All rails as the sequencer needs to know them. */
export function railPlans(equipment: Equipment, bench: Bench, desk: LimitsDesk): Record<RailName, RailPlan> {
  const plans: Record<RailName, RailPlan> = {}
  const modulators = modulatorRails(equipment)
  for (const [name, rail] of Object.entries(equipment.rails)) {
    const side = desk.rails[name]
    if (side === undefined) continue
    const discharge = dischargeOf(equipment, desk, name)
    const modulates = modulators.get(name)
    plans[name] = {
      name,
      role: rail.role,
      class: side.class,
      channels: side.class === 'programmed' ? channelPlans(bench, name) : [],
      volts_meter: side.volts_meter,
      amps_meter: side.amps_meter,
      positive: rail.positive,
      negative: rail.negative,
      max_V: rail.max_V.value,
      ...staleBy(bench, side),
      bias: biasPlan(equipment, bench, name, rail, side),
      ...(modulates !== undefined && { modulates }),
      discharge,
      ...powers(name, rail, side, bench),
    }
  }
  return plans
}

/** How old its readings may be, by what reads them; a hand rail has none that come by themselves. */
function staleBy(bench: Bench, side: RailBench): Pick<RailPlan, 'stale_s' | 'on_stale_s'> {
  if (side.class === 'hand') return {}
  if (side.class === 'watched') return { stale_s: staleOf_s(bench, [side.volts_meter, side.amps_meter]) }
  const ports = side.channels.map((name) => name.split('.')[0] ?? null)
  return { stale_s: staleOf_s(bench, ports), on_stale_s: staleWhileOn_s(bench, side.channels) }
}

/** Whether anything reads this rail's current: its supply, or an ammeter. What nothing reads is judged by nobody. */
export function isCurrentRead(rail: Pick<RailPlan, 'class' | 'amps_meter'>): boolean {
  return rail.class === 'programmed' || rail.amps_meter !== null
}

function channelPlans(bench: Bench, rail: RailName): ChannelPlan[] {
  const channels = channelsOf(bench, rail)
  const total_V = channels.reduce((sum, { channel }) => sum + channel.max_V, 0)
  return channels.flatMap(({ name, port, channel }) => {
    const supply = bench.supplies[port]
    return supply === undefined ? [] : [channelPlan(name, port, supply, channel, channel.max_V / total_V)]
  })
}

/** What slowglow can and cannot do on a rail, said to the person. */
function powers(
  name: RailName,
  rail: Rail,
  side: RailBench,
  bench: Bench,
): { can: string[]; cannot: string[] } {
  if (side.class === 'programmed') {
    const cannot = ['take away charge that the set holds after the output is off']
    const against = side.channels.map((channel) => againstOf(bench, channel))
    if (!side.over_voltage)
      cannot.push('have the supply itself guard the volts: it has no over-voltage level')
    else
      for (const [at, { 'over-voltage': tried }] of against.entries())
        if (tried !== undefined)
          cannot.push(
            `have ${side.channels[at] ?? 'the supply'} itself guard the volts: its over-voltage protection was tried (${tried})`,
          )
    const guarded = rail.role !== 'heater' && rail.role !== 'bias'
    const said = new Map<string, 'can' | 'cannot'>()
    for (const [at, channel] of side.channels.entries()) {
      const dialect = channelOf(bench, channel)?.supply.dialect
      if (dialect === undefined) continue
      const own = dialectPowers(dialect, guarded || dialect.dead_man?.per === 'supply', against[at])
      for (const words of own.can) said.set(words, 'can')
      for (const words of own.cannot) said.set(words, 'cannot')
    }
    const words = (which: 'can' | 'cannot'): string[] =>
      [...said].flatMap(([text, is]) => (is === which ? [text] : []))
    return {
      can: [
        `set, limit and switch ${name} up to ${show(Math.min(side.reach_V, rail.max_V.value), 'V')}`,
        ...words('can'),
      ],
      cannot: [...cannot, ...words('cannot')],
    }
  }
  const amps = side.amps_meter === null ? ['judge its current: no ammeter in the bench file'] : []
  if (side.class === 'watched') {
    return {
      can: [`read ${name} all the time and call out`],
      cannot: ['switch it off: only you can, by its knob or its mains', ...amps],
    }
  }
  return {
    can: [`ask you to set ${name} and judge what you type`],
    cannot: [
      'see it between two typed readings',
      'switch it off: only you can, by its knob or its mains',
      ...amps,
    ],
  }
}

function biasPlan(
  equipment: Equipment,
  bench: Bench,
  name: RailName,
  rail: Rail,
  side: RailBench,
): BiasPlan | null {
  const required = rail.required_bias
  if (required === undefined || rail.role !== 'bias') return null
  const sign = required.nominal_V < 0 ? -1 : 1
  const meter = Object.entries(bench.meters).find(
    ([, each]) => each.line !== null && each.measures === 'V' && each.at === required.node,
  )
  const bleeder_ohm = terminalBleeder_ohm(rail, side)
  return {
    node: required.node,
    at_least_V: Math.abs(required.at_least_V),
    nominal_V: Math.abs(required.nominal_V),
    sign,
    meter: meter?.[0] ?? null,
    ...(meter !== undefined && { stale_s: staleOf_s(bench, [meter[0]]) }),
    preload_A: preload_A(equipment, required.node, rail, Math.abs(required.nominal_V)),
    ...(bleeder_ohm !== null && { bleeder_ohm, ...bleederTolerance(rail, side) }),
    source: `${name}: ${required.source}`,
  }
}

/**
 * Current of the resistors that stand straight between the grid-return node and the rail's other side: they draw only while
 * the lead to the grid return is whole.
 */
function preload_A(equipment: Equipment, node: NodeName, rail: Rail, nominal_V: number): number | null {
  const stated_ohm = rail.required_bias?.preload_ohm
  let siemens = stated_ohm === undefined ? 0 : 1 / stated_ohm
  for (const part of Object.values(equipment.parts)) {
    if (part.kind !== 'resistor' || !part.between.includes(node)) continue
    const other = part.between[0] === node ? part.between[1] : part.between[0]
    if (other === equipment.chassis_node || other === rail.positive) siemens += 1 / part.ohm
  }
  return siemens > 0 ? siemens * nominal_V : null
}
