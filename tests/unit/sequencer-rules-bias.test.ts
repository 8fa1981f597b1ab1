import { describe, expect, it } from 'vitest'
import type { BiasPlan, Plan, RailLimits } from '../../src/plan/index.js'
import { biasBehind, judgeBiasMeter, judgeBiasReading } from '../../src/sequencer/judge-bias.js'
import type { Draft, RailState } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* Bias under HT, just inside each line and just beyond it. At 40 V it should draw 10 mA; the set needs 30 V at its grids. */

const holds = 7
const withBias = (more: Partial<BiasPlan>, limits: Partial<RailLimits> = {}): Plan =>
  smallPlan((plan) => {
    const BIAS = plan.rails['BIAS']!
    const changed = steps((step) =>
      step.limits['BIAS'] === undefined
        ? step
        : { ...step, limits: { ...step.limits, BIAS: { ...step.limits['BIAS'], ...limits } } },
    )(plan)
    return { ...changed, rails: { ...plan.rails, BIAS: { ...BIAS, bias: { ...BIAS.bias!, ...more } } } }
  })
interface Seen {
  readonly plan?: Plan
  readonly V?: number
  readonly A?: number
  readonly over?: Partial<RailState>
  readonly meter_V?: number
}
function moment({ plan = smallPlan(), V = 40, A = 0.01, over = {}, meter_V = -40 }: Seen): Draft {
  const rails = {
    ...standing(plan, 'HT', 250, 0.05),
    ...standing(plan, 'BIAS', V, A, { set_V: 40, ...over }),
  }
  return momentOf(plan, holds, {
    part: 'hold',
    rails,
    meters: { 'grid meter': { value: meter_V, t_us: now_us } },
  })
}
const judges = {
  meter: (d: Draft) => judgeBiasMeter(d, 'grid meter'),
  V: (d: Draft) => judgeBiasReading(d, d.s.plan.rails['BIAS']!, 'V'),
  A: (d: Draft) => judgeBiasReading(d, d.s.plan.rails['BIAS']!, 'A'),
} as const
/** The same read four times within 0.3 s. */
function low(by: keyof typeof judges, seen: Seen): Draft['broken'] {
  const d = moment(seen)
  for (const ago_us of [300_000, 200_000, 100_000, 0]) {
    d.s.t_us = now_us - ago_us
    d.broken = []
    judges[by](d)
  }
  return d.broken
}
const is = (by: keyof typeof judges, seen: Seen): boolean =>
  low(by, seen).some(({ code }) => code === 'bias-low')

describe('bias under HT is too low', () => {
  it('below what the set needs at its grids', () => {
    expect([is('meter', { meter_V: -30 }), is('meter', { meter_V: -29.9 })]).toEqual([false, true])
  })

  it('below nine tenths of its supply’s volts, said with what it stands at and draws', () => {
    expect([is('V', { V: 36 }), is('V', { V: 35.9 })]).toEqual([false, true])
    expect(low('V', { V: 20, A: 0.005 })[0]?.text).toMatch(
      /^BIAS stands at 20 V and draws 5 mA while HT is on, below 36 V/,
    )
    expect(low('V', { V: 20, over: { A: null } })[0]?.text).toMatch(/^BIAS stands at 20 V while HT is on/)
  })

  it('by its current only where that tells a lead that is off from one that is on', () => {
    // 8 mA go into the bleeder with the lead off; a healthy set draws 8.3 mA at least: three last digits.
    const near = (lower_A: number) => withBias({ bleeder_ohm: 5000 }, { lower_A })
    const open = (lower_A: number) => is('A', { plan: near(lower_A), A: 0.008 })
    expect([open(0.0082), open(0.0084)]).toEqual([false, true])
    const exactly = withBias({}, { lower_A: 3 * 0.0001 })
    expect([is('A', { plan: exactly, A: 0 }), is('A', { plan: exactly, A: 0.0002 })]).toEqual([true, false])
  })

  it('after some low readings in a row: good ones before them do not count', () => {
    const d = moment({})
    for (const [at, V] of [40, 40, 40, 40, 20].entries()) {
      d.s.t_us = now_us - (4 - at) * 100_000
      d.s.rails['BIAS']!.V = { value: V, t_us: d.s.t_us }
      judges.V(d)
    }
    expect(d.broken).toEqual([])
  })
})

describe('HT that draws too much', () => {
  const behind = (counted: boolean): (string | null)[] => {
    const breaking = counted ? { 'bias-low by meter': { count: 1, since_us: now_us } } : {}
    const d = moment({ meter_V: -10, over: { breaking } })
    d.broken = [{ code: 'over-ceiling', rail: 'HT', step: 8, measured: 0.2, limit: 0.1, unit: 'A', text: '' }]
    biasBehind(d)
    return d.broken.map(({ code }) => code)
  }

  it('has its bias behind it where that was judged low at its newest reading, and by no older one', () => {
    expect([behind(true), behind(false)]).toEqual([['over-ceiling', 'bias-low'], ['over-ceiling']])
  })
})
