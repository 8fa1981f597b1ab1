import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan } from '../../src/plan/index.js'
import { draftOf } from '../../src/sequencer/draft.js'
import { limitsFor, limitsStand, roomMade } from '../../src/sequencer/standing.js'
import type { ChannelState, Draft, RailState, State } from '../../src/sequencer/state.js'
import { recorded } from '../helpers/moment.js'
import { MidStep } from '../helpers/mid-step.js'
import { byHand, limitsAt, smallPlan } from '../helpers/small-plan.js'

/* The supply's own limits of what stands, looked at in one moment: which are told anew, to what, and when. */

const [rises, holds] = [6, 7]
/** Every step gives the bias supply a limit of 20 mA. */
const round = (plan: Plan): Plan => ({
  ...plan,
  steps: plan.steps.map((step) =>
    step.limits['BIAS'] === undefined
      ? step
      : { ...step, limits: { ...step.limits, BIAS: limitsAt(40, 0.01, { supply_limit_A: 0.02 }) } },
  ),
})

interface At {
  readonly at?: number
  readonly plan?: Plan
  readonly channels?: Readonly<Record<string, Partial<ChannelState>>>
  readonly rails?: Readonly<Record<string, Partial<RailState>>>
  readonly more?: Partial<State>
}
/** All three rails stand under the limits of the step, and their readings are newer than any limits that were told. */
function moment({ at = holds, plan = smallPlan(round), channels = {}, rails = {}, more }: At): Draft {
  const { state } = new MidStep(plan, at, 'hold', { intent: { id: 1, recorded: true } })
  const over = <T>(known: Readonly<Record<string, T>>, changes: Readonly<Record<string, Partial<T>>>) =>
    Object.fromEntries(Object.entries(known).map(([name, each]) => [name, { ...each, ...changes[name] }]))
  const merged = { channels: over(state.channels, channels), rails: over(state.rails, rails) }
  return draftOf({ ...state, ...merged, ...more }, () => undefined)
}
/** What was told, and whether all was as wanted. */
function told(how: 'room' | 'step', over: At): [boolean, unknown[]] {
  const d = moment(over)
  const stands = limitsStand(d, d.s.plan.steps[d.s.step]!, how)
  expect(d.broken).toEqual([])
  const lines = d.out.flatMap((each) =>
    each.kind === 'line' && each.do === 'limits' ? [[each.channel, each.limit_A, each.over_voltage_V]] : [],
  )
  return [stands, lines]
}
/** The bias supply limits at this, as last read back; the step wants 20 mA and 43 V. */
const bias = (limit_A: number, over_V: number | null = 43): At => ({
  channels: { 'bias.1': { limit_A, over_V } },
})
const all = [true, []]
const none = [false, []]

describe('limits of rails that stand', () => {
  it('are left alone where they are as the step wants them', () => {
    expect([told('step', {}), told('room', {})]).toEqual([all, all])
  })

  it('are only widened while there is a rise to make room for, and taken back in the hold', () => {
    expect([told('room', bias(0.019)), told('room', bias(0.021))]).toEqual([
      [false, [['bias.1', 0.02, 43]]],
      all,
    ])
    expect([told('step', bias(0.019)), told('step', bias(0.021))]).toEqual([
      [false, [['bias.1', 0.02, 43]]],
      [false, [['bias.1', 0.02, 43]]],
    ])
  })

  it('are current and over-voltage level: room for one does not narrow the other', () => {
    expect(told('room', bias(0.02, 42))).toEqual([false, [['bias.1', 0.02, 43]]])
    expect(told('room', bias(0.02, 44))).toEqual(all)
    expect(told('step', bias(0.02, 44))).toEqual([false, [['bias.1', 0.02, 43]]])
    expect(told('room', bias(0.021, 42))).toEqual([false, [['bias.1', 0.021, 43]]])
  })

  it('of the rail that rises itself are its own step’s business', () => {
    const ht: At = { at: rises, channels: { 'ht.1': { limit_A: 0.05 } } }
    expect(told('room', ht)).toEqual(all)
    expect(told('step', ht)).toEqual([false, [['ht.1', expect.closeTo(0.09), 263.5]]])
  })

  it('are not told to an output that is not on, to a rail that is down, or where none were ever read back', () => {
    for (const known of [{ output: 'off' }, { output: 'unknown' }, { limit_A: null }] as const)
      expect(told('step', { channels: { 'bias.1': { limit_A: 0.01, ...known } } })).toEqual(all)
    expect(told('step', { ...bias(0.01), rails: { BIAS: { energised: false } } })).toEqual(all)
  })

  it('are not made up for a rail that this step has none for, or means to have at nothing', () => {
    const without = (BIAS: 'none' | 'at nothing'): Plan =>
      smallPlan((plan) => ({
        ...plan,
        steps: plan.steps.map((step) => ({
          ...step,
          limits: {
            LT: step.limits['LT']!,
            ...(BIAS === 'at nothing' && { BIAS: limitsAt(0, 0) }),
          },
        })),
      }))
    for (const BIAS of ['none', 'at nothing'] as const) {
      const stands = { energised: true }
      const over = { plan: without(BIAS), rails: { BIAS: stands, HT: stands } }
      const channels = {
        'bias.1': { output: 'on', limit_A: 0.01 },
        'ht.1': { output: 'on', limit_A: 0.01 },
      } as const
      expect(told('step', { ...over, channels })).toEqual(all)
    }
  })
})

describe('limits that have to change', () => {
  const narrow = bias(0.019)
  const pending = (channel: string, request: 'limits' | 'off'): Partial<State> => ({
    pending: {
      7: {
        channel,
        request: request === 'off' ? { do: 'off' } : { do: 'limits', limit_A: 1, over_voltage_V: null },
        t_us: 0,
      },
    },
  })
  const goes = [false, [['bias.1', 0.02, 43]]]

  it('wait for limits that are under way on any channel, and for nothing else', () => {
    for (const channel of ['lt.1', 'bias.1'])
      expect(told('step', { ...narrow, more: pending(channel, 'limits') })).toEqual(none)
    expect(told('step', { ...narrow, more: pending('lt.1', 'off') })).toEqual(goes)
  })

  it('wait until every rail was read after the last ones: judging goes before asking', () => {
    const { t_us } = moment({}).s
    for (const quantity of ['V', 'A'] as const)
      for (const rail of ['LT', 'BIAS', 'HT'])
        for (const sample of [{ value: 1, t_us: t_us - 1e6 }, null])
          expect(
            told('step', {
              ...narrow,
              rails: { [rail]: { [quantity]: sample } },
              more: { limits_us: t_us - 1e6 },
            }),
          ).toEqual(none)
    expect(told('step', { ...narrow, more: { limits_us: t_us - 1 } })).toEqual(goes)
  })

  it('do not wait for what is off, or on a knob: no line brings that', () => {
    const { t_us } = moment({}).s
    const more = { limits_us: t_us - 1e6 }
    const quiet = { V: null, A: null }
    expect(told('step', { ...narrow, rails: { HT: { ...quiet, energised: false } }, more })).toEqual(goes)
    expect(
      told('step', {
        ...narrow,
        plan: smallPlan((plan) => round(byHand('HT')(plan))),
        rails: { HT: quiet },
        more,
      }),
    ).toEqual(goes)
  })

  it('are told one channel after another', () => {
    const both: At = { channels: { 'bias.1': { limit_A: 0.019 }, 'lt.1': { limit_A: 7 } } }
    expect(told('step', both)[1]).toHaveLength(1)
  })
})

describe('room for a control that is turned', () => {
  const made = (over: At) => {
    const d = moment(over)
    const done = roomMade(d, d.s.plan.steps[d.s.step]!)
    return { done, d, lines: d.out.filter(({ kind }) => kind === 'line').length }
  }
  const narrow = bias(0.019)

  it('needs no word where there is enough', () => {
    const { done, d } = made({ ...bias(0.021), more: { intent: null } })
    expect([done, d.out, d.s.intent]).toEqual([true, [], null])
  })

  it('has its intent in the record before anything is told, once', () => {
    const { done, d, lines } = made({ ...narrow, more: { intent: null } })
    expect([done, lines, d.s.intent]).toEqual([false, 0, { id: 1, recorded: false }])
    expect(d.s.next_intent).toBe(2)
    expect(recorded(d)).toBe('Widen supply limits for hold: BIAS (bias.1) 20 mA.')
    expect(d.out).toMatchObject([
      {
        entry: { intent: 1, data: { channels: [{ channel: 'bias.1', limit_A: 0.02, over_voltage_V: 43 }] } },
      },
    ])
    const waits = made({ ...narrow, more: { intent: { id: 1, recorded: false } } })
    expect([waits.done, waits.d.out]).toEqual([false, []])
    expect(made(narrow)).toMatchObject({ done: false, lines: 1 })
  })
})

it('what a step’s limits mean for a channel: never below what it can be set to, its share of the level, no level where it has none', () => {
  const part = smallPlan().rails['HT']!.channels[0]!
  const meant = (over: Partial<RailPlan['channels'][number]>, supply_limit_A = 0.09, over_voltage_V = 200) =>
    Object.values(limitsFor({ ...part, ...over }, limitsAt(250, 0.05, { supply_limit_A, over_voltage_V })))
  expect(meant({})).toEqual([0.09, 200])
  expect(meant({ min_A: 0.1 })).toEqual([0.1, 200])
  expect(meant({ share: 0.5 })).toEqual([0.09, 100])
  expect(meant({ max_V: 150 })).toEqual([0.09, 150])
  expect(meant({ over_voltage: false })).toEqual([0.09, null])
  expect(meant({}, 0.09, 0)).toEqual([0.09, null])
})
