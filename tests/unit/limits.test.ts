import { describe, expect, it } from 'vitest'
import {
  benchRails,
  channelsOf,
  createLimits,
  fitLogNormal,
  floor_A,
  heaterPoint,
  heaterWindow_ohm,
  logNormalPoint,
  quantile,
  ratingFactor,
  softStart_s,
} from '../../src/limits/index.js'
import { type Equipment, toNetwork } from '../../src/equipment/index.js'
import { createTransient, solve } from '../../src/network/index.js'
import { demo, planned, withChannel, withRail } from '../helpers/small-set.js'

const receive = demo('tern-rock/receive')
const transmit = demo('tern-rock/transmit')
const small = demo('small-receiver/receive')
const desk = createLimits(receive.equipment, receive.bench)
const standing = { heaters: 12.6, bias: 60, HT: 250 }
const at250 = desk.at('receive', standing, { rail: 'HT', slew_V_per_s: 2 }, {}, 'hot')
const HT = at250.limits['HT']!

it('cold tubes at level 1 expect bleeder and leakage alone, not the handbook’s total', () => {
  const of = (tubes: 'hot' | 'cold') =>
    createLimits(small.equipment, small.bench).at('receive', { HT: 250 }, null, {}, tubes).limits['HT']!
  expect(of('cold').trip_A).toBeLessThan(0.3 * of('hot').trip_A)
  expect(of('cold').because.find((reason) => reason.limit === 'expected')?.text).toMatch(
    /tubes cold or pulled/,
  )
})

describe('limits of a rail', () => {
  it('leave at least 2 mA, three read-back steps and 3 % of expected as room', () => {
    expect(floor_A(0.01, 1e-4)).toBe(0.002)
    expect(floor_A(0.01, 1e-3)).toBe(0.003)
    expect(floor_A(0.5, 1e-4)).toBeCloseTo(0.015, 12)
  })

  it('say in words what is expected, from what, and which tubes make most of it', () => {
    const expected = HT.because.find((reason) => reason.limit === 'expected')
    expect(expected?.text).toMatch(/solved at 250 V in receive.*V8/)
    expect(HT.because.find((reason) => reason.limit === 'trip')?.text).toMatch(
      /^trip \d+ mA: 999 of 1000 healthy sets/,
    )
  })

  it('name the smallest loss of one tube that shows for certain, and those that may hide', () => {
    expect(HT.sees).toMatch(/for certain is V8/)
    expect(HT.sees).toMatch(/may hide: .*V7/)
  })

  it('allow on top what charging takes at the slew, and only while the rail is raised', () => {
    // Supply's own 47 µF, two sections of 16 µF on the HT line, one behind 10 kΩ, and small ones.
    expect(HT.charge_A / 2).toBeGreaterThan(90e-6)
    expect(HT.charge_A / 2).toBeLessThan(105e-6)
    expect(desk.at('receive', standing, null, {}, 'hot').limits['HT']?.charge_A).toBe(0)
  })

  it('allow what the whole network takes in time at that slew, and not twice as much', () => {
    const volts = (HT: number) => ({ bias: feed(60), HT: feed(HT) })
    const feed = (V: number) => ({ V, limit_A: 100, ohm: 0.1 })
    const at = (HT: number) =>
      toNetwork(receive.equipment, 'receive', volts(HT), { heaters: false, lit: () => false })
    const supply = at(100).elements.find(({ name, kind }) => kind === 'supply' && name === 'HT')!
    const begin = solve(at(100))
    const transient = createTransient(at(100), begin.volts, begin.currents)
    const rail = desk.at('receive', { ...standing, HT: 120 }, { rail: 'HT', slew_V_per_s: 2 }, {}, 'hot')
    // The supply's own capacitor sits inside its terminals.
    const charge_A = rail.limits['HT']!.charge_A - 2 * 47e-6
    for (let V = 100.04, most = 0; V < 120; V += 0.04) {
      transient.goOn(0.02, [{ ...supply, V } as never])
      const taken_A = -(transient.currents('HT').a ?? NaN)
      if (Math.abs(V - Math.round(V / 4) * 4) > 0.02) continue
      const more_A = taken_A + (solve(at(V)).currents['HT']?.a ?? NaN)
      most = Math.max(most, more_A)
      expect(more_A, `${V} V`).toBeLessThan(1.1 * charge_A)
      if (V > 119) expect(most).toBeGreaterThan(0.5 * charge_A)
    }
  })

  it('obey a ceiling of the profile, and a trip stated by hand with its reason in the record', () => {
    const capped = desk.at('receive', standing, null, { HT: 0.105 }, 'hot').limits['HT']
    expect(capped?.ceiling_A).toBe(0.105)
    expect(capped?.trip_A).toBe(0.105)
    const manual = { trip_A: 0.108, reason: 'the choke ran hot last year' }
    const byHand = createLimits(withRail(receive.equipment, 'HT', { manual }), receive.bench)
    const limits = byHand.at('receive', standing, null, {}, 'hot').limits['HT']
    expect(limits?.trip_A).toBe(0.108)
    expect(limits?.because.find((reason) => reason.limit === 'trip')).toMatchObject({
      text: expect.stringContaining('the choke ran hot last year') as string,
      source: 'stated by hand in the set file',
    })
  })

  it('put the supply limit just above the trip for HT and just below it for heaters', () => {
    expect(HT.supply_limit_A).toBeGreaterThan(HT.trip_A)
    expect(HT.supply_limit_A).toBeLessThan(1.1 * HT.trip_A)
    const heaters = at250.limits['heaters']!
    expect(heaters.supply_limit_A).toBeLessThanOrEqual(heaters.trip_A)
    expect(heaters.supply_limit_A).toBeGreaterThanOrEqual(heaters.upper_A)
  })

  it('are the same for the same seed and nearly the same for another', () => {
    const again = createLimits(receive.equipment, receive.bench)
    expect(again.at('receive', standing, { rail: 'HT', slew_V_per_s: 2 }, {}, 'hot')).toEqual(at250)
    const other = createLimits(receive.equipment, receive.bench, 77).at('receive', standing, null, {}, 'hot')
    expect(Math.abs((other.limits['HT']?.trip_A ?? 0) / HT.trip_A - 1)).toBeLessThan(0.06)
  })

  it('hold nothing but what the rail says at level 1, with the bands that go with it', () => {
    const level1 = createLimits(small.equipment, small.bench)
    const limits = level1.at('receive', { heaters: 6.3, HT: 250 }, null, {}, 'hot').limits['HT']!
    // Handbook total of 75 mA and 250 V across the bench's 22 kΩ.
    expect(limits.expected_A).toBeCloseTo(0.075 + 250 / 22_000, 6)
    expect(limits.lower_A).toBeCloseTo(0.5 * 0.075 + 0.95 * (250 / 22_000), 9)
    // One and a half times the total, but nothing beyond what the ratings of its tubes allow.
    expect(limits.upper_A).toBeGreaterThan(1.3 * limits.expected_A)
    expect(limits.upper_A).toBeLessThanOrEqual(limits.ceiling_A)
    const half = level1.at('receive', { HT: 125 }, null, {}, 'hot').limits['HT']!
    expect(half.expected_A).toBeCloseTo(0.075 * Math.exp(1.4 * Math.log(0.5)) + 125 / 22_000, 6)
    // Between the 3/2 law and a resistor; the bleeder obeys Ohm's law alone.
    expect(half.lower_A).toBeCloseTo(0.5 * 0.075 * Math.sqrt(0.125) + 0.95 * (125 / 22_000), 9)
    expect(half.upper_A).toBeCloseTo(1.5 * 0.075 * 0.5 + 1.05 * (125 / 22_000), 9)
  })

  it('trace the ceiling of a rail known by its tubes to their ratings, systems and factors', () => {
    const ceiling = createLimits(small.equipment, small.bench)
      .at('receive', { HT: 250 }, null, {}, 'hot')
      .limits['HT']!.because.find(({ limit }) => limit === 'ceiling')
    expect(ceiling?.text).toMatch(
      /at the most its ratings allow: V4 \(6V6GT\) 67\.2 mA by 12 W of plate and 2 W of screen, design-centre × 1\.2; .*; 1 more [\d.]+ mA; bleeder 11\.4 mA; unverified, check your manual$/,
    )
    expect(ceiling).toMatchObject({
      unverified: true,
      source: expect.stringMatching(/design-centre/) as string,
    })
  })

  it('fall back to the sum of types where the handbook gives no total, marked as such', () => {
    const equipment = withRail(small.equipment, 'HT', { totals: {} })
    const limits = createLimits(equipment, small.bench).at('receive', { HT: 250 }, null, {}, 'hot').limits[
      'HT'
    ]!
    expect(limits.because[0]?.text).toMatch(/sum of types.*V1, V2, V3, V4/)
    const bleeder_A = 250 / 22_000
    expect(limits.lower_A).toBeCloseTo(0.3 * (limits.expected_A - bleeder_A) + 0.95 * bleeder_A, 9)
    // A 6V6GT alone draws 45 + 4.5 mA at 250 V (published class A1).
    expect(limits.expected_A).toBeGreaterThan(0.0495 + 250 / 22_000)
  })

  // Currents from memory: RCA Receiving Tube Manual; Philips sheets.
  it.each([
    ['6K8', 2.5 + 6 + 3.8],
    ['6A8', 3.5 + 2.7 + 4],
    ['ECH81', 3.25 + 6.7 + 4.5],
    ['ECL82', 35 + 7 + 3.5],
    ['12AX7', 2 * 1.2],
  ])('sum the systems of a %s, a frequency changer’s as it oscillates', (type, mA) => {
    const equipment = withRail(small.equipment, 'HT', { totals: {} })
    const bleeder_A = 250 / 22_000
    const tubes = { V1: { ...equipment.tubes['V1']!, type } }
    const { lower_A, expected_A } = createLimits({ ...equipment, tubes }, small.bench).at(
      'receive',
      { HT: 250 },
      null,
      {},
      'hot',
    ).limits['HT']!
    expect(expected_A - bleeder_A).toBeCloseTo(mA / 1000, 6)
    expect(lower_A - 0.95 * bleeder_A).toBeCloseTo((0.3 * mA) / 1000, 6)
  })
})

describe('ceilings', () => {
  it('allow 1.2 × a design-centre rating, 1.1 × a design-maximum one, and nothing above others', () => {
    expect(ratingFactor).toEqual({ 'design-centre': 1.2, 'design-maximum': 1.1, absolute: 1, unknown: 1 })
  })

  it('let a healthy output stage run at its rating: no error and no trip below its own spread', () => {
    const errors = at250.problems.filter(({ severity }) => severity === 'error')
    expect(errors).toEqual([])
    expect(HT.trip_A).toBeGreaterThan(HT.upper_A)
  })

  it('refuse a capacitor whose rating the solved circuit passes, and say which', () => {
    const C1b = { ...receive.equipment.parts['C1b']!, rated_V: 200 }
    const parts = { ...receive.equipment.parts, C1b } as typeof receive.equipment.parts
    const point = createLimits({ ...receive.equipment, parts }, receive.bench).at(
      'receive',
      standing,
      null,
      {},
      'hot',
    )
    expect(
      point.problems.some(({ severity, what }) => severity === 'error' && /C1b voltage/.test(what)),
    ).toBe(true)
  })

  it('name parts that the rail current cannot guard in place of pretending to guard them', () => {
    const guard = HT.because.find((reason) => reason.limit === 'ceiling')
    expect(guard?.text).toMatch(/^ceiling 1\d\d mA: /)
    for (const part of at250.unguarded) expect(guard?.text).not.toContain(`${part} `)
  })
})

describe('heaters', () => {
  it('share the current of a series pair and the volts as their resistances', () => {
    const point = heaterPoint(transmit.equipment, 'heaters', 12.6, 0)
    const F = point.chains.find((chain) => chain.chain === 'F')
    // 807 (0.9 A) in series with two 6V6GT (0.45 A each) in parallel: 6.3 V each.
    expect(F?.amps).toBeCloseTo(0.9, 2)
    for (const element of F?.elements ?? []) expect(element.volts).toBeCloseTo(6.3, 1)
    expect(point.missing).toEqual([])
  })

  it('lose volts in thin leads: some 6 % of 6.3 V with 4 m of 1.5 mm² at 8 A', () => {
    const amps = 8
    // 2 × 4 m / 2 lengths: physics of the bench, 0.046 Ω both ways for 0.37 V at 8 A.
    const equipment = {
      ...small.equipment,
      parts: { ...small.equipment.parts, H: { kind: 'lamp' as const, volts: 6.3, amps } },
      heater_chains: { all: { rail: 'heaters', series: [['H']], lead_ohm: 0 } },
    }
    const point = heaterPoint(equipment, 'heaters', 6.3, 0.37 / amps)
    const volts = point.chains[0]?.elements[0]?.volts ?? 0
    expect((6.3 - volts) / 6.3).toBeGreaterThan(0.05)
    expect((6.3 - volts) / 6.3).toBeLessThan(0.06)
  })

  it('open a series chain when one of it is gone, and take one branch off a parallel one', () => {
    const whole = heaterPoint(receive.equipment, 'heaters', 12.6, 0).amps
    const without = (gone: string): number =>
      heaterPoint(receive.equipment, 'heaters', 12.6, 0, (part) => (part === gone ? 'open' : 1)).amps
    expect(whole - without('V13')).toBeCloseTo(0.9, 2)
    expect(whole - without('V8')).toBeGreaterThan(0.1)
    expect(whole - without('V8')).toBeLessThan(0.45)
  })

  it('read between stone cold and hot in the hook-up test', () => {
    const window = heaterWindow_ohm(small.equipment, 'heaters', 0)
    // 0.3 + 0.3 + 0.3 + 0.45 A at 6.3 V: 4.67 Ω hot, 7.2 times less when stone cold.
    expect(window?.high_ohm).toBeCloseTo(6.3 / 1.35, 2)
    expect((window?.high_ohm ?? 0) / (window?.low_ohm ?? 1)).toBeCloseTo(7.2, 2)
  })

  it('vary by a dropper’s own tolerance where the file states one', () => {
    const width = (tolerance: number): number => {
      const droppers = Object.entries(receive.equipment.parts).flatMap(([name, part]) =>
        part.kind === 'heater resistor' ? [[name, { ...part, tolerance }] as const] : [],
      )
      const parts: Equipment['parts'] = { ...receive.equipment.parts, ...Object.fromEntries(droppers) }
      const set = { ...receive.equipment, parts }
      const { upper_A, lower_A } = createLimits(set, receive.bench).at(
        'receive',
        { heaters: 12.6 },
        null,
        {},
        'hot',
      ).limits['heaters']!
      return upper_A - lower_A
    }
    expect(width(0.3)).toBeGreaterThan(1.1 * width(0.01))
  })

  it('may stay in current limit for twice the predicted warm-up', () => {
    const soft = softStart_s(12.6, 0.5)
    expect(soft.predicted_s).toBeCloseTo(31.6 + 25.2, 6)
    expect(soft.allowed_s).toBeCloseTo(2 * soft.predicted_s, 9)
  })

  it('are refused when a chain is open or a type is unknown, and warned of when badly fed', () => {
    const V1 = { ...receive.equipment.tubes['V1']!, pulled: true }
    const open = createLimits(
      { ...receive.equipment, tubes: { ...receive.equipment.tubes, V1 } },
      receive.bench,
    )
    const said = (problems: readonly { what: string }[]): string =>
      problems.map(({ what }) => what).join('\n')
    expect(said(open.at('receive', { heaters: 12.6 }, null, {}, 'hot').problems)).toMatch(
      /Heater chain A on heaters is open/,
    )
    expect(said(desk.at('receive', { heaters: 16 }, null, {}, 'hot').problems)).toMatch(
      /would get 7.96 V on its 6.3 V heater/,
    )
    expect(said(desk.at('receive', { heaters: 10 }, null, {}, 'hot').problems)).toMatch(
      /gets only 4.9\d V on its 6.3 V heater/,
    )
  })
})

describe('the bench as limits see it', () => {
  it('makes a rail programmed by a channel, watched by a meter on a line, else hand', () => {
    expect(benchRails(receive.equipment, receive.bench)['HT']?.class).toBe('programmed')
    expect(benchRails(small.equipment, small.bench)['heaters']?.class).toBe('hand')
    const meter = receive.bench.meters['grid return meter']!
    const bench = { ...small.bench, meters: { m: { ...meter, at: null, against: null, rail: 'heaters' } } }
    expect(benchRails(small.equipment, bench)['heaters']).toMatchObject({
      class: 'watched',
      volts_meter: 'm',
    })
    const hand = withRail(receive.equipment, 'HT', { class: 'hand' })
    expect(benchRails(hand, receive.bench)['HT']).toMatchObject({ class: 'hand', channels: [] })
  })

  it('adds stacked channels up in volts and takes the weaker in amps', () => {
    const one = receive.bench.supplies['high']!
    const two = { ...one, channels: { out: { ...one.channels['out']!, max_A: 0.2, bleeder_ohm: null } } }
    const bench = {
      ...receive.bench,
      supplies: { high: one, more: two, low: receive.bench.supplies['low']! },
      stacks: [{ rail: 'HT', channels: ['more.out', 'high.out'] }],
    }
    expect(channelsOf(bench, 'HT').map(({ name }) => name)).toEqual(['more.out', 'high.out'])
    // One output without a bleeder keeps its own charge: the stack has no discharge path.
    expect(benchRails(receive.equipment, bench)['HT']).toMatchObject({
      reach_V: 840,
      max_A: 0.2,
      bleeder_ohm: null,
    })
  })

  it('never sets a current limit below what the supply can be set to', () => {
    const bench = withChannel(receive.bench, 'high', 'out', { min_A: 0.02 })
    const limits = createLimits(receive.equipment, bench).at('receive', { HT: 30 }, null, {}, 'hot').limits[
      'HT'
    ]!
    expect(limits.supply_limit_A).toBeGreaterThanOrEqual(0.02)
  })
})

describe('spread', () => {
  it('gives back the shape of a log-normal and its points', () => {
    const samples = [0.1, 1, 10]
    const shape = fitLogNormal(samples)!
    expect(shape.mu).toBeCloseTo(0, 12)
    expect(shape.sigma).toBeCloseTo(Math.LN10, 12)
    expect(logNormalPoint(shape, '95 %')).toBeCloseTo(Math.exp(1.6449 * Math.LN10), 9)
    expect(fitLogNormal([0, 0])).toBeNull()
  })

  it('takes quantiles between samples', () => {
    expect(quantile([3, 1, 2], 0.5)).toBe(2)
    expect(quantile([0, 10], 0.05)).toBeCloseTo(0.5, 12)
    expect(quantile([], 0.5)).toBe(0)
  })
})

describe('the over-voltage level', () => {
  it('leaves the supply its room but never goes beyond what the rail may carry at most', () => {
    const parts = demo('tern-rock/receive')
    const level = (most_V: number): { V: number; text: string } => {
      const heaters = parts.equipment.rails['heaters']
      if (heaters === undefined) throw new Error('no heaters')
      const equipment = withRail(parts.equipment, 'heaters', { max_V: { ...heaters.max_V, value: most_V } })
      const step = planned({ ...parts, equipment }).steps.find(
        ({ rail, do: what }) => rail === 'heaters' && what === 'raise',
      )
      const own = step?.limits['heaters']
      return {
        V: own?.over_voltage_V ?? 0,
        text: own?.because.find(({ limit }) => limit === 'over-voltage')?.text ?? '',
      }
    }
    expect(level(14).V).toBeCloseTo(13.1, 1)
    expect(level(12.8)).toMatchObject({ V: 12.8 })
    expect(level(12.8).text).toContain("held to the rail's own most, 12.8 V")
    expect(level(12.6).V).toBeCloseTo(12.63, 2)
  })
})
