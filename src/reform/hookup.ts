import type { Bench } from '../bench/index.js'
import {
  channelPlan,
  guardPlans,
  type MeterPlan,
  type Plan,
  type RailPlan,
  type ReformPlan,
  staleAfter_s,
} from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { formingNode, idleRail, returnNode } from './setup.js'

/* What is joined to what: meters, wires, the rail that feeds and the outputs that stay off. */

/** In long holds the rail is read once a second and meters every five (src/loop/reform.ts): three of those, and one more. */
const slowStale_s = 4
const slowMeter_s = 20

/** The parts' meters are needed: without its meter a part is not watched. */
export function metersOf(bench: Bench, reform: ReformPlan): Record<string, MeterPlan> {
  const all = guardPlans(bench)
  return Object.fromEntries(
    Object.entries(all).map(([name, meter]) => {
      const part = reform.parts.find((each) => each.meter === name || each.case === name)
      if (part === undefined || meter.watch === undefined) return [name, meter]
      const uses = [
        part.case === name ? `the case of ${part.name}` : `the volts of ${part.name}`,
        ...meter.watch.uses.filter((use) => !use.startsWith('shown')),
      ]
      const falls = { ohm: part.feed_ohm, F: part.F }
      return [
        name,
        {
          ...meter,
          watch: {
            ...meter.watch,
            uses,
            needed: part.meter === name,
            stale_s: Math.max(slowMeter_s, meter.watch.stale_s),
            falls: part.meter === name && part.across === 'part' ? falls : null,
          },
        },
      ]
    }),
  )
}

export function wiresOf(reform: ReformPlan): Plan['wires'] {
  const { rail, channel } = reform
  return [
    {
      of: 'first',
      text: `nothing of the set is on the terminals of ${channel}; the parts stand on something that does not burn, with nobody able to reach them`,
    },
    ...reform.parts.map((part) => ({
      of: rail,
      text: `${part.name}${part.joined === 'alone' ? '' : ` (${part.parts.join(', ')} in ${part.joined})`}: ${formatShort(part.feed_ohm, 'Ω')} rated ${formatShort(part.feed_rated_W, 'W')} or more from ${channel} + to its POSITIVE end, its negative end to ${channel} -, and ${part.meter} across ${part.across === 'part' ? 'it' : 'that resistor'}${part.typed === undefined ? '' : ', where it is read without reaching in'}`,
    })),
    { of: rail, text: `the bench's own bleeder stays across the terminals of ${channel}` },
  ]
}

export function railsOf(bench: Bench, reform: ReformPlan): Record<string, RailPlan> {
  const rails: Record<string, RailPlan> = {}
  for (const [port, supply] of Object.entries(bench.supplies)) {
    for (const [name, channel] of Object.entries(supply.channels)) {
      const own = `${port}.${name}`
      const feeds = own === reform.channel
      rails[channel.feeds] = {
        name: channel.feeds,
        role: 'HT',
        class: 'programmed',
        channels: [channelPlan(own, port, supply, channel)],
        volts_meter: null,
        amps_meter: null,
        positive: feeds ? formingNode : `${own} +`,
        negative: feeds ? returnNode : `${own} -`,
        max_V: feeds ? reform.top_V : channel.min_V,
        bias: null,
        // Read once a second in long holds: three of those, and one more.
        stale_s: Math.max(slowStale_s, staleAfter_s(bench)),
        discharge:
          feeds && channel.bleeder_ohm !== null
            ? { ohm: channel.bleeder_ohm, F: channel.output_F, through: "the bench's own bleeder" }
            : null,
        can: feeds ? [`set, limit and switch ${own}, and measure what it does`] : [],
        cannot: feeds
          ? ['see what a part leaks: that is read at its own meter']
          : [`${idleRail(own)}: it stays off`],
      }
    }
  }
  return rails
}
