import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan, Step } from '../../src/plan/index.js'
import { draftOf } from '../../src/sequencer/draft.js'
import type { State } from '../../src/sequencer/index.js'
import { advance } from '../../src/sequencer/run.js'
import type { Draft, RailState } from '../../src/sequencer/state.js'
import {
  advanced as at,
  ago,
  asked,
  intents,
  now_us,
  onChannels,
  type Over,
  withOneMore,
  told,
} from '../helpers/advanced.js'
import { MidStep } from '../helpers/mid-step.js'
import { recorded } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* How a step goes forward: what is done first, what is told to a supply and when, when a rail has arrived, and when it never will. */

const [heaters, at100, at250, holds, added] = [3, 5, 6, 7, 8]
const done = { id: 1, recorded: true }

const halves = onChannels({ share: 0.5 }, { channel: 'ht.2', share: 0.5 })
describe('room in the limits of what stands', () => {
  const wide = limitsAt(40, 0.01, { supply_limit_A: 0.05 })
  const question: Step['ask'] = {
    ...{ text: 'Set the controls.', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: 'mode' },
  }
  const widening = (more: Partial<Step>) =>
    smallPlan((plan) => withOneMore({ ...more, limits: { ...plan.steps[holds]!.limits, BIAS: wide } })(plan))
  const narrow = { channels: { 'bias.1': { limit_A: 0.018 } } }

  for (const [before, more] of [
    ['a question', { do: 'ask', ask: question }],
    ['a hold', { do: 'hold' }],
  ] as const) {
    const plan = widening(more)

    it(`is made before ${before} begins, once the record has what is widened`, () => {
      const d = at(plan, added, 'gate', narrow)
      expect(intents(d)).toEqual(['Widen supply limits for hold: BIAS (bias.1) 50 mA.'])
      expect([told(d), asked(d), d.s.part]).toEqual([[], [], 'gate'])
      const waits = at(plan, added, 'gate', { ...narrow, intent: { id: 1, recorded: false } })
      expect([told(waits), waits.s.part]).toEqual([[], 'gate'])
      const goes = at(plan, added, 'gate', { ...narrow, intent: done })
      expect(told(goes)).toEqual([{ channel: 'bias.1', do: 'limits', limit_A: 0.05, over_voltage_V: 43 }])
      expect([asked(goes), goes.s.part]).toEqual([[], 'gate'])
    })
  }

  it('that is there already is not asked for: the question and the hold come at once, with no intent', () => {
    const ask = at(widening({ do: 'ask', ask: question }), added, 'gate')
    expect([asked(ask), ask.s.part, intents(ask)]).toEqual([['mode'], 'asking', []])
    const hold = at(widening({ do: 'hold' }), added, 'gate')
    expect([hold.s.part, intents(hold)]).toEqual(['hold', []])
    expect(recorded(hold)).toContain('hold: holding 30 s.')
  })

  it('is not made while the question stands open: nothing is told to a supply then', () => {
    const d = at(widening({ do: 'ask', ask: question }), added, 'asking', narrow)
    expect([told(d), intents(d)]).toEqual([[], []])
  })

  it('of a raise is made after its own intent, which is the only one', () => {
    const plan = smallPlan(
      steps((step) => (step.index === 7 ? { ...step, limits: { ...step.limits, BIAS: wide } } : step)),
    )
    const gate = at(plan, at250, 'gate', narrow)
    expect(gate.s.part).toBe('intent')
    expect(intents(gate)).toEqual(['Raise HT from 250 V to 250 V at 20 V/s, supply limit 90 mA.'])
    const limits = { ...narrow.channels, 'ht.1': { limits_step: 6 } }
    expect(told(at(plan, at250, 'limits', { channels: limits, intent: done }))).toEqual([
      { channel: 'bias.1', do: 'limits', limit_A: 0.05, over_voltage_V: 43 },
    ])
  })
})

describe('an intent', () => {
  it('says from where to where, which way, and by whose hand', () => {
    const rails = { HT: { set_V: 100 } }
    expect(intents(at(smallPlan(), at250, 'hands', { rails }))).toEqual([
      'Raise HT from 100 V to 250 V at 20 V/s, supply limit 90 mA.',
    ])
    const byKnob = (rail: RailPlan): RailPlan => ({ ...rail, class: 'watched', channels: [] })
    const plan = smallPlan((small) =>
      withOneMore({ do: 'lower', rail: 'HT', target_V: 30 })({
        ...small,
        rails: { ...small.rails, HT: byKnob(small.rails['HT']!) },
      }),
    )
    expect(intents(at(plan, added, 'gate'))).toEqual([
      'Lower HT from 250 V to 30 V by its knob; slowglow does not limit it.',
    ])
  })
})

describe('the limits of the rail that is to rise', () => {
  const before = { limits_step: 6, limit_A: 0.036, over_V: 290 }

  it('are those of its step, what was wider before and what was narrower', () => {
    const d = at(smallPlan(), at250, 'limits', { channels: { 'ht.1': before }, intent: done })
    expect(told(d)).toEqual([{ channel: 'ht.1', do: 'limits', limit_A: 0.05 * 1.8, over_voltage_V: 263.5 }])
  })

  it('are told to all of its channels at once, and only to those that do not have them yet', () => {
    const plan = smallPlan(halves)
    const both = at(plan, at250, 'limits', { channels: { 'ht.1': before, 'ht.2': before }, intent: done })
    expect(told(both).map(({ channel }) => channel)).toEqual(['ht.1', 'ht.2'])
    const one = at(plan, at250, 'limits', { channels: { 'ht.2': before }, intent: done })
    expect(told(one).map(({ channel }) => channel)).toEqual(['ht.2'])
  })

  it('come before its output goes on, and before it rises', () => {
    const off = at(smallPlan(), at250, 'limits', { channels: { 'ht.1': { output: 'off' } }, intent: done })
    expect(told(off)).toEqual([{ channel: 'ht.1', do: 'on' }])
    expect([off.s.part, off.s.rails['HT']?.on_us]).toEqual(['on', now_us])
    expect(at(smallPlan(), at250, 'limits', { intent: done }).s.part).toBe('ramp')
  })

  it('wait for what is under way on one of its channels, not for what is on another', () => {
    const under = (channel: string) => ({
      ...{ channels: { 'ht.1': before }, intent: done },
      pending: { 9: { channel, request: { do: 'set', volts: 1 }, t_us: now_us } } as State['pending'],
    })
    expect(told(at(smallPlan(), at250, 'limits', under('ht.1')))).toEqual([])
    expect(told(at(smallPlan(), at250, 'limits', under('lt.1')))).toHaveLength(1)
  })
})

describe('a rail on its way up', () => {
  /** Set to these volts so long ago. */
  const rising = (set_V: number, since_s: number, over: Over = {}, plan = smallPlan()): Draft =>
    at(plan, at250, 'ramp', {
      intent: done,
      part_us: ago(60),
      ...over,
      rails: { HT: { set_V, set_us: ago(since_s) }, ...over.rails },
      channels: Object.fromEntries(
        plan.rails['HT']!.channels.map(({ channel, share }) => [channel, { set_V: set_V * share }]),
      ),
    })

  it('is told what its slew allows since the last time, rounded down to what can be set', () => {
    expect(told(rising(100, 0.333))).toEqual([{ channel: 'ht.1', do: 'set', volts: 106.6 }])
    expect(told(rising(100, 30))).toEqual([{ channel: 'ht.1', do: 'set', volts: 120 }])
    expect(told(rising(240, 30))).toEqual([{ channel: 'ht.1', do: 'set', volts: 250 }])
  })

  it('is told no oftener than ten times a second', () => {
    expect(told(rising(100, 0.09))).toEqual([])
    expect(told(rising(100, 0.1))).toEqual([{ channel: 'ht.1', do: 'set', volts: 102 }])
  })

  it('of two channels in series has each make its part', () => {
    expect(told(rising(100, 1, {}, smallPlan(halves)))).toEqual([
      { channel: 'ht.1', do: 'set', volts: 60 },
      { channel: 'ht.2', do: 'set', volts: 60 },
    ])
    expect(rising(250, 1, {}, smallPlan(halves)).s.part).toBe('arrive')
  })

  it('waits where heaters, bias or a question stand against it: that alone ends nothing', () => {
    for (const over of [
      { rails: { LT: { good_since_us: null } } },
      { meters: { 'grid meter': { value: -20, t_us: now_us } } },
    ]) {
      const d = rising(100, 1, over)
      expect([told(d), d.broken, d.s.part]).toEqual([[], [], 'ramp'])
    }
    const hands = rising(100, 1, { hands_in: true })
    expect([told(hands), asked(hands)]).toEqual([[], ['hands clear']])
  })

  it('has been told all of it once its channels are as near as they can be set', () => {
    expect(rising(249.9, 0.2).s.part).toBe('ramp')
    const d = rising(250, 1)
    expect([told(d), d.s.part]).toEqual([[], 'arrive'])
    const between = smallPlan(steps((step) => (step.index === 7 ? { ...step, target_V: 249.96 } : step)))
    expect(rising(249.9, 1, {}, between).s.part).toBe('arrive')
  })
})

describe('a rail that was told all of it', () => {
  const reads = (V: number, over: Over = {}, plan = smallPlan(), read_s = 0): Draft =>
    at(plan, at100, 'arrive', {
      part_us: ago(1),
      ...over,
      rails: { HT: { V: { value: V, t_us: ago(read_s) }, breaking: { stale: broken } } },
    })
  const broken = { count: 2, since_us: 0 }

  it('has arrived within a hundredth and a half of its volts, and what was noted on its way is forgotten', () => {
    const d = reads(98.6)
    expect([d.s.part, d.s.rails['HT']?.breaking]).toEqual(['hold', {}])
    expect(reads(101.4).s.part).toBe('hold')
    for (const far of [98.4, 101.6]) {
      const not = reads(far)
      expect([not.s.part, not.s.rails['HT']?.breaking]).toEqual(['arrive', { stale: broken }])
    }
  })

  it('is given more where its supply reads no finer or no better than that', () => {
    const coarse = smallPlan(onChannels({ resolution_V: 1 }))
    expect([reads(98.1, {}, coarse).s.part, reads(97.9, {}, coarse).s.part]).toEqual(['hold', 'arrive'])
    const poor = smallPlan(onChannels({ accuracy_V: { of_reading: 0.001, plus: 0.9 } }))
    expect([reads(97.1, {}, poor).s.part, reads(96.9, {}, poor).s.part]).toEqual(['hold', 'arrive'])
  })

  it('has arrived by a reading from after that alone', () => {
    expect(reads(100, {}, smallPlan(), 1).s.part).toBe('arrive')
    expect(reads(100, {}, smallPlan(), 0.9).s.part).toBe('hold')
  })

  it('ends the run where it still stands elsewhere after ten seconds: by a reading, never by silence', () => {
    expect(reads(90, { part_us: ago(10) }).broken).toEqual([])
    expect(reads(90, { part_us: ago(10.1) }).broken).toMatchObject([
      {
        ...{ code: 'off-set-point', rail: 'HT', measured: 90, limit: 100, unit: 'V' },
        text: 'HT was set to 100 V and stands at 90 V after 10 s.',
      },
    ])
    expect(reads(90, { part_us: ago(10.1) }, smallPlan(), 10.1).broken).toEqual([])
  })
})

describe('heaters that warm in their current limit', () => {
  // Trip 6.4 A, supply limit 7.2 A.
  const warming = (
    amps: readonly number[],
    { every_s = 0.5, A = amps.at(-1) ?? 0, ...over }: Over & { every_s?: number; A?: number } = {},
  ): Draft =>
    at(smallPlan(), heaters, 'arrive', {
      ...{ part_us: ago(5), step_us: ago(6) },
      ...over,
      rails: {
        LT: {
          A: { value: A, t_us: now_us },
          recent: amps.map((value, i) => ({ value, t_us: ago((amps.length - 1 - i) * every_s) })),
          on_us: ago(6),
          ...over.rails?.['LT'],
        },
      },
    })

  it('have warmed once all readings of two seconds are out of it', () => {
    expect(warming([4, 4, 4, 4, 4]).s.part).toBe('hold')
    expect(warming([7.2, 4, 4, 4, 4]).s.part).toBe('hold')
    expect(warming([7.2, 4, 4, 4]).s.part).toBe('arrive')
    expect(warming([4, 4, 4, 7.2]).s.part).toBe('arrive')
    expect(warming([4, 4, 4, 4], { A: 7.2 }).s.part).toBe('arrive')
  })

  it('have warmed once the last three are, on a line that brings them slowly', () => {
    expect(warming([7.2, 4, 4, 4], { every_s: 1.5 }).s.part).toBe('hold')
    expect(warming([7.2, 4, 4], { every_s: 1.5 }).s.part).toBe('arrive')
    expect(warming([4, 4]).s.part).toBe('arrive')
    expect(warming([4, 4, 4], { rails: { LT: { A: null } } }).s.part).toBe('arrive')
  })

  it('have not while they draw more than the step may, though the supply could give more', () => {
    expect(warming([6.8, 6.8, 6.8, 6.8]).s.part).toBe('arrive')
    expect(warming([6.3, 6.3, 6.3, 6.3]).s.part).toBe('hold')
  })

  it('have not while the supply says that it limits, whatever they draw', () => {
    const { channels } = new MidStep(smallPlan(), heaters, 'arrive').state
    const says = { channels: { 'lt.1': { ...channels['lt.1'], regulation: 'current' as const } } }
    expect(warming([4, 4, 4, 4], says).s.part).toBe('arrive')
  })

  it('end the run where they did not in the time that the plan gives, with what they stand at', () => {
    const cold = [7.2, 7.2, 7.2, 7.2]
    const on = (since_s: number): Over => ({ step_us: ago(since_s), rails: { LT: { on_us: ago(since_s) } } })
    expect(warming(cold, on(20)).broken).toEqual([])
    const { broken } = warming(cold, on(21))
    expect(broken).toMatchObject([{ code: 'soft-start', rail: 'LT', measured: 21, limit: 20, unit: 's' }])
    expect(broken[0]?.text).toMatch(/^LT stands at 12 V and 7\.2 A, 21 s after/)
    // Counted from the later of the two: heaters that are raised once more begin anew.
    expect(warming(cold, { ...on(21), step_us: ago(3) }).broken).toEqual([])
    expect(warming(cold, { rails: { LT: { on_us: ago(3) } }, step_us: ago(21) }).broken).toEqual([])
  })
})

describe('a rail that is lowered', () => {
  const plan = (change: (plan: Plan) => Plan = (same) => same) =>
    smallPlan((small) =>
      withOneMore({ do: 'lower', stage: 'down', rail: 'HT', target_V: 100 })(change(small)),
    )
  const down = (V: number | null, since_s: number, read_s = 0): Draft =>
    at(plan(), added, 'arrive', {
      part_us: ago(since_s),
      rails: { HT: { V: V === null ? null : { value: V, t_us: ago(read_s) } } },
    })

  it('is told its volts at once, each of its channels its part', () => {
    const d = at(plan(), added, 'gate')
    expect(told(d)).toEqual([{ channel: 'ht.1', do: 'set', volts: 100 }])
    expect(d.s.part).toBe('arrive')
    expect(told(at(plan(halves), added, 'gate'))).toEqual([
      { channel: 'ht.1', do: 'set', volts: 50 },
      { channel: 'ht.2', do: 'set', volts: 50 },
    ])
  })

  it('has come down once a reading from after that says so, to a fiftieth and two last digits', () => {
    expect(down(102.1, 5).s.part).toBe('hold')
    expect(down(102.3, 5).s.part).toBe('arrive')
    expect(down(20, 5).s.part).toBe('hold')
    expect(down(90, 5, 5).s.part).toBe('arrive')
    expect(down(90, 5, 4.9).s.part).toBe('hold')
    expect(down(null, 5).s.part).toBe('arrive')
  })

  it('is given two minutes for its charge, and then the run ends with where it stands', () => {
    expect(down(180, 120).broken).toEqual([])
    expect(down(180, 120.1).broken).toMatchObject([
      {
        ...{ code: 'off-set-point', rail: 'HT', measured: 180, limit: 100, unit: 'V' },
        text: 'HT was lowered to 100 V and still stands at 180 V two minutes later.',
      },
    ])
    expect(down(null, 120.1).broken).toMatchObject([{ code: 'off-set-point', rail: 'HT' }])
    // What was read before it was lowered does not say that it came down.
    expect(down(90, 120.1, 121).broken).toMatchObject([{ code: 'off-set-point', rail: 'HT' }])
  })
})

describe('a hand inside the set', () => {
  const inside: Step['ask'] = {
    ...{ text: 'Pull V2.', wants: { kind: 'confirm' }, timeout_s: 0, inside: true, about: 'pull V2' },
  }
  const plan = smallPlan(withOneMore({ do: 'ask', ask: inside }))
  const touched = (set_V: number, V: number, more: Partial<RailState> = {}): Draft =>
    at(plan, added, 'gate', { rails: { HT: { set_V, V: { value: V, t_us: now_us }, ...more } } })

  it('is never asked for while anything stands above the touch limit: the run ends', () => {
    for (const d of [touched(250, 250), touched(30, 70), touched(70, 30)]) {
      expect(asked(d)).toEqual([])
      expect(d.broken).toMatchObject([{ code: 'invariant' }])
      expect(d.broken[0]?.text).toBe('Step 9 asks for a hand inside the set while HT stands above 60 V.')
    }
  })

  it('is not asked for while a rail that is no HT stands there, or HT that a transformer makes more of', () => {
    const bias = at(plan, added, 'gate', {
      rails: { HT: { energised: false }, BIAS: { set_V: 70, V: { value: 70, t_us: now_us } } },
    })
    expect([asked(bias), bias.broken[0]?.text]).toEqual([
      [],
      'Step 9 asks for a hand inside the set while BIAS stands above 60 V.',
    ])
    const HT = { ...plan.rails['HT']!, touch_V: 20 }
    const made = at({ ...plan, rails: { ...plan.rails, HT } }, added, 'gate', {
      rails: { HT: { set_V: 30, V: { value: 30, t_us: now_us } } },
    })
    expect([asked(made), made.broken.length]).toEqual([[], 1])
  })

  it('is asked for once it does not', () => {
    const d = touched(30, 30)
    expect([asked(d), d.broken, d.s.part]).toEqual([['pull V2'], [], 'asking'])
    expect(asked(touched(0, 0, { energised: false }))).toEqual(['pull V2'])
  })

  it('is asked for at any volts where the question needs none', () => {
    const outside = smallPlan(withOneMore({ do: 'ask', ask: { ...inside, inside: false } }))
    expect(asked(at(outside, added, 'gate'))).toEqual(['pull V2'])
  })
})

describe('a question about a protection that may have latched', () => {
  const clear: Step['ask'] = {
    ...{ text: 'Clear it.', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: 'clear ht.1' },
  }
  const plan = smallPlan(withOneMore({ do: 'ask', ask: clear }))

  it('is asked where it did, and is passed where it did not', () => {
    expect(asked(at(plan, added, 'gate', { latched: true }))).toEqual(['clear ht.1'])
    const d = at(plan, added, 'gate')
    expect([asked(d), d.s.done]).toEqual([[], [added]])
  })
})

it('a run with no step left runs down', () => {
  const state = { ...new MidStep(smallPlan(), holds, 'hold').state, step: added }
  const d = draftOf(state, () => undefined)
  advance(d)
  expect(d.s.off).toMatchObject({ outcome: 'completed', reason: null, how: 'run down' })
})

it('a step that would raise a rail without limits for it ends the run, and tells its supply nothing', () => {
  const bare = smallPlan(steps((step) => (step.index === 7 ? { ...step, limits: {} } : step)))
  const { state } = new MidStep(smallPlan(), at250, 'gate')
  const d = draftOf({ ...state, plan: bare }, () => undefined)
  advance(d)
  expect(d.broken).toMatchObject([{ code: 'invariant', text: 'Step 7 would raise HT without limits.' }])
  expect(told(d)).toEqual([])
})
