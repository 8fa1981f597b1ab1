import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import type { State } from '../../src/sequencer/index.js'
import type { StepPart } from '../../src/sequencer/state.js'
import {
  advanced as at,
  ago,
  asked,
  intents,
  now_us,
  onChannels,
  type Over,
  told,
} from '../helpers/advanced.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* The way of a raise from its gate to its ramp: hands, intent, limits and output, each looked at once more where it took its time. */

const [bias, at100, at250] = [4, 5, 6]
const small = smallPlan()
const done = { id: 1, recorded: true }
const low = { 'grid meter': { value: -20, t_us: now_us } }
const under: State['pending'] = { 9: { channel: 'ht.1', request: { do: 'set', volts: 0 }, t_us: now_us } }
/** HT is off, as before its first raise, with its limits read back for this step unless something else is said. */
const off = (more: Partial<State['channels'][string]> = {}): Over => ({
  rails: { HT: { set_V: 0, V: { value: 0, t_us: now_us }, energised: false, on_us: null } },
  channels: { 'ht.1': { output: 'off', set_V: 0, ...more } },
})

describe('a raise', () => {
  it('above the touch limit asks for hands that are clear, and writes its intent only then', () => {
    const asks = at(small, at100, 'gate', off())
    expect([asked(asks), intents(asks), asks.s.part]).toEqual([['hands clear'], [], 'hands'])
    const sounding = at(small, at100, 'hands', { ...off(), hands_clear_until_us: now_us + 1 })
    expect([intents(sounding), sounding.s.part]).toEqual([[], 'hands'])
    const clear = at(small, at100, 'hands', { ...off(), hands_in: true, hands_clear_until_us: now_us })
    expect([intents(clear).length, clear.s.part, clear.s.hands_in]).toEqual([1, 'intent', false])
    expect(clear.s.intent).toEqual({ id: 1, recorded: false })
  })

  it('waits with everything until its intent is in the record, and writes it once', () => {
    for (const intent of [null, { id: 1, recorded: false }]) {
      const d = at(small, at100, 'intent', { ...off(), intent })
      expect([told(d), intents(d), d.s.part]).toEqual([[], [], 'intent'])
    }
  })

  it('looks at its interlocks once more when the record has it, and when its output is to go on', () => {
    const warm = at(small, at100, 'intent', { ...off({ set_V: 40 }), intent: done })
    expect(told(warm)).toEqual([{ channel: 'ht.1', do: 'set', volts: 0 }])
    for (const part of ['intent', 'on'] as const) {
      const d = at(small, at100, part, { ...off({ set_V: 40 }), intent: done, meters: low })
      expect([told(d), d.s.part]).toEqual([[], part])
    }
  })

  it('takes a set-point from another run to its least before anything else, while its output is off', () => {
    const left = at(small, at100, 'first set', { ...off({ set_V: 240, limits_step: 5 }), intent: done })
    expect(told(left)).toEqual([{ channel: 'ht.1', do: 'set', volts: 0 }])
    const unknown = at(small, at100, 'first set', { ...off({ set_V: null }), intent: done })
    expect(told(unknown)).toEqual([{ channel: 'ht.1', do: 'set', volts: 0 }])
    const waits = at(small, at100, 'first set', { ...off({ set_V: 240 }), intent: done, pending: under })
    expect([told(waits), waits.s.part]).toEqual([[], 'first set'])
  })

  it('then sets limits, and then switches on: each only where it is still to be done', () => {
    const limits = at(small, at100, 'first set', { ...off({ limits_step: 5 }), intent: done })
    expect(told(limits)).toMatchObject([{ channel: 'ht.1', do: 'limits', over_voltage_V: 106 }])
    const on = at(small, at100, 'first set', { ...off(), intent: done })
    expect(told(on)).toEqual([{ channel: 'ht.1', do: 'on' }])
    expect(on.s.rails['HT']).toMatchObject({ energised: true, on_us: now_us })
    const waits = at(small, at100, 'on', { ...off(), intent: done, pending: under })
    expect([told(waits), waits.s.part]).toEqual([[], 'on'])
  })

  it('of several channels switches on those that are off, and rises once all of them are on', () => {
    const two = smallPlan(onChannels({ share: 0.5 }, { channel: 'ht.2', share: 0.5 }))
    const says = (first: 'on' | 'off', second: 'on' | 'off') =>
      at(two, at250, 'on', {
        intent: done,
        channels: { 'ht.1': { output: first }, 'ht.2': { output: second } },
      })
    expect(told(says('on', 'off'))).toEqual([{ channel: 'ht.2', do: 'on' }])
    expect(told(says('off', 'off')).map(({ channel }) => channel)).toEqual(['ht.1', 'ht.2'])
    expect(says('on', 'on').s.part).toBe('ramp')
    // The same where it is asked whether its first volts have to be set anew: they do where any of them is off.
    const intent = (second: 'on' | 'off') =>
      at(two, at250, 'intent', {
        intent: done,
        channels: { 'ht.1': { output: 'on', limits_step: 6 }, 'ht.2': { output: second, limits_step: 6 } },
      })
    expect(told(intent('on')).map((each) => each.do)).toEqual(['limits', 'limits'])
    expect(told(intent('off')).map((each) => each.do)).toEqual(['set', 'set'])
  })

  it('that stands already goes on from its limits: its set-point is not taken down', () => {
    const d = at(small, at250, 'intent', { intent: done, channels: { 'ht.1': { limits_step: 6 } } })
    expect(told(d).map((each) => each.do)).toEqual(['limits'])
  })

  it('that a question held up on its way goes through its gate again, and not below the touch limit', () => {
    const ramp = { intent: done, hands_in: true, channels: { 'ht.1': { set_V: 100 } } }
    const d = at(small, at250, 'ramp', { ...ramp, rails: { HT: { set_V: 100 } } })
    expect([told(d), asked(d), d.s.part]).toEqual([[], ['hands clear'], 'hands'])
    const touched = at(small, bias, 'ramp', { ...ramp, rails: { BIAS: { set_V: 20 } }, channels: {} })
    expect(touched.s.part).toBe('arrive')
  })
})

describe('a rail on a person’s knob', () => {
  const knob = (change: (plan: Plan) => Plan = (plan) => plan): Plan =>
    smallPlan((plan) => {
      const HT = { ...plan.rails['HT']!, class: 'watched' as const, channels: [] }
      return change({ ...plan, rails: { ...plan.rails, HT } })
    })
  const turned = (part: StepPart, more: Over = {}, plan = knob()) => at(plan, at250, part, more)

  it('is asked to be turned once interlocks, hands and record are as for any other, and not before', () => {
    const gate = turned('gate')
    expect([asked(gate), intents(gate).length, gate.s.part]).toEqual([[], 1, 'intent'])
    expect(asked(turned('intent', { intent: { id: 1, recorded: false } }))).toEqual([])
    const d = turned('intent', { intent: done })
    expect([asked(d), d.s.part]).toEqual([['knob HT'], 'asking'])
    const without = turned('intent', { intent: done, meters: low })
    expect([asked(without), without.s.part]).toEqual([[], 'intent'])
    const cold = turned('gate', { rails: { LT: { good_since_us: ago(20) } } })
    expect([asked(cold), intents(cold), cold.s.part]).toEqual([[], [], 'gate'])
  })

  it('is not asked to be turned with a hand that may be inside, unless it stays below the touch limit', () => {
    const inside = { intent: done, hands_in: true }
    const d = turned('intent', inside)
    expect([asked(d), d.s.part]).toEqual([['hands clear'], 'hands'])
    const low_V = knob(steps((step) => (step.index === 7 ? { ...step, target_V: 60 } : step)))
    expect(asked(turned('intent', inside, low_V))).toEqual(['knob HT'])
  })

  it('is asked to be turned only once the supplies of other rails have the room that its step needs', () => {
    const wide = limitsAt(40, 0.01, { supply_limit_A: 0.05 })
    const plan = knob(
      steps((step) => (step.index === 7 ? { ...step, limits: { ...step.limits, BIAS: wide } } : step)),
    )
    const d = turned('intent', { intent: done, channels: { 'bias.1': { limit_A: 0.018 } } }, plan)
    expect([asked(d), d.s.part]).toEqual([[], 'intent'])
    expect(told(d)).toMatchObject([{ channel: 'bias.1', do: 'limits', limit_A: 0.05 }])
  })

  it('is asked about once: while the question stands open nothing else happens', () => {
    const d = turned('asking', { intent: done })
    expect([asked(d), told(d), d.s.part]).toEqual([[], [], 'asking'])
  })
})
