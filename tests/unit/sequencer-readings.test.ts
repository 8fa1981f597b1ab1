import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan } from '../../src/plan/index.js'
import { amps, MidStep, shown, tick, volts } from '../helpers/mid-step.js'
import { smallPlan } from '../helpers/small-plan.js'

/* From what a line says to what a rail stands at and draws. */

const holds = 7
const withHT = (change: (HT: RailPlan) => RailPlan): Plan =>
  smallPlan((plan) => ({ ...plan, rails: { ...plan.rails, HT: change(plan.rails['HT']!) } }))

describe('a rail of two outputs in series', () => {
  const plan = withHT((HT) => {
    const half = { ...HT.channels[0]!, share: 0.5 }
    return { ...HT, channels: [half, { ...half, channel: 'top.1', port: 'top' }] }
  })
  const { V, A } = { V: null, A: null }
  /** Neither was read yet. */
  const unread = (): MidStep => {
    const run = new MidStep(plan, holds, 'hold').rail('HT', { V, A })
    const blank = (name: string) => ({ ...run.state.channels[name]!, V, A })
    const channels = { ...run.state.channels, 'ht.1': blank('ht.1'), 'top.1': blank('top.1') }
    run.state = { ...run.state, channels }
    return run
  }
  const HT = (run: MidStep) => run.state.rails['HT']!

  it('stands at the sum of their volts, as old as the older of the two', () => {
    const run = unread().hear(0, volts('ht.1', 125))
    const first_us = run.state.t_us
    run.hear(0.2, volts('top.1', 124))
    expect(HT(run).V).toEqual({ value: 249, t_us: first_us })
  })

  it('draws the larger of their currents: one and the same flows through both', () => {
    const run = unread().hear(0, amps('ht.1', 0.05)).hear(0.2, amps('top.1', 0.04))
    expect(HT(run).A?.value).toBe(0.05)
    run.hear(0.2, amps('top.1', 0.06))
    expect(HT(run).A?.value).toBe(0.06)
  })

  it('is not known from one of them alone: half of its volts is no reading of it', () => {
    const run = unread().again(3, 0.3, volts('ht.1', 125), amps('ht.1', 0.05))
    expect(HT(run)).toMatchObject({ V: null, A: null, rise: [], recent: [] })
    expect(run.reason).toBeNull()
  })
})

describe('a rail on a knob', () => {
  const knob = withHT((HT) => ({
    ...{ ...HT, class: 'watched', channels: [], volts_meter: 'HT V', amps_meter: 'HT A' },
  }))
  const plan: Plan = {
    ...knob,
    meters: {
      ...knob.meters,
      'HT V': { ...knob.meters['grid meter']!, name: 'HT V', port: 'HT V' },
      'HT A': { ...knob.meters['grid meter']!, name: 'HT A', port: 'HT A', measures: 'A', resolution: 0.001 },
    },
  }
  /** Its knob is asked for, and it is still down. */
  const down = (): MidStep =>
    new MidStep(plan, 6, 'asking', { ever_energised: false }).rail('HT', {
      ...{ energised: false, set_V: 0, V: null, A: null, on_us: null },
    })
  const HT = (run: MidStep) => run.state.rails['HT']!

  it('is up once its meter reads more than 5 V: from then on this run has had volts on the set', () => {
    const run = down().hear(0, shown('HT V', 5))
    expect([HT(run).energised, HT(run).on_us, run.state.ever_energised]).toEqual([false, null, false])
    run.hear(1, shown('HT V', 6))
    expect([HT(run).energised, HT(run).on_us, run.state.ever_energised]).toEqual([true, run.state.t_us, true])
  })

  it('is up by its volts whichever pole the meter is clipped to', () => {
    expect(HT(down().hear(0, shown('HT V', -100)))).toMatchObject({ energised: true, V: { value: 100 } })
  })

  it('is up by its current alone, where a short holds its volts down', () => {
    // Five last digits of 1 mA, and its zero error of 100 mA.
    expect(HT(down().hear(0, shown('HT A', 0.1))).energised).toBe(false)
    expect(HT(down().hear(0, shown('HT A', 0.11))).energised).toBe(true)
    expect(HT(down().hear(0, shown('HT A', -0.11))).energised).toBe(true)
  })

  it('that was turned down and up again has been on since it came up again', () => {
    const run = down().hear(0, shown('HT V', 100)).hear(5, shown('HT V', 0))
    expect([HT(run).energised, HT(run).on_us]).toEqual([false, null])
    run.hear(5, shown('HT V', 100))
    const since_us = run.state.t_us
    run.hear(1, shown('HT V', 101))
    expect(HT(run).on_us).toBe(since_us)
  })

  it('that is turned up before its turn has no limits to judge its readings by, and ends the run at the next tick', () => {
    const heaters = 3
    const run = new MidStep(plan, heaters, 'hold').again(4, 0.1, shown('HT V', 100), shown('HT A', 0.5))
    expect([run.reason, HT(run).energised]).toEqual([null, true])
    run.hear(0.1, tick)
    expect(run.reason).toMatchObject({ code: 'watched-input', rail: 'HT' })
    expect(run.reason?.text).toContain(
      'HT stands at 100 V in a step that has no limits for it: its knob was turned',
    )
  })

  it('is not moved by a meter that this plan does not know, and nothing is kept of that', () => {
    const run = down()
    const { meters } = run.state
    run.hear(0, shown('somebody else’s', 300))
    expect(run.state.meters).toEqual(meters)
    expect(HT(run).energised).toBe(false)
  })
})

describe('what is kept of a rail’s current', () => {
  it('reaches back twenty seconds, five readings a second at most, and one before that', () => {
    const run = new MidStep(smallPlan(), holds, 'hold').again(600, 0.05, amps('ht.1', 0.05))
    const ages_s = run.state.rails['HT']!.recent.map(({ t_us }) => (run.state.t_us - t_us) / 1e6)
    expect(ages_s).toHaveLength(101)
    expect(ages_s[0]).toBeGreaterThanOrEqual(20)
    expect(ages_s[1]).toBeLessThan(20)
  })
})

describe('what is kept of a rail’s volts', () => {
  it('reaches back five seconds, and one reading before that', () => {
    const run = new MidStep(smallPlan(), holds, 'hold').again(150, 0.1, volts('ht.1', 250))
    const ages_s = run.state.rails['HT']!.rise.map(({ t_us }) => (run.state.t_us - t_us) / 1e6)
    expect(ages_s[0]).toBeGreaterThanOrEqual(5)
    expect(ages_s[1]).toBeLessThan(5)
  })
})
