import { bleederFor, type Bench } from '../bench/index.js'
import type { Equipment, Feeds, RailName } from '../equipment/index.js'
import { type LimitsDesk, type RailBench, show, terminalBleeder_ohm } from '../limits/index.js'
import { low_V, setCapacitance_F, setPath_ohm } from './discharge.js'
import { pulledMercury } from './mercury.js'
import { isHot } from './stages.js'

/** The highest that a rail goes in a plan, and its trip there. */
export interface Top {
  readonly V: number
  readonly trip_A: number
  readonly expected_A: number
}

/** Rated currents of miniature fuses, amps (the series of IEC 60127, from memory). */
const fuses_A = [
  0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1, 1.25, 1.6, 2,
  2.5, 3.15, 4, 5,
] as const
/** A fuse carries its rating for ever, and one and a half times it for an hour (IEC 60127, from memory). */
export const carries = 1.25
/** It takes about this much of its rating to blow a fuse within minutes (IEC 60127: 2.1 times in half an hour, from memory). */
export const blows = 2.1

/** What is lifted, pulled, fused and fitted on a rail before its supply is joined to the set, in that order. */
export function preparations(
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  name: RailName,
  top: Top | null,
): string[] {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined) return []
  const { feeds } = rail
  const V = top?.V ?? rail.working_V
  const first: string[] = []
  for (const wire of feeds.lift) first.push(`lift ${wire}`)
  for (const tube of feeds.pull) {
    const mercury = pulledMercury(equipment, tube)
    const jumper = equipment.tubes[tube]?.jumper
    first.push(
      `pull ${tube}${typeOf(equipment, tube)}${mercury === null ? '' : `; ${mercury}`}${
        jumper === undefined
          ? ''
          : `; the link in its base goes with it, so that ${jumper[0]} and ${jumper[1]} are no longer joined`
      }`,
    )
  }
  const fuse = fuseWords(feeds, side, V)
  if (fuse !== null) first.push(fuse)
  else if (isHot(equipment, name) && side.class !== 'programmed' && top !== null) first.push(fuseToFit(top))
  if (feeds.blocking_diode === true) first.push('blocking diode in the positive lead')
  if (feeds.series_ohm !== undefined) first.push(`resistor of ${show(feeds.series_ohm, 'Ω')} in series`)
  const { bench_bleeder_ohm } = feeds
  if (bench_bleeder_ohm !== undefined) {
    first.push(
      `bleeder of ${show(bench_bleeder_ohm, 'Ω')}, ${wattsFor(bench_bleeder_ohm, V)} or more, across the supply's terminals`,
    )
  }
  const missing = bleederToFit(equipment, desk, name, V)
  if (missing !== null) first.push(missing)
  const preload_ohm = rail.required_bias?.preload_ohm
  if (rail.required_bias !== undefined && preload_ohm !== undefined) {
    first.push(
      `a preload of ${show(preload_ohm, 'Ω')}, ${wattsFor(preload_ohm, V)} or more, from ${rail.required_bias.node} to ${equipment.chassis_node}, at the grid-return end`,
    )
  }
  if (rail.required_bias !== undefined && !meteredByLine(bench, rail.required_bias.node)) {
    const { node } = rail.required_bias
    first.push(
      `a voltmeter clipped from ${node} to ${equipment.chassis_node}, red lead on ${node}, before anything is on: it stays, and you read it before HT and while HT is on`,
    )
  }
  if (side.bleeder_ohm !== null) {
    first.push(
      `the bench's own bleeder of ${show(side.bleeder_ohm, 'Ω')} stays across the terminals (${wattsFor(side.bleeder_ohm, V)} or more)`,
    )
  }
  return first
}

/** A resistor's rating at these volts: twice what it takes. */
export function wattsFor(ohm: number, V: number): string {
  return show((2 * V * V) / ohm, 'W')
}

/** A stated fuse: how fast, for which volts, and whether the supply could blow it at all. */
function fuseWords({ fuse_A }: Feeds, side: RailBench, V: number): string | null {
  if (fuse_A === undefined) return null
  const weak =
    side.max_A < blows * fuse_A
      ? `; the supply gives ${show(side.max_A, 'A')} at most, too little to blow it: it guards against charge and other sources, the supply's own limit against the rest`
      : ''
  return `fuse of ${show(fuse_A, 'A')} in the positive lead, fast, for ${show(V, 'V')} DC or more${weak}`
}

/** The smallest fuse that carries a rail's trip for ever; null where none of the series does. */
export function fuseFor(trip_A: number): number | null {
  return fuses_A.find((each) => each >= carries * trip_A) ?? null
}

function fuseToFit({ V, trip_A }: Top): string {
  const fit_A = fuseFor(trip_A)
  const size = fit_A === null ? 'a fuse' : `a fuse of ${show(fit_A, 'A')}`
  return `${size}, fast, for ${show(V, 'V')} DC or more, in the positive lead (the set file states none: write it as fuse)`
}

/** The bleeder that a rail of somebody's own supply lacks; null where charge has a way to go. */
function bleederToFit(equipment: Equipment, desk: LimitsDesk, name: RailName, V: number): string | null {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined || side.class === 'programmed') return null
  if (!isHot(equipment, name) || V <= low_V || terminalBleeder_ohm(rail, side) !== null) return null
  if (setPath_ohm(equipment, desk, name) !== null) return null
  const ohm = bleederFor(V, setCapacitance_F(equipment, desk, name))
  return `a bleeder of ${show(ohm, 'Ω')}, ${wattsFor(ohm, V)} or more, across the ${name} (nothing in the files takes its charge away: write it as bench_bleeder)`
}

function meteredByLine(bench: Bench, node: string): boolean {
  return Object.values(bench.meters).some(
    (meter) => meter.line !== null && meter.measures === 'V' && meter.at === node,
  )
}

function typeOf(equipment: Equipment, tube: string): string {
  const known = equipment.tubes[tube]
  return known === undefined ? '' : ` (${known.type}${known.does === undefined ? '' : `, ${known.does}`})`
}
