import { type Bench, urgentOffText } from '../bench/index.js'
import type { Equipment, RailName, RailRole } from '../equipment/index.js'
import { createLimits, type LimitsDesk } from '../limits/index.js'
import { dischargeOf, type Discharge, setDischarge_s } from './discharge.js'
import type { OffPlan } from './types.js'

/** Order of the urgent OFF: drive, screen and HT at once; heaters and bias follow by rule. */
const rank: Readonly<Record<RailRole, number>> = { drive: 0, screen: 1, other: 2, HT: 3, heater: 4, bias: 5 }

/** HT that has not fallen this long after OFF: heaters go off all the same, seconds. */
const heatersOffAfter_s = 30

/**
 * All that is needed to put every output of a bench off. Without the set's file it holds the bench's own figures; with it,
 * the discharge paths and times of that set.
 */
export function offPlanOf(bench: Bench, equipment?: Equipment): OffPlan {
  return offPlan(bench, equipment, equipment === undefined ? null : createLimits(equipment, bench))
}

/** As `offPlanOf`, with limits already computed for the same set and bench. */
export function offPlan(bench: Bench, equipment: Equipment | undefined, desk: LimitsDesk | null): OffPlan {
  const falls = new Map<RailName, Discharge | null>()
  if (equipment !== undefined && desk !== null) {
    for (const name of Object.keys(equipment.rails)) falls.set(name, dischargeOf(equipment, desk, name))
  }
  const channels = Object.entries(bench.supplies).flatMap(([port, supply]) =>
    Object.entries(supply.channels).map(([name, channel]) => {
      const known = falls.get(channel.feeds)
      const own =
        channel.bleeder_ohm === null
          ? null
          : { ohm: channel.bleeder_ohm, F: Math.max(channel.output_F, 1e-9) }
      return {
        channel: `${port}.${name}`,
        port,
        rail: channel.feeds,
        role: channel.role,
        off_order: channel.off_order,
        off_text: urgentOffText(supply.dialect, [channel.number]),
        expected_fall: known === undefined || known === null ? own : { ohm: known.ohm, F: known.F },
        resolution_V: channel.resolution_V,
        resolution_A: channel.resolution_A,
      }
    }),
  )
  channels.sort((a, b) => rank[a.role] - rank[b.role] || a.off_order - b.off_order)
  const releases = Object.values(bench.supplies)
    .flatMap((supply) => Object.values(supply.channels))
    .filter((channel) => channel.role === 'bias')
    .map((channel) => channel.bias_release)
  return {
    format: 'slowglow off 1',
    channels,
    heaters_off_after_s: heatersOffAfter_s,
    bias_release: {
      below_V: Math.min(60, ...releases.map((release) => release.below_V)),
      discharge_s: equipment === undefined || desk === null ? null : setDischarge_s(equipment, desk),
      cathodes_cold_s: Math.max(300, ...releases.map((release) => release.after_s)),
      only_wire_between: equipment !== undefined && onlyWire(equipment),
    },
  }
}

/** Whether the supply's terminals see every plate and screen feed: nothing but wire between. */
function onlyWire(equipment: Equipment): boolean {
  return Object.values(equipment.rails)
    .filter((rail) => rail.role !== 'heater' && rail.role !== 'bias')
    .every(
      ({ feeds }) =>
        feeds.fuse_A === undefined &&
        feeds.blocking_diode !== true &&
        (feeds.series_ohm === undefined || feeds.series_ohm === 0),
    )
}
