import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  createLimits,
  dischargeTime_s,
  fitLogNormal,
  logNormalPoint,
  voltsAfter_V,
} from '../../src/limits/index.js'
import { makePlan } from '../../src/plan/index.js'
import { demo, ramp, withRail } from '../helpers/small-set.js'

const receive = demo('tern-rock/receive')
const transmit = demo('tern-rock/transmit')
const small = demo('small-receiver/receive')
const desks = {
  receive: createLimits(receive.equipment, receive.bench),
  small: createLimits(small.equipment, small.bench),
}

describe('limits at any voltage', () => {
  it('stand in order: ask ≤ lower ≤ expected ≤ upper, trip ≤ ceiling, supply limit within the supply', () => {
    const point = fc.record({
      set: fc.constantFrom('receive', 'transmit', 'small'),
      HT: fc.integer({ min: 5, max: 400 }),
      bias: fc.integer({ min: 30, max: 60 }),
      slew_V_per_s: fc.constantFrom(0.5, 2, 5),
      tubes: fc.constantFrom('hot' as const, 'cold' as const),
    })
    fc.assert(
      fc.property(point, ({ set, HT, bias, slew_V_per_s, tubes }) => {
        const level1 = set === 'small'
        const desk = level1 ? desks.small : desks.receive
        const volts = level1 ? { heaters: 6.3, HT: Math.min(HT, 275) } : { heaters: 12.6, bias, HT }
        const mode = set === 'transmit' ? 'transmit' : 'receive'
        const at = desk.at(mode, volts, { rail: 'HT', slew_V_per_s }, {}, tubes)
        expect(Object.keys(at.limits).sort()).toEqual(Object.keys(volts).sort())
        for (const [rail, limits] of Object.entries(at.limits)) {
          expect(limits.ask_A).toBeLessThanOrEqual(limits.lower_A)
          expect(limits.ask_A).toBeGreaterThanOrEqual(0)
          expect(limits.lower_A).toBeLessThanOrEqual(limits.expected_A)
          expect(limits.expected_A).toBeLessThanOrEqual(limits.upper_A)
          expect(limits.trip_A).toBeLessThanOrEqual(limits.ceiling_A)
          expect(limits.charge_A).toBeGreaterThanOrEqual(0)
          expect(limits.over_voltage_V).toBeGreaterThan(limits.at_V)
          expect(limits.supply_limit_A).toBeLessThanOrEqual(desk.rails[rail]?.max_A ?? 0)
          for (const reason of limits.because) {
            expect(Number.isFinite(reason.value)).toBe(true)
            expect(reason.text.length).toBeGreaterThan(10)
            expect(reason.source.length).toBeGreaterThan(3)
          }
        }
      }),
      { numRuns: 60, seed: 20 },
    )
  })

  it('expect more current at more volts', () => {
    fc.assert(
      fc.property(fc.integer({ min: 10, max: 380 }), fc.integer({ min: 5, max: 20 }), (low_V, more_V) => {
        const at = (HT: number): number =>
          desks.receive.at('transmit', { heaters: 12.6, bias: 60, HT }, null, {}, 'hot').limits['HT']
            ?.expected_A ?? 0
        expect(at(low_V + more_V)).toBeGreaterThan(at(low_V))
      }),
      { numRuns: 12, seed: 21 },
    )
  })
})

describe('plans of any targets', () => {
  it('never hold a set-point above a ceiling, a rail or the leads, whatever the profile asks', () => {
    const wish = fc.record({
      targets: fc.array(fc.integer({ min: 1, max: 700 }), { minLength: 1, maxLength: 4 }),
      ceiling_V: fc.option(fc.integer({ min: 20, max: 500 })),
      max_V: fc.integer({ min: 50, max: 900 }),
      leads_V: fc.integer({ min: 50, max: 900 }),
    })
    fc.assert(
      fc.property(wish, ({ targets, ceiling_V, max_V, leads_V }) => {
        const profile = {
          ...small.profile,
          stages: [ramp('HT', targets)],
          ceiling_V: ceiling_V === null ? {} : { HT: ceiling_V },
        }
        const equipment = withRail(small.equipment, 'HT', { max_V: { value: max_V, source: 'test' } })
        const bench = { ...small.bench, leads_max_V: leads_V }
        const { plan, problems } = makePlan(profile, equipment, bench)
        const highest_V = Math.max(...targets)
        if (highest_V > max_V || (ceiling_V !== null && highest_V > ceiling_V)) {
          expect(plan).toBeNull()
          expect(problems.some(({ what }) => /ceiling|allows/.test(what))).toBe(true)
          return
        }
        const reach_V = Math.min(600, leads_V, max_V, ceiling_V ?? Infinity, 300)
        for (const step of plan?.steps ?? []) {
          if (step.rail === 'HT') expect(step.target_V).toBeLessThanOrEqual(reach_V)
          if (step.limits['HT'] !== undefined) expect(step.limits['HT'].at_V).toBeLessThanOrEqual(reach_V)
        }
        if (plan !== null && highest_V > reach_V)
          expect(plan.unproved.some((each) => each.startsWith('HT from'))).toBe(true)
      }),
      { numRuns: 150, seed: 22 },
    )
  })

  it('never plan a bring-up whose HT comes before heaters and bias, whatever order the stages have', () => {
    const stages = transmit.profile.stages
    fc.assert(
      fc.property(fc.shuffledSubarray([...stages], { minLength: 1 }), (some) => {
        const { plan } = makePlan({ ...transmit.profile, stages: some }, transmit.equipment, transmit.bench)
        const raised: (string | null)[] = []
        for (const step of plan?.steps ?? []) {
          if (step.do === 'raise') raised.push(step.rail)
          if (step.do === 'raise' && step.rail === 'HT') {
            expect(raised).toContain('heaters')
            expect(raised).toContain('bias')
          }
        }
        expect(plan?.steps[0]?.do ?? 'hook-up check').toBe('hook-up check')
      }),
      { numRuns: 8, seed: 23 },
    )
  })
})

describe('arithmetic of limits', () => {
  it('puts the 0.1 % point of a log-normal below its 99.9 % point, about its median', () => {
    const samples = fc.array(fc.double({ min: 1e-6, max: 10, noNaN: true }), { minLength: 2, maxLength: 60 })
    fc.assert(
      fc.property(samples, (values) => {
        const shape = fitLogNormal(values)
        if (shape === null) throw new Error('positive samples have a shape')
        expect(logNormalPoint(shape, '0.1 %')).toBeLessThanOrEqual(Math.exp(shape.mu) * (1 + 1e-12))
        expect(logNormalPoint(shape, '99.9 %')).toBeGreaterThanOrEqual(Math.exp(shape.mu) * (1 - 1e-12))
      }),
    )
  })

  it('reaches the volts it was asked for after the time it computed', () => {
    const positive = (min: number, max: number): fc.Arbitrary<number> => fc.double({ min, max, noNaN: true })
    fc.assert(
      fc.property(
        positive(1e3, 1e6),
        positive(1e-7, 1e-3),
        positive(1, 2000),
        positive(1, 2000),
        (ohm, F, from_V, to_V) => {
          const t_s = dischargeTime_s(ohm, F, from_V, to_V)
          expect(t_s).toBeGreaterThanOrEqual(0)
          if (from_V > to_V) expect(voltsAfter_V(ohm, F, from_V, t_s)).toBeCloseTo(to_V, 6)
        },
      ),
    )
  })
})
