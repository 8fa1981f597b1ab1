import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { readFileSync } from 'node:fs'
import { type Equipment, readEquipment } from '../../src/equipment/index.js'
import {
  asRead_V,
  chartCurrents,
  coldReadings,
  createLimits,
  linesIn,
  networkOhms,
  networkReadings,
  railOhm,
} from '../../src/limits/index.js'
import { makePlan } from '../../src/plan/index.js'
import { check } from '../../src/cli/commands/check.js'
import { planPage } from '../../src/cli/plan-text.js'
import { demo, planned } from '../helpers/small-set.js'
import { rehearse } from '../helpers/replayed.js'

const charted = demo('small-receiver/receive-charts')
const circuit = demo('small-receiver/receive-network')
const text = readFileSync('profiles/small-receiver/equipment-charts.yaml', 'utf8')

function read(changes: readonly (readonly [string, string])[]): ReturnType<typeof readEquipment> {
  let changed = text
  for (const [from, to] of changes) {
    expect(changed).toContain(from)
    changed = changed.replaceAll(from, to)
  }
  return readEquipment(parse(changed), () => ({ file: 'set.yaml', line: 1, column: 1 }))
}
function sound(...changes: readonly (readonly [string, string])[]): Equipment {
  const { value, problems } = read(changes)
  if (value === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return value
}
const said = (...changes: readonly (readonly [string, string])[]): string =>
  read(changes)
    .problems.map(({ what, remedy }) => `${what} → ${remedy}`)
    .join('\n')
const at = (equipment: Equipment, volts: number) =>
  createLimits(equipment, charted.bench).at('receive', { HT: volts }, null, {}, 'hot')

describe('a handbook’s charts in a set’s file', () => {
  it('make it a level-2 file, with the meter and the range of each reading known', () => {
    expect(charted.equipment.level).toBe(2)
    const plate = linesIn(charted.equipment, 'receive').find(({ node }) => node === 'V3 plate')
    expect(plate?.meter_ohm).toBe(250e3)
    expect(plate?.meter).toBe('a 1000 Ω/V meter on 250 V')
    expect(plate?.of).toEqual({ tube: 'V3', electrode: 'plate', section: 0 })
  })

  it('are refused where no meter or no source is named: without them the volts say nothing', () => {
    expect(said(['  ohms_per_volt: 1000 Ω\n', ''])).toMatch(/does not say what meter.*ohms_per_volt: 1000 Ω/)
    expect(said(['  source: "invented handbook of the small receiver, voltage chart"\n', ''])).toMatch(
      /no source.*once for all/,
    )
    expect(said(['volts: 250 V', 'volts: 700 V'])).toMatch(/more than any range of its meter/)
  })

  it('name an unknown mode, a resistor to nowhere and a reading taken at another position of a control', () => {
    expect(said(['node: V1 plate, mode: receive', 'node: V1 plate, mode: recieve'])).toMatch(
      /no mode 'recieve'.*'receive'/,
    )
    expect(said(['to: B plus', 'to: B minus'])).toMatch(/does not say what stands at B minus/)
    const other = [
      'node: V1 cathode, mode: receive',
      'node: V1 cathode, mode: receive, controls: { volume: zero }',
    ]
    expect(said(other as [string, string])).toMatch(/volume at zero, and mode receive sets it to half way/)
  })
})

describe('what charts tell of currents', () => {
  it('a cathode’s volts over its resistor are its tube’s current, the chart’s meter beside the resistor counted', () => {
    const currents = chartCurrents(charted.equipment, 'HT', 'receive')
    const share = (part: string) => currents?.shares.find((each) => each.part === part)
    // 12 V over 270 Ω and over 50 kΩ of meter.
    expect(share('V4')?.A).toBeCloseTo(12 / 270 + 12 / 50e3, 9)
    // V2's resistor stands in the resistance chart only.
    expect(share('V2')?.A).toBeCloseTo(3 / 270 + 3 / 10e3, 9)
    expect(share('B plus')?.by).toBe('resistor')
    expect(currents?.lacks).toEqual([])
  })

  it('their sum is expected at the chart’s rail volts and is within 5 % of the set’s own circuit', () => {
    const HT = at(charted.equipment, 250).limits['HT']
    const truth = at(circuit.equipment, 250).limits['HT']
    expect(Math.abs((HT?.expected_A ?? 0) / (truth?.expected_A ?? 1) - 1)).toBeLessThan(0.05)
    expect(HT?.because[0]?.text).toMatch(
      /handbook chart of receive with HT at 250 V: V4 44.7 mA \(12 V at its cathode/,
    )
    expect(HT?.because[0]?.source).toMatch(/invented handbook/)
  })

  it('give a narrower band than the total alone, and one that holds the healthy set at every step', () => {
    const total = demo('small-receiver/receive').equipment
    for (const V of [50, 100, 150, 200, 250]) {
      const chart = at(charted.equipment, V).limits['HT']!
      const truth = at(circuit.equipment, V).limits['HT']!
      const level1 = at(total, V).limits['HT']!
      expect(truth.expected_A).toBeGreaterThan(chart.ask_A)
      expect(truth.upper_A).toBeLessThan(chart.trip_A)
      expect(chart.upper_A - chart.lower_A).toBeLessThan(level1.upper_A - level1.lower_A)
    }
  })

  it('make a tube’s own rating a ceiling of the rail, all else at its least, and name tubes too small for that', () => {
    const point = at(charted.equipment, 250)
    const ceiling = point.limits['HT']?.because.find(({ limit }) => limit === 'ceiling')
    expect(ceiling?.text).toMatch(
      /V4's 12 W plate rating \(design-centre, ×1.2\).*all else on HT draws at least/,
    )
    expect(point.unguarded).toContain('V3')
  })

  it('between a bare rating and its factor the tube is watched, and its cathode read where the chart has it', () => {
    const point = at(charted.equipment, 250)
    const [watch, ...more] = point.limits['HT']?.ratings ?? []
    expect(more).toEqual([])
    // 44.7 mA where 12 W and 2 W allow 56 at some 238 V: on, and over its rating from some 100 mA of the rail.
    expect(watch).toMatchObject({
      part: 'V4',
      what: 'V4 (6V6GT) plate dissipation',
      rating: '12 W plate rating, design-centre × 1.2',
      cathode: { node: 'V4 cathode' },
    })
    expect(watch?.of_rating).toBeLessThan(1)
    expect(watch?.at_A).toBeLessThan(point.limits['HT']?.trip_A ?? 0)
    expect((watch?.cathode?.rated_V ?? 0) / (watch?.cathode?.V ?? 1)).toBeCloseTo(
      1 / (watch?.of_rating ?? 1),
      6,
    )
    expect((watch?.cathode?.most_V ?? 0) / (watch?.cathode?.rated_V ?? 1)).toBeCloseTo(1.2, 6)
    const hot = sound(['volts: 12 V, through: { ohm: 270R } }', 'volts: 20 V, through: { ohm: 270R } }'])
    expect(
      at(hot, 250)
        .problems.map(({ what }) => what)
        .join(),
    ).toMatch(/V4 \(6V6GT\) plate dissipation is over its rating by the chart: 109 % of 12 W/)
  })

  it('say which tube no chart tells, and what to add', () => {
    const set = sound(
      ['volts: 2.5 V, through: { ohm: 220R } }', 'volts: 2.5 V }'],
      ['    - { node: V1 cathode, ohm: 220R }\n', ''],
    )
    const currents = chartCurrents(set, 'HT', 'receive')
    expect(currents?.lacks[0]?.lacks).toMatch(/no chart gives the current of V1/)
    expect(currents?.lacks[0]?.add).toMatch(/V1 cathode with the resistor under it/)
  })

  it('give way to a stated total where they do not tell every tube', () => {
    const set = sound(
      ['volts: 12 V, through: { ohm: 270R } }', 'volts: 12 V }'],
      ['    - { node: V4 cathode, ohm: 270R }\n', ''],
    )
    expect(at(set, 250).limits['HT']?.because[0]?.text).toMatch(/handbook total of 75 mA/)
  })
})

describe('what charts tell of nodes', () => {
  it('each step’s node volts are as the bench’s own meter reads them: more than the chart’s where that one loaded the node', () => {
    const { nodes } = at(charted.equipment, 250)
    const open =
      networkReadings(circuit.equipment, 'receive').find(({ line }) => line.node === 'V3 plate')?.open_V ?? 0
    expect(linesIn(charted.equipment, 'receive').find(({ node }) => node === 'V3 plate')?.volts).toBe(92)
    expect(Math.abs((nodes['V3 plate'] ?? 0) / open - 1)).toBeLessThan(0.08)
    expect(nodes['HT line']).toBe(250)
    expect(at(charted.equipment, 125).nodes['HT line']).toBe(125)
    expect(at(charted.equipment, 125).nodes['V4 cathode']).toBeLessThan(6)
  })

  it('the chart’s own meter reads what the chart says', () => {
    for (const line of linesIn(charted.equipment, 'receive'))
      expect(asRead_V(charted.equipment, line, { name: 'the same', ohm: line.meter_ohm })).toBeCloseTo(
        line.volts,
        9,
      )
  })

  it('where chart and circuit disagree both are told, the chart’s meter solved as part of the circuit', () => {
    const readings = networkReadings(circuit.equipment, 'receive')
    expect(readings.filter(({ agrees }) => !agrees).map(({ line }) => line.node)).toEqual(['V2 screen'])
    const V3 = readings.find(({ line }) => line.node === 'V3 plate')
    // A 250 kΩ meter at a 220 kΩ load: the circuit without it would seem to contradict the chart.
    expect(V3?.open_V ?? 0).toBeGreaterThan(1.4 * (V3?.metered_V ?? 0))
    expect(Math.abs(V3?.apart ?? 1)).toBeLessThan(0.1)
  })
})

describe('a resistance chart', () => {
  it('gives what an ohmmeter should read, and the window of a rail’s own check', () => {
    const cold = coldReadings(charted.equipment, 'receive')
    expect(cold.find(({ node }) => node === 'V4 cathode')).toMatchObject({ ohm: 270, low_ohm: 216 })
    expect(railOhm(charted.equipment, 'HT', 'receive')?.ohm).toBe(45e3)
  })

  it('agrees with the circuit of the same set, cold', () => {
    const ohms = networkOhms(circuit.equipment, 'receive')
    coldReadings(circuit.equipment, 'receive').forEach(({ node, low_ohm, high_ohm }, i) => {
      expect(ohms[i], node).toBeGreaterThan(low_ohm)
      expect(ohms[i], node).toBeLessThan(high_ohm)
    })
  })
})

describe('the plan of a set with charts', () => {
  const charts = planned(charted)
  const network = planned(circuit)

  it('says what it can judge beyond level 1, and what stays unproved', () => {
    expect(charts.level).toBe(2)
    expect(charts.charts?.judges.join('\n')).toMatch(/HT in receive by what each tube draws: V1 11.6 mA/)
    expect(charts.charts?.judges.join('\n')).toMatch(/Volts at 13 nodes/)
    expect(charts.unproved.join('\n')).toMatch(/no circuit/)
    expect(charts.lacks ?? []).toEqual([])
    expect(planned(demo('small-receiver/receive')).charts).toBeUndefined()
  })

  it('has node volts in every step that raises HT, scaled to its volts', () => {
    const steps = charts.steps.filter(({ do: does, rail }) => does === 'raise' && rail === 'HT')
    expect(steps.length).toBeGreaterThan(2)
    for (const { nodes, target_V } of steps) expect(nodes['HT line']).toBe(target_V)
  })

  it('shows chart and circuit side by side where they disagree, with the meter named, and warns', () => {
    const off = network.charts?.nodes.filter(({ agrees }) => agrees === false)
    expect(off?.map(({ text: words }) => words)).toEqual([
      'chart says 80 V at V2 screen with a 1000 Ω/V meter on 250 V; the circuit with that meter gives 102 V: 27 % apart',
    ])
    const { problems } = makePlan(circuit.profile, circuit.equipment, circuit.bench)
    expect(problems.map(({ what }) => what).join('\n')).toMatch(/disagree at 1 of 13 nodes.*V2 screen/)
    const page = planPage(network)
    expect(page).toMatch(/V2 screen +80 V +1000 Ω\/V meter on 250 V +109 V +102 V +27 % DISAGREE/)
    expect(planPage(charts)).toMatch(/V4 cathode to chassis +270 Ω +216 Ω to 352 Ω/)
  })

  it('passes check with that one disagreement told', () => {
    const told: string[] = []
    const io = {
      out: (line: string) => told.push(line),
      err: () => undefined,
      isTerminal: false,
      colour: false,
    }
    const files = ['profiles/small-receiver/receive-network.yaml']
    expect(check(files, false, { ...io, cwd: process.cwd(), env: {} })).toBe(0)
    expect(told.join('\n')).toMatch(/V2 screen[^]*3 files checked: nothing wrong, 1 warning\.$/)
  })

  it('a shorted capacitor tried at one step is whole again at the next', () => {
    const last = network.steps.findLast(({ do: does, rail }) => does === 'raise' && rail === 'HT')
    expect(last?.nodes['V4 cathode']).toBeCloseTo(at(circuit.equipment, 250).nodes['V4 cathode'] ?? 0, 3)
  })

  it('tells a total that contradicts the chart, both figures and how far they are apart', () => {
    const set = sound(['current: 75 mA', 'current: 40 mA'])
    const { problems } = makePlan(charted.profile, set, charted.bench)
    expect(problems.map(({ what }) => what).join('\n')).toMatch(
      /add up to 73.2 mA at 250 V.*40 mA at 250 V: 83 % apart/,
    )
  })

  it('names at level 1 what its limits lack and what to add to get it', () => {
    const page = planPage(planned(demo('small-receiver/receive')))
    expect(page).toMatch(/WHAT THESE LIMITS LACK\n- HT: node volts.*To get it, add charts: voltages/)
  })

  it('proves the rail by what the resistance chart reads across it, beside the bench’s own bleeder', () => {
    const test = charts.steps.find(({ hookup }) => hookup?.rail === 'HT')?.hookup
    // 45 kΩ beside 22 kΩ.
    expect(test?.usual_ohm).toBeCloseTo(14776, 0)
    expect(test?.because).toMatch(/45 kΩ by the handbook's resistance chart, beside 22 kΩ of bleeder/)
  })

  it('rehearses whole on a virtual bench with the set’s circuit behind it', () => {
    const entries: unknown[] = []
    const { ending } = rehearse(charts, circuit.equipment, charted.bench, {
      seed: 5,
      faults: [],
      record: (entry) => entries.push(entry),
    })
    expect(ending.outcome).toBe('completed')
    expect(ending.warnings).toEqual([])
  })
})
