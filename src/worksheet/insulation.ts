import type { Equipment, NodeName } from '../equipment/index.js'
import { formatShort } from '../quantities/index.js'
import { insulationCautions, leastInsulation } from './charge.js'
import { ours, practice, reading } from './check.js'
import type { ColdOhms } from './cold-ohms.js'
import { gridShift_V, leak_A, leakFor_ohm, riseOf_A } from './leak.js'
import type { ColdCheck } from './types.js'

/** What most digital meters on volts are to what stands in series with them (common practice, no source): for the example. */
const usual_ohm = 10e6
const mainsTest_V = 500
/** Bench leads carry no more in a run either. */
const leads_V = 600

/** Nobody holds anything while the test volts stand. */
const handsAway =
  'With tester or supply off: clip everything on, hands away and nobody near; then on, and read once it stands still. Off, wait until it has fallen, discharge it through a resistor, and only then take the clips off.'

/** Leakage through a meter on volts in series with the test supply: the meter's own resistance measures it. */
function seriesMeter(test_V: number, least_ohm: number): Pick<ColdCheck, 'method' | 'meter' | 'volts'> {
  const most_V = (test_V * usual_ohm) / (least_ohm + usual_ohm)
  const tester = `Insulation tester at ${formatShort(test_V, 'V')}`
  const takes = `A leak at the limit takes ${formatShort(leak_A(test_V, least_ohm), 'A')} from the tester.`
  if (test_V > leads_V)
    return {
      method: `${tester}, and nothing else: bench leads and meters are not made for these volts. ${takes} ${handsAway}`,
      meter: `insulation tester for ${formatShort(test_V, 'V')}, with its own leads`,
      volts: null,
    }
  return {
    method: `${tester}; or ${formatShort(test_V, 'V')} from the bench supply, its limit at 1 mA, through a meter on DC volts in series: one of ${formatShort(usual_ohm, 'Ω')} may show ${formatShort(most_V, 'V')} at most. ${takes} ${handsAway} Type ohms; or those volts with the meter's own resistance, which is what measures, as "${formatShort(most_V / 2, 'V')} at ${formatShort(usual_ohm, 'Ω')}".`,
    meter:
      "insulation tester, or a voltmeter in series whose own resistance you know (most digital ones 10 MΩ; a needle's: its ohms per volt times the volts of its range)",
    volts: { by: 'series meter', test_V },
  }
}

const testCautions = (test_V: number): readonly string[] => [
  ...insulationCautions,
  `Meter, leads and clips are rated for ${formatShort(test_V, 'V')} or more: over a short all of it stands across them. No limit and no interlock of slowglow's is behind this test.`,
]

/** From the mains pins to the chassis. */
export const mainsInsulation = 'mains insulation'

export function insulationChecks(equipment: Equipment): ColdCheck[] {
  const checks: ColdCheck[] = []
  if (equipment.chassis === 'live')
    checks.push(
      reading('Ω', {
        item: 'live chassis isolation',
        group: 'insulation',
        what: `from the chassis, the set plugged into ${equipment.isolating_transformer ?? 'its isolating transformer'} and that transformer unplugged from the mains, to mains earth, and to each pin of that transformer's mains plug`,
        low: 1e6,
        because:
          'this chassis is joined to a mains pin of the set: only that transformer parts it, and you, from the mains',
        source: leastInsulation.source,
        ...seriesMeter(mainsTest_V, 1e6),
        cautions: testCautions(mainsTest_V),
        must: true,
        waivable: false,
      }),
    )
  else if (equipment.power !== 'battery')
    checks.push(
      reading('Ω', {
        item: mainsInsulation,
        group: 'insulation',
        what: 'both mains pins of the set joined, its mains switch on, to the chassis',
        low: 1e6,
        because:
          'a primary that leaks to the core or the chassis; suppressor capacitors to chassis are lifted first, and replaced by ones made for it',
        source: `${leastInsulation.source}; test volts ${leastInsulation.tested}`,
        ...seriesMeter(mainsTest_V, 1e6),
        cautions: testCautions(mainsTest_V),
      }),
    )
  for (const [name, rail] of Object.entries(equipment.rails)) {
    if (rail.role !== 'HT' && rail.role !== 'screen') continue
    const least = Math.max(1e6, 1000 * rail.working_V)
    checks.push(
      reading('Ω', {
        item: `${name} insulation`,
        group: 'insulation',
        what: `${rail.positive} to ${rail.negative}, with everything lifted that goes across: electrolytics, bleeders, dividers, gas tubes, and the tubes out`,
        low: least,
        because: `wiring, sockets, transformers and chokes alone; worth its trouble after damp, and where ${name} forward is low and nothing says why`,
        source: leastInsulation.source,
        ...seriesMeter(rail.working_V, least),
        cautions: [
          ...testCautions(rail.working_V),
          'Nothing that is rated for less than the test volts may stay joined: paper capacitors are tested at their rated volts or 500 V, whichever is lower.',
        ],
        rails: [name],
      }),
    )
  }
  return checks
}

/** Grid shift that a leak may cause before the check is out of range, and before it is told. */
const shift_V = 0.5
const told_V = 0.1
/** An output tube's slope, for what the shift costs (published second-hand). */
const slope_S = 0.006
/** The lower of a capacitor's rating and this (MIL-PRF-11693 4.7.5). */
const paperTest_V = 500

/** Capacitors from a plate to a grid: a leak pulls that grid positive and drives its tube hard on. */
export function couplingChecks(equipment: Equipment, ohms: ColdOhms): ColdCheck[] {
  const grids = new Map<NodeName, string>()
  for (const [name, { sections }] of Object.entries(equipment.tubes))
    for (const { grid, cathode } of sections)
      if (grid !== undefined && grid !== cathode) grids.set(grid, name)
  const highest_V = Math.max(
    0,
    ...Object.values(equipment.rails).flatMap(({ role, working_V }) => (role === 'HT' ? [working_V] : [])),
  )
  return Object.entries(equipment.parts).flatMap(([name, part]) => {
    if (part.kind !== 'capacitor' || part.between.includes(equipment.chassis_node) || highest_V === 0)
      return []
    const grid = part.between.find((node) => grids.has(node))
    const Rg = grid === undefined ? null : ohms.between(grid, equipment.chassis_node)
    if (grid === undefined || Rg === null) return []
    const leastFor = (shift: number): number => leakFor_ohm(highest_V, Rg.high, shift)
    const at = leastFor(shift_V)
    const shift = gridShift_V(highest_V, Rg.high, at)
    const test_V = Math.min(part.rated_V, paperTest_V)
    return [
      reading('Ω', {
        item: `${name} leak`,
        group: 'coupling capacitors',
        what: `leakage of ${name} (${part.between.join(' to ')}), its end at ${grid} lifted`,
        low: at,
        near_low: leastFor(told_V),
        because: `with up to ${formatShort(highest_V, 'V')} before it and ${formatShort(Rg.usual, 'Ω')} at the grid of ${grids.get(grid) ?? ''}, ${formatShort(at, 'Ω')} shifts that grid by ${formatShort(shift, 'V')}; a tube of 6 mA/V then draws ${formatShort(riseOf_A(shift, slope_S), 'A')} more, and a grid that goes positive may burn its transformer`,
        source: `computed: shift = V·Rg/(Rleak + Rg) (published, second-hand); that ${formatShort(shift_V, 'V')} is the limit and ${formatShort(told_V, 'V')} is told: ${ours}. Test volts: its rating or 500 V, the lower (MIL-PRF-11693 4.7.5)`,
        ...seriesMeter(test_V, at),
        shifts: { V: highest_V, grid_ohm: Rg.high },
        cautions: [
          ...testCautions(test_V),
          'An ordinary ohmmeter says nothing of a paper capacitor: it leaks at its volts, not at half a volt.',
        ],
        parts: [name],
      }),
    ]
  })
}

/** What a leaking capacitor may take of what feeds its node before it is out of range, and before it is told (our choice). */
const share = { most: 0.05, told: 0.01 } as const
/** Below this a capacitor has failed whatever stands around it. */
const leastPaper_ohm = 1e6

/** How old ones fail. */
const paperFails = {
  because: 'Old paper fails by leaking, 100 kΩ and up, then warms and shorts',
  source: 'the way it fails: published, second-hand',
  new: '; new ones had some 1000 MΩ·µF (from memory)',
  caution:
    'An ordinary ohmmeter says nothing of a paper capacitor: it leaks at its volts, not at half a volt.',
} as const
const othersFail = {
  because:
    'Mica, ceramic and film seldom leak; silver that has wandered, damp and a cracked case break down at volts, and a lead that has come off decouples nothing: measure its capacitance too',
  source: `the way they fail: ${practice}`,
  new: '',
  caution:
    'An ordinary ohmmeter says little of it: what has wandered breaks down at its volts, not at half a volt.',
} as const

/** All others but electrolytics: a leak pulls their node down, or takes the bias and warms until it shorts. */
export function leakChecks(
  equipment: Equipment,
  ohms: ColdOhms,
  coupling: readonly ColdCheck[],
): ColdCheck[] {
  const done = new Set(coupling.flatMap(({ parts }) => parts))
  return Object.entries(equipment.parts).flatMap(([name, part]) => {
    if (part.kind !== 'capacitor' || part.dielectric === 'electrolytic' || done.has(name)) return []
    const fails = part.dielectric === 'paper' ? paperFails : othersFail
    const [a, b] = part.between
    const beside = ohms.between(a, b)
    const least = (of: number): number => Math.max(leastPaper_ohm, (beside?.high ?? 0) / of)
    const at = least(share.most)
    const test_V = Math.min(part.rated_V, paperTest_V)
    const around =
      beside === null
        ? 'nothing else joins its two nodes'
        : `${formatShort(beside.usual, 'Ω')} of the circuit joins its two nodes, and ${formatShort(at, 'Ω')} beside that moves their volts by up to ${formatShort(share.most, 'ratio')}`
    return [
      reading('Ω', {
        item: `${name} leak`,
        group: 'insulation',
        what: `leakage of ${name} (${part.between.join(' to ')}), one end lifted`,
        low: at,
        near_low: least(share.told),
        because: `${around}. ${fails.because}`,
        source: `${fails.source}; ${formatShort(share.most, 'ratio')}, and ${formatShort(leastPaper_ohm, 'Ω')} whatever stands around it: ${ours}${fails.new}. Test volts: its rating or 500 V, the lower (MIL-PRF-11693 4.7.5)`,
        ...seriesMeter(test_V, at),
        cautions: [...testCautions(test_V), fails.caution],
        parts: [name],
      }),
    ]
  })
}

/** Bench earth to the chassis, and the chassis to where each supply's chassis lead is clipped. */
export function bondChecks(equipment: Equipment): ColdCheck[] {
  const A = 1
  const by = (most_ohm: number): Pick<ColdCheck, 'method' | 'meter' | 'volts'> => ({
    method: `1 A from the bench supply (lowest volts, limit at 1 A) through the bond; read millivolts right at its two ends, not at the clips: ${formatShort(most_ohm * A, 'V')} at most. Off at once after reading. Type ohms, or the volts.`,
    meter: 'supply with a current limit and a millivoltmeter: an ohmmeter shows its own leads there',
    volts: { by: 'current', A },
  })
  const earth =
    equipment.chassis === 'live'
      ? []
      : [
          reading('Ω', {
            item: 'chassis bond',
            group: 'bonds',
            what: "from the bench's protective earth to bare metal of the chassis, through the conductor that will stay joined",
            low: 0,
            high: 0.1,
            because:
              'with a fault to the chassis this conductor alone keeps it at earth and lets fuse or supply end it; all chassis of the set must be joined to it',
            source: `0.1 Ω: ${practice}`,
            ...by(0.1),
            must: true,
          }),
        ]
  const clips = new Map<string, string[]>()
  for (const [name, { positive, negative, feeds }] of Object.entries(equipment.rails)) {
    const at =
      negative === equipment.chassis_node
        ? feeds.negative_at
        : positive === equipment.chassis_node
          ? feeds.positive_at
          : null
    if (at !== null) clips.set(at, [...(clips.get(at) ?? []), name])
  }
  return [
    ...earth,
    ...[...clips].map(([at, rails]) =>
      reading('Ω', {
        item: `bond ${rails.join(' and ')}`,
        group: 'bonds',
        what: `from ${at}, where the chassis lead of ${rails.join(' and ')} is clipped, to bare metal of each other chassis of the set`,
        low: 0,
        high: 0.05,
        because:
          'a bond that was never made, or rust under it, carries the heater current and is found as hum, or as the chassis of a unit standing at volts',
        source: `50 mΩ: ${practice}`,
        ...by(0.05),
        rails,
      }),
    ),
  ]
}
