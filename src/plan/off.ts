import { type Bench, urgentOffText } from '../bench/index.js'
import type { Equipment, RailName, RailRole } from '../equipment/index.js'
import { createLimits, type LimitsDesk } from '../limits/index.js'
import { dischargeOf, type Discharge, setDischarge_s } from './discharge.js'
import { staleAfter_s, staleOf_s } from './stale.js'
import type { OffKnob, OffPlan } from './types.js'

/** Order of the urgent OFF: drive, screen and HT at once; heaters and bias follow by rule. */
const rank: Readonly<Record<RailRole, number>> = { drive: 0, screen: 1, other: 2, HT: 3, heater: 4, bias: 5 }

/**
 * What the urgent OFF takes at once, and what bias and heaters wait for: everything that may put volts on a plate or a screen.
 * `other` counts: nothing says that it does not.
 */
export function isHotRole(role: RailRole): boolean {
  return role !== 'heater' && role !== 'bias'
}

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
        zero_A: channel.accuracy_A.plus,
        stale_s: staleOf_s(bench, [port]),
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
    knobs: desk === null ? null : knobsOf(bench, equipment, desk),
    heaters_off_after_s: heatersOffAfter_s,
    stale_s: staleAfter_s(bench),
    bias_release: {
      below_V: Math.min(60, ...releases.map((release) => release.below_V)),
      discharge_s: equipment === undefined || desk === null ? null : setDischarge_s(equipment, desk),
      cathodes_cold_s: Math.max(300, ...releases.map((release) => release.after_s)),
      only_wire_between: equipment !== undefined && onlyWire(equipment),
    },
  }
}

/** Rails that no channel of the bench feeds: watched through a meter on a line, or by hand. */
function knobsOf(bench: Bench, equipment: Equipment | undefined, desk: LimitsDesk): OffKnob[] {
  return Object.entries(equipment?.rails ?? {}).flatMap(([rail, { role }]): OffKnob[] => {
    const side = desk.rails[rail]
    if (side === undefined || side.class === 'programmed') return []
    const onLine = (name: string | null): string | null =>
      name !== null && side.class === 'watched' && bench.meters[name]?.line != null ? name : null
    const amps_meter = onLine(side.amps_meter)
    const meter = amps_meter === null ? undefined : bench.meters[amps_meter]
    const no_A = meter === undefined ? 0 : Math.max(meter.resolution, meter.accuracy.plus)
    const volts_meter = onLine(side.volts_meter)
    const stale = side.class === 'watched' ? { stale_s: staleOf_s(bench, [volts_meter, amps_meter]) } : {}
    return [{ rail, role, class: side.class, volts_meter, amps_meter, no_A, ...stale }]
  })
}

/** Whether the supply's terminals see every plate and screen feed: nothing but wire between. */
function onlyWire(equipment: Equipment): boolean {
  return Object.values(equipment.rails)
    .filter((rail) => isHotRole(rail.role))
    .every(
      ({ feeds }) =>
        feeds.fuse_A === undefined &&
        feeds.blocking_diode !== true &&
        (feeds.series_ohm === undefined || feeds.series_ohm === 0),
    )
}
