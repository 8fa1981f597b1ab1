import { type Equipment, type ModeName, type OwnMains, ownMainsRail } from '../equipment/index.js'
import { show } from '../limits/index.js'
import { peakLeft_V } from './own-mains-charge.js'
import type { OwnContext } from './own-mains-context.js'
import type { HookupLine, Wire } from './types.js'

/* What a person sets up and confirms before the set is on its own pack. */

export function hookupLines(own: OwnMains): HookupLine[] {
  return [
    {
      rail: ownMainsRail,
      supply: 'your variable transformer',
      positive: "live of the set's mains plug",
      negative: "neutral of the set's mains plug",
      first: [],
      proved_by: `an ohmmeter from pin to pin of the plug, ${show(own.primary_ohm, 'Ω')} or so`,
    },
  ]
}

/** The wattages that lamps are sold in. */
const largest_W = 200
const lamps_W = [15, 25, 40, 60, 75, 100, 150, largest_W] as const

/** A lamp of about the set's own watts in series: what it lets through into a short, and what it is hot and cold (published, second-hand). */
export function seriesLamp(
  W: number,
  V: number,
): { readonly A: number; readonly hot_ohm: number; readonly cold_ohm: number } {
  const hot_ohm = (V * V) / W
  return { A: W / V, hot_ohm, cold_ohm: hot_ohm / 10 }
}

function lampWords(own: OwnMains): string {
  const set_W = 0.5 * own.fuse_A * own.volts
  const W = lamps_W.find((each) => each >= set_W) ?? largest_W
  const { A, hot_ohm, cold_ohm } = seriesLamp(W, own.volts)
  const lamp =
    W >= set_W
      ? `a lamp of about the set's own watts in series with the live lead, such as ${show(W, 'W')}: a faint glow is good`
      : `a lamp in series with the live lead, the largest that is sold, ${show(W, 'W')} (the set may take ${show(set_W, 'W')}, half of what its fuse carries): a glow that dims is good`
  return `tried for a moment at a low setting with ${lamp}, full light is a short, into which it lets ${show(A, 'A')} (${show(cold_ohm, 'Ω')} cold, ${show(hot_ohm, 'Ω')} hot; published, second-hand); out again before this run, whose windows know of no lamp`
}

/** Bench leads off is the interlock: each is confirmed by itself. */
export function wires({ equipment, stage, mode, own }: OwnContext): Wire[] {
  const first = (text: string): Wire => ({ of: 'first', text })
  const mains = (text: string): Wire => ({ of: ownMainsRail, text })
  const tubes = Object.keys(equipment.tubes)
  const joined = stage.with === 'the set'
  return [
    first("the set's mains plug is out, and stays so until the variable transformer is wired as below"),
    first("the chassis is joined to the bench's protective earth"),
    first('a switch that cuts the mains of the variable transformer is within reach of the free hand'),
    ...Object.entries(equipment.rails).map(([rail, { feeds }]) =>
      mains(
        `both leads of the bench for ${rail} are off the set (off ${feeds.positive_at}, off ${feeds.negative_at}), lie clear and can touch nothing`,
      ),
    ),
    ...(joined
      ? Object.entries(equipment.rails).flatMap(([rail, { feeds }]) =>
          feeds.lift.map((wire) => mains(`joined again for ${rail}: ${wire}`)),
        )
      : [
          mains(`every tube is out of its socket: ${tubes.join(', ')}; dial lamps too`),
          mains(`both ends of each winding of ${own.transformer} are lifted, and lie clear and insulated`),
        ]),
    ...(joined ? [mains(`HT is kept off: ${own.HT.opened_by}`)] : []),
    mains(
      `the variable transformer does not isolate: it is fed through a residual-current device and stands at zero, switched off`,
    ),
    mains(`a fuse of ${show(own.fuse_A, 'A')}, slow, for ${show(own.volts, 'V')} AC, in its live lead`),
    mains(lampWords(own)),
    mains('an AC ammeter in its live lead and an AC voltmeter across its output; both stay where they are'),
    ...(joined ? clipped(equipment, own, mode).map(mains) : []),
    mains("the set's mains plug is in the variable transformer, which is at zero and switched off"),
  ]
}

/** Meters that are read while it stands at volts: on before, and nobody moves them. */
function clipped({ rails, chassis_node }: Equipment, own: OwnMains, mode: ModeName): string[] {
  const { HT } = own
  const on = (what: string, a: string, b: string): string =>
    `${what} clipped from ${a} to ${b} before anything is on; it stays`
  return [
    ...Object.entries(rails).flatMap(([name, rail]) =>
      rail.role === 'heater'
        ? [on(`a voltmeter on AC for ${name}`, rail.positive, rail.negative)]
        : rail.required_bias === undefined
          ? []
          : [on('a voltmeter on DC', rail.required_bias.node, chassis_node)],
    ),
    on(
      `a voltmeter on DC rated for twice ${show(rails[HT.rail]?.max_V.value ?? 0, 'V')}`,
      rails[HT.rail]?.positive ?? '',
      rails[HT.rail]?.negative ?? '',
    ),
    ...(HT.leaves_charged === undefined || HT.leaves_charged === rails[HT.rail]?.positive
      ? []
      : [
          on(
            `a voltmeter on DC rated for twice ${show(peakLeft_V(own, mode), 'V')}`,
            HT.leaves_charged,
            rails[HT.rail]?.negative ?? '',
          ),
        ]),
    `the HT current is read on the ${HT.read_at}, in place before anything is on`,
  ]
}
