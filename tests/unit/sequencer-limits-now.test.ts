import { describe, expect, it } from 'vitest'
import type { Plan, RailLimits, Step } from '../../src/plan/index.js'
import {
  asked_V,
  ceilingNow_A,
  comesDown,
  due_V,
  htIsOn,
  inSoftStart,
  isCharging,
  isLimiting,
  isRising,
  isUp,
  leastOf,
  limitsNow,
  reasonText,
} from '../../src/sequencer/in-force.js'
import type { State } from '../../src/sequencer/index.js'
import { onChannels } from '../helpers/advanced.js'
import { MidStep } from '../helpers/mid-step.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* What a rail is held to between two steps, beside a rail that moves, while it charges and while its heaters are cold. */

const [heaters, biasUp, at100, at250, holds] = [3, 4, 5, 6, 7]
const [of100, of250] = [limitsAt(100, 0.02), limitsAt(250, 0.05)]
const steps = (change: (step: Step, at: number) => Partial<Step>): Plan =>
  smallPlan((plan) => ({ ...plan, steps: plan.steps.map((step, at) => ({ ...step, ...change(step, at) })) }))
/** Bias is held to these limits from the step to 250 V on. */
const biasFrom250 = (own: RailLimits): Plan =>
  steps(({ limits }, at) => (at < at250 ? {} : { limits: { ...limits, BIAS: own } }))
const onKnob = (name: string): Plan =>
  smallPlan((plan) => ({
    ...plan,
    rails: { ...plan.rails, [name]: { ...plan.rails[name]!, class: 'watched', channels: [] } },
  }))

describe('a rail between two steps', () => {
  const HT = (part: State['part'], set_V: number, plan = smallPlan()): RailLimits | null =>
    limitsNow(new MidStep(plan, at250, part).rail('HT', { set_V }).state, 'HT')

  it('is held to the step before until its raise begins, and to as much of the next as its set-point has come', () => {
    expect(HT('gate', 100)).toEqual(of100)
    expect(HT('intent', 100)).toEqual(of100)
    // Its raise has begun, though nothing has moved: the volts are those of the step.
    expect(HT('ramp', 100)).toMatchObject({ at_V: 250, trip_A: of100.trip_A })
    for (const part of ['ramp', 'intent'] as const) {
      const half = HT(part, 175)
      expect(half?.at_V).toBe(250)
      expect(half?.expected_A).toBeCloseTo(0.035, 9)
      expect(half?.trip_A).toBeCloseTo(0.056, 9)
    }
  })

  it('is held to the last step that had limits for it, though one between has none', () => {
    const plan = steps((step, at) => {
      if (at === biasUp) return { do: 'hold', rail: null, limits: { ...step.limits, HT: of100 } }
      return at === at100 ? { do: 'hold', rail: null, limits: smallPlan().steps[biasUp]!.limits } : {}
    })
    expect(HT('gate', 100, plan)).toEqual(of100)
  })
})

describe('bias beside an HT that rises', () => {
  const beside = (own: RailLimits): RailLimits | null =>
    limitsNow(new MidStep(biasFrom250(own), at250, 'ramp').rail('HT', { set_V: 200 }).state, 'BIAS')

  it('may draw what it drew, what it will, and anything between', () => {
    const less = limitsAt(40, 0.006)
    const had = limitsAt(40, 0.01)
    const { trip_A, ceiling_A, upper_A } = had
    expect(beside(less)).toEqual({ ...less, trip_A, ceiling_A, upper_A })
    const more = limitsAt(40, 0.012)
    const { expected_A, lower_A, ask_A } = had
    expect(beside(more)).toEqual({ ...more, expected_A, lower_A, ask_A })
  })

  it('is held to the step’s own where its volts are others there, or as much is expected of it', () => {
    const others = limitsAt(42, 0.006)
    expect(beside(others)).toBe(others)
    const asMuch = limitsAt(40, 0.01, { trip_A: 0.012 })
    expect(beside(asMuch)).toBe(asMuch)
  })
})

it('the least current of a rail is its ask, or nine tenths of what was accepted as weak', () => {
  const { state } = new MidStep(smallPlan(), holds, 'hold')
  expect(leastOf(state, 'HT', of250)).toBe(of250.ask_A)
  expect(leastOf({ ...state, weak: { HT: 0.3 } }, 'HT', of250)).toBeCloseTo(0.0135, 9)
  expect(leastOf({ ...state, weak: { HT: 0.9 } }, 'HT', of250)).toBe(of250.ask_A)
})

describe('a limit’s reason', () => {
  it('says how much of the figure is for charging, and that it is on top', () => {
    const { state } = new MidStep(smallPlan(), holds, 'hold')
    expect(reasonText(state, 'HT', 'trip', 0.005)).toMatch(
      /^Trip 85 mA at 250 V, 5 mA of it to charge capacitors: /,
    )
    expect(reasonText(state, 'HT', 'trip', 0)).toMatch(/^Trip 80 mA at 250 V: /)
  })
})

describe('charging', () => {
  const charges = (part: State['part'], ago_s = 600, at = at250, name = 'HT'): boolean => {
    const run = new MidStep(smallPlan(), at, part)
    const set_us = run.state.t_us - ago_s * 1e6
    const { state } = run.rail(name, { set_us })
    return isCharging(state, run.step, state.plan.rails[name]!, state.rails[name]!)
  }

  it('is under way from ON until the rail has arrived, and again when a current limit is given back', () => {
    for (const part of ['on', 'ramp', 'arrive', 'prove back'] as const) expect(charges(part)).toBe(true)
    for (const part of ['gate', 'settle', 'hold'] as const) expect(charges(part)).toBe(false)
    expect(charges('prove back', 600, at250, 'BIAS')).toBe(false)
    const { state, step } = new MidStep(smallPlan(), at250, 'on')
    expect(isRising(state, step)).toBe(true)
  })

  it('lasts two seconds from the last set-point, and not a moment more', () => {
    expect([1, 1.999, 2, 3].map((ago_s) => charges('hold', ago_s, holds))).toEqual([true, true, false, false])
  })
})

describe('cold heaters', () => {
  const supply_limit_A = 10
  const plan = steps((_step, at) =>
    at === heaters ? { limits: { LT: limitsAt(12, 4, { supply_limit_A }) } } : {},
  )
  /** Switched on so long ago. */
  const run = (ago_s: number, part: State['part'] = 'ramp'): MidStep => {
    const one = new MidStep(plan, heaters, part)
    return one.rail('LT', { on_us: one.state.t_us - ago_s * 1e6 })
  }
  const soft = (one: MidStep, name = 'LT'): boolean =>
    inSoftStart(one.state, one.step, name, one.state.rails[name]!)
  const ceiling_A = (one: MidStep, name = 'LT'): number =>
    ceilingNow_A(
      one.state,
      one.step,
      one.state.plan.rails[name]!,
      one.state.rails[name]!,
      one.step.limits[name]!,
    )

  it('have their soft start from ON on, as long as the step says', () => {
    expect([0, 19.9, 20, 20.1].map((ago_s) => soft(run(ago_s)))).toEqual([true, true, true, false])
    expect(soft(run(1, 'hold'))).toBe(false)
  })

  it('may draw what their supply gives, and no other rail may', () => {
    expect(ceiling_A(run(5))).toBeCloseTo(1.02 * supply_limit_A, 9)
    // Warm: its own ceiling, and what charging may take.
    expect(ceiling_A(run(30))).toBeCloseTo(8.001, 9)
    const beside = run(5)
    expect(soft(beside.rail('BIAS', { on_us: beside.state.t_us }), 'BIAS')).toBe(false)
    // A rail that is no heater has none, in the very moment of its ON too.
    const HT = new MidStep(smallPlan(), at250, 'on')
    expect(soft(HT.rail('HT', { on_us: HT.state.t_us }), 'HT')).toBe(false)
  })
})

describe('a supply that holds its current limit', () => {
  const limits = limitsAt(250, 0.5, { supply_limit_A: 1 })
  const two = smallPlan(onChannels({ share: 0.5 }, { channel: 'ht.2', share: 0.5 }))
  /** What one channel says of its regulation, with this current read. */
  const limiting = (
    plan: Plan,
    measured_A: number,
    says: 'current' | 'voltage' = 'voltage',
    charging = false,
  ): boolean => {
    const { state } = new MidStep(plan, holds, 'hold')
    const name = plan.rails['HT']?.channels.at(-1)?.channel ?? ''
    const known = state.channels[name]
    const channels = known ? { ...state.channels, [name]: { ...known, regulation: says } } : state.channels
    return isLimiting({ ...state, channels }, plan.rails['HT']!, measured_A, limits, charging)
  }

  it('is known by the current itself: within a hundredth of the limit', () => {
    expect([0.9899, 0.99, 1].map((A) => limiting(smallPlan(), A))).toEqual([false, true, true])
    expect(limiting(smallPlan(), 0.99, 'voltage', true)).toBe(true)
    // A rail on a knob has no limit that could be held.
    expect(limiting(onKnob('HT'), 2)).toBe(false)
  })

  it('says so, by one of its channels: believed unless it charges, or is the thing to be proved', () => {
    expect(limiting(smallPlan(), 0.5, 'current')).toBe(true)
    expect(limiting(two, 0.5, 'current')).toBe(true)
    expect(limiting(smallPlan(), 0.5, 'current', true)).toBe(false)
    expect(limiting({ ...smallPlan(), kind: 'qualify' }, 0.5, 'current')).toBe(false)
  })
})

describe('the volts of a rail', () => {
  const due = (plan: Plan, at: number, part: State['part'], name: string, set_V: number): number => {
    const run = new MidStep(plan, at, part).rail(name, { set_V })
    const { state } = run
    return due_V(state, run.step, state.plan.rails[name]!, state.rails[name]!, run.step.limits[name]!)
  }

  it('are due in full where another rail moves, and where nothing is to be raised', () => {
    expect(due(smallPlan(), at250, 'ramp', 'BIAS', 30)).toBe(40)
    const proves = steps((_step, at) => (at === holds ? { do: 'prove', rail: 'HT' } : {}))
    expect(due(proves, holds, 'gate', 'HT', 180)).toBe(250)
    const lowers = steps((_step, at) => (at === holds ? { do: 'lower', rail: 'HT', target_V: 20 } : {}))
    expect(due(lowers, holds, 'ramp', 'BIAS', 40)).toBe(40)
    expect(due(lowers, holds, 'ramp', 'HT', 250)).toBe(20)
  })

  it('come down to a set-point that was lowered, and are down at it', () => {
    const down = (value: number): boolean => {
      const { state } = new MidStep(smallPlan(), holds, 'hold')
      const HT = { ...state.rails['HT']!, set_V: 100, lowered_us: state.t_us - 5e6 }
      return comesDown(state, { ...HT, V: { value, t_us: state.t_us } })
    }
    expect([99, 100, 101].map(down)).toEqual([false, false, true])
  })

  it('are asked for by every channel’s share, on its way or there, and by the rail’s own set-point', () => {
    const plan = smallPlan(onChannels({ share: 0.5 }, { channel: 'ht.2', share: 0.5 }))
    const asked = (set_V: number): number => {
      const { state } = new MidStep(plan, holds, 'hold')
      const channels = {
        ...state.channels,
        'ht.1': { ...state.channels['ht.1']!, set_V: 100, setting: 120 },
        'ht.2': { ...state.channels['ht.2']!, set_V: 60, setting: null },
      }
      return asked_V({ ...state, channels }, plan.rails['HT']!, { ...state.rails['HT']!, set_V })
    }
    expect(asked(160)).toBe(180)
    expect(asked(200)).toBe(200)
  })
})

describe('a rail on a knob', () => {
  const dead = (at: number, set_V: number) => {
    const plan = onKnob('HT')
    const { state } = new MidStep(plan, at, 'hold')
    const HT = { ...state.rails['HT']!, set_V, energised: false, V: null }
    return { s: { ...state, rails: { ...state.rails, HT } }, HT: plan.rails['HT']! }
  }

  it('that was brought up is HT, and up, with its meter dead too', () => {
    expect(htIsOn(dead(holds, 250).s)).toBe(true)
    const { s, HT } = dead(holds, 250)
    expect(isUp(s, HT)).toBe(true)
  })

  it('is not up at the volts of an output that is off, nor in a step that has no limits for it', () => {
    const below = dead(holds, 5)
    expect(isUp(below.s, below.HT)).toBe(false)
    const before = dead(biasUp, 100)
    expect(isUp(before.s, before.HT)).toBe(false)
  })
})
