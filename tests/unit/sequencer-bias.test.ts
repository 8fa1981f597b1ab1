import { describe, expect, it } from 'vitest'
import type { BiasPlan, Plan } from '../../src/plan/index.js'
import { biasReady } from '../../src/sequencer/interlocks.js'
import { amps, MidStep, shown, volts } from '../helpers/mid-step.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* Bias before and under HT. HT draws too much at the moment in which bias goes: the bias is the cause, and is said to be. */

const holds = 7
const withBias = (more: Partial<BiasPlan>): Plan =>
  smallPlan((plan) => {
    const BIAS = plan.rails['BIAS']!
    return { ...plan, rails: { ...plan.rails, BIAS: { ...BIAS, bias: { ...BIAS.bias!, ...more } } } }
  })
const standing = (plan = smallPlan()): MidStep => new MidStep(plan, holds, 'hold')
/** Twice what HT may ever draw. */
const tooMuch = amps('ht.1', 0.2)

describe('HT that draws too much', () => {
  it('is told as bias lost where the meter at the grid just read too little, with both figures', () => {
    const run = standing().hear(0.1, shown('grid meter', -10)).hear(0.05, tooMuch)
    expect(run.reason).toMatchObject({ code: 'bias-low', rail: 'BIAS', measured: -10, limit: -30, unit: 'V' })
    expect(run.reason?.text).toMatch(/^Bias at grid is -10 V; .* HT drew 200 mA at the same moment\./)
    expect(run.commands.filter(({ kind }) => kind === 'urgent off')).toHaveLength(1)
  })

  it('is told as bias lost where the bias supply just read too few volts', () => {
    const run = standing().hear(0.1, volts('bias.1', 20)).hear(0.05, tooMuch)
    expect(run.reason).toMatchObject({ code: 'bias-low', rail: 'BIAS', measured: 20, limit: 36, unit: 'V' })
    expect(run.reason?.text).toContain('HT drew 200 mA at the same moment')
  })

  it('is told as bias lost where the bias supply just read less than its preload takes', () => {
    const run = standing(withBias({ meter: null }))
      .hear(0.1, amps('bias.1', 0.001))
      .hear(0.05, tooMuch)
    expect(run.reason).toMatchObject({ code: 'bias-low', rail: 'BIAS', measured: 0.001, unit: 'A' })
    expect(run.reason?.text).toContain('HT drew 200 mA at the same moment')
  })

  it('is told as HT where the bias reads as it should, and where it does again', () => {
    expect(standing().hear(0.1, shown('grid meter', -40), tooMuch).reason).toMatchObject({
      code: 'over-ceiling',
      rail: 'HT',
    })
    const again = standing().hear(0.1, shown('grid meter', -10)).hear(0.1, shown('grid meter', -40))
    expect(again.hear(0.05, tooMuch).reason).toMatchObject({ code: 'over-ceiling', rail: 'HT' })
  })
})

describe('one low reading of the bias', () => {
  it('says nothing of HT that stands too high: no bias makes that', () => {
    const run = standing().hear(0.1, shown('grid meter', -10)).hear(0.05, volts('ht.1', 300))
    expect(run.reason).toMatchObject({ code: 'over-ceiling', rail: 'HT', unit: 'V' })
  })

  it('says nothing of a heater rail that draws too much', () => {
    const run = standing().hear(0.1, shown('grid meter', -10)).hear(0.05, amps('lt.1', 20))
    expect(run.reason).toMatchObject({ code: 'over-ceiling', rail: 'LT' })
  })

  it('says nothing of a hot rail that draws too little', () => {
    const plan = smallPlan((made) => {
      const HT = made.rails['HT']!
      const channels = HT.channels.map((part) => ({ ...part, channel: 'drive.1', port: 'drive' }))
      return {
        ...made,
        rails: { ...made.rails, DRIVE: { ...HT, name: 'DRIVE', role: 'drive' as const, channels } },
        steps: made.steps.map((step, at) =>
          at === holds ? { ...step, limits: { ...step.limits, DRIVE: limitsAt(100, 0.02) } } : step,
        ),
      }
    })
    const run = standing(plan).again(2, 0.15, amps('drive.1', 0.005))
    run.hear(0.1, shown('grid meter', -10)).hear(0.05, amps('drive.1', 0.005))
    expect(run.reason).toMatchObject({ code: 'drive-lost', rail: 'DRIVE', unit: 'A' })
  })
})

describe('the lead of the bias', () => {
  it('counts as on at half of the least that a healthy set draws there, and as off below', () => {
    const plan = smallPlan((made) => ({
      ...made,
      steps: made.steps.map((step, at) =>
        at === holds
          ? { ...step, limits: { ...step.limits, BIAS: limitsAt(40, 0.01, { lower_A: 0.007 }) } }
          : step,
      ),
    }))
    const run = standing(plan).again(10, 0.1, amps('bias.1', 0.0035))
    expect(run.reason).toBeNull()
    run.again(4, 0.1, amps('bias.1', 0.0034))
    expect(run.reason).toMatchObject({ code: 'bias-low', measured: 0.0034, limit: 0.0035, unit: 'A' })
  })
})

describe('before anything hot rises', () => {
  const ready = (plan: Plan, value: number, age_s = 0): boolean => {
    const { state } = standing(plan)
    const sample = { value, t_us: state.t_us - age_s * 1e6 }
    return biasReady({ ...state, meters: { 'grid meter': sample }, typed: { 'node:grid': sample } })
  }

  it('the bias is what the set needs at least, of the right sign, and read within its time', () => {
    const plan = smallPlan()
    expect([ready(plan, -30), ready(plan, -29.9), ready(plan, 40)]).toEqual([true, false, false])
    expect([ready(plan, -40, 1), ready(plan, -40, 1.1)]).toEqual([true, false])
    const own = withBias({ stale_s: 3 })
    expect([ready(own, -40, 3), ready(own, -40, 3.1)]).toEqual([true, false])
  })

  it('a typed bias is good for a quarter of an hour', () => {
    const typed = withBias({ meter: null })
    expect([ready(typed, -30, 900), ready(typed, -30, 901)]).toEqual([true, false])
  })

  it('the bias of a positive grid return is counted upwards', () => {
    const up = withBias({ sign: 1 })
    expect([ready(up, 30), ready(up, -40)]).toEqual([true, false])
  })
})
