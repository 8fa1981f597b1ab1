import { describe, expect, it } from 'vitest'
import { Rig } from '../helpers/rig.js'
import { byHand, smallPlan, typedBias } from '../helpers/small-plan.js'
import { known, knownOf, partOf, quickly, ran, reason, standing, steps } from '../helpers/standing.js'

/* What time alone ends: each with the figure that a record keeps of it, in seconds. */

describe('the time of a run', () => {
  it('is over with its budget, and not before', () => {
    const rig = standing()
    known(rig, { begun_us: rig.t_us - 3599.7e6 })
    expect(reason(ran(rig, 0.2))).toBeUndefined()
    expect(reason(ran(rig, 0.3))).toMatchObject({ code: 'time-budget', limit: 3600, unit: 's' })
    expect(reason(rig)?.measured).toBeCloseTo(3600, 0)
  })

  it('is not counted while the set is being hooked up', () => {
    const rig = standing()
    rig.answers = false
    known(rig, { begun_us: rig.t_us - 5000e6, wires_done: 0 })
    expect(reason(ran(rig, 0.2))).toBeUndefined()
  })

  it('is over for a question that nobody answers', () => {
    const rig = new Rig(smallPlan((plan) => ({ ...plan, prompt_timeout_s: 30 })))
    rig.answers = false
    rig.start()
    expect(reason(ran(rig, 60))).toMatchObject({ code: 'prompt-timeout', limit: 30, unit: 's' })
    expect(reason(rig)?.measured).toBeCloseTo(30, 0)
  })

  it('with the key down counts from when its rail stood', () => {
    const limit = { name: 'key', rail: 'HT', above_V: 60, s: 10, text: 'A test', source: 'a test' }
    const rig = standing(steps((step) => (step.do === 'hold' ? { ...step, time_limits: [limit] } : step)))
    expect(reason(ran(rig, 9))).toBeUndefined()
    expect(reason(ran(rig, 1.5))).toMatchObject({ code: 'key-time', rail: 'HT', limit: 10 })
    expect(reason(rig)?.measured).toBeCloseTo(10, 0)
  })

  it('with the key down does not count for a charge behind an output that is off', () => {
    const limit = { name: 'key', rail: 'HT', above_V: 60, s: 10, text: 'A test', source: 'a test' }
    const rig = standing()
    const { plan } = rig.state
    known(rig, { plan: steps((step) => ({ ...step, time_limits: [limit] }))(plan) })
    knownOf(rig, 'HT', { energised: false })
    rig.feed({ kind: 'tick', late_us: 0, slept_us: 0 })
    expect(rig.state.timed).toEqual({})
    knownOf(rig, 'HT', { energised: true })
    rig.feed({ kind: 'tick', late_us: 0, slept_us: 0 })
    expect(rig.state.timed).toEqual({ key: rig.t_us })
  })
})

describe('a reading that a person typed and that could not be asked for again', () => {
  const aged_us = 1499.8e6

  it('ends the run: nobody knows what that knob gives by now', () => {
    const rig = standing(byHand('LT'))
    rig.answers = false
    knownOf(rig, 'LT', { V: { value: 12, t_us: rig.t_us - aged_us } })
    expect(reason(ran(rig, 0.15))).toBeUndefined()
    expect(reason(ran(rig, 0.2))).toMatchObject({
      code: 'prompt-timeout',
      rail: 'LT',
      limit: 1500,
      unit: 's',
    })
    expect(reason(rig)?.text).toContain('The reading typed for LT is 25 min old')
  })

  it('of a knob that was typed as down needs none', () => {
    const rig = standing(byHand('LT'))
    knownOf(rig, 'LT', { energised: false, V: { value: 0, t_us: rig.t_us - 2 * aged_us } })
    expect(reason(ran(rig, 0.2))).toBeUndefined()
  })

  it('of the bias ends nothing where a meter on a line reads it', () => {
    const rig = standing()
    known(rig, { typed: { 'node:grid': { value: -40, t_us: rig.t_us - 2 * aged_us } } })
    expect(reason(ran(rig, 0.2))).toBeUndefined()
  })

  it('of the bias ends it while HT stands', () => {
    const rig = standing(typedBias)
    rig.answers = false
    known(rig, { typed: { ...rig.state.typed, 'node:grid': { value: -40, t_us: rig.t_us - aged_us } } })
    expect(reason(ran(rig, 0.15))).toBeUndefined()
    expect(reason(ran(rig, 0.2))).toMatchObject({ code: 'prompt-timeout', rail: 'BIAS' })
    expect(reason(rig)?.text).toContain('typed for grid')
  })

  it('of the bias does not end it before there is any HT to hold', () => {
    const rig = partOf(new Rig(smallPlan(typedBias)).start(), 4, 'hold')
    known(rig, { typed: { 'node:grid': { value: -40, t_us: rig.t_us - 2 * aged_us } } })
    expect(reason(ran(rig, 0.3))).toBeUndefined()
  })
})

describe('silence', () => {
  it('of an ammeter that has never said anything is silence too', () => {
    const rig = standing()
    rig.silent.add('HT')
    knownOf(rig, 'HT', { A: null })
    expect(reason(ran(rig, 1.5))).toMatchObject({ code: 'stale', rail: 'HT' })
  })

  it('while an output goes on may last longer, where its line has no time for readings then', () => {
    const longer = (s: number) =>
      smallPlan((plan) => {
        const { HT, ...others } = plan.rails
        return HT === undefined ? plan : { ...plan, rails: { ...others, HT: { ...HT, on_stale_s: s } } }
      })
    const told = (s: number): Rig => {
      const rig = partOf(new Rig(longer(s)).start(), 5, 'hands')
      rig.on_ticks['ht.1'] = 40
      return quickly(rig, 'told ON', () => rig.state.step === 5 && rig.state.part === 'on')
    }
    expect(reason(ran(told(3), 2.5))).toBeUndefined()
    expect(reason(ran(told(1.2), 2.5))).toMatchObject({ code: 'stale', rail: 'HT', limit: 1.2 })
    const another = partOf(new Rig(longer(3)).start(), 7, 'hold')
    const pending = { 900: { channel: 'bias.1', request: { do: 'on' as const }, t_us: another.t_us } }
    known(another, { pending }).silent.add('HT')
    expect(reason(ran(another, 1.5))).toMatchObject({ code: 'stale', rail: 'HT', limit: 1 })
  })
})

it('a rail that was set to nothing and carries volts stands off its set-point: a part of nothing is no figure', () => {
  const rig = standing()
  rig.set['ht.1'] = 0
  rig.on['ht.1'] = false
  rig.volts['ht.1'] = 0
  rig.foreign['ht.1'] = { V: 10, A: 0 }
  knownOf(rig, 'HT', { set_V: 0, V: { value: 10, t_us: rig.t_us } })
  expect(reason(ran(rig, 1))).toMatchObject({ code: 'off-set-point', rail: 'HT', limit: 0 })
  expect(Number.isFinite(reason(rig)?.measured)).toBe(true)
})
