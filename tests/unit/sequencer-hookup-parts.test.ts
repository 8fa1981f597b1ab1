import { describe, expect, it } from 'vitest'
import type { HookupTest, Plan } from '../../src/plan/index.js'
import { advanceHookup, judgeHookup, polarityWrong } from '../../src/sequencer/hookup.js'
import type { ChannelState, State, StepPart } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* The hook-up check part by part: what is told to the supply, whose polarity is believed, and whether it fell after OFF. */

const places = { LT: 0, BIAS: 1, HT: 2 } as const
type Name = keyof typeof places
type Polarity = NonNullable<HookupTest['polarity']>
interface Change {
  readonly test?: Partial<HookupTest>
  readonly polarity?: Partial<Polarity>
  readonly plan?: (plan: Plan) => Plan
}
const planOf = (name: Name, { test, polarity, plan: more = (plan) => plan }: Change): Plan =>
  smallPlan((plan) =>
    more({
      ...plan,
      steps: plan.steps.map((step, at) =>
        at === places[name] && step.hookup?.polarity
          ? {
              ...step,
              hookup: { ...step.hookup, ...test, polarity: { ...step.hookup.polarity, ...polarity } },
            }
          : step,
      ),
    }),
  )
interface At extends Change {
  readonly waited_s?: number
  readonly channel?: Partial<ChannelState>
  /** The rail's volts, and how long ago they were read, s. */
  readonly V?: readonly [volts: number, ago_s: number]
  readonly more?: Partial<State>
}
/** One moment of a part that was come to so long ago. */
function moment(name: Name, part: StepPart, { waited_s = 2, channel, V, more, ...change }: At = {}) {
  const plan = planOf(name, change)
  const step = plan.steps[places[name]]!
  const own = `${name.toLowerCase()}.1`
  const read = V === undefined ? null : { value: V[0], t_us: now_us - V[1] * 1e6 }
  const { channels } = momentOf(plan, places[name]).s
  const d = momentOf(plan, places[name], {
    ...{ part, part_us: now_us - waited_s * 1e6, rails: standing(plan, name, 3, 0, { V: read }) },
    intent: { id: 1, recorded: true },
    channels: { ...channels, [own]: { ...channels[own]!, V: read, ...channel } },
    ...more,
  })
  const came: string[] = []
  advanceHookup(
    d,
    step,
    (to) => came.push(to),
    () => came.push('done'),
  )
  return { d, step, came, told: d.out.filter((command) => command.kind === 'line') }
}

describe('what is told to the supply in a hook-up check', () => {
  it('waits for no other channel, only for what is under way on its own', () => {
    const pending = (channel: string): Partial<State> => ({
      pending: { 9: { channel, request: { do: 'off' }, t_us: now_us } },
    })
    expect(moment('LT', 'hook-up least', { more: pending('ht.1') }).told).toMatchObject([
      { channel: 'lt.1', do: 'set', volts: 0 },
    ])
    expect(moment('LT', 'hook-up least', { more: pending('lt.1') }).told).toEqual([])
  })

  it('is an over-voltage level a tenth above its few volts, or the margin that the supply needs, if that is more', () => {
    const level = (over_voltage_margin_V: number) => {
      const plan = (made: Plan): Plan => {
        const HT = made.rails['HT']!
        const channels = [{ ...HT.channels[0]!, over_voltage_margin_V }]
        return { ...made, rails: { ...made.rails, HT: { ...HT, channels } } }
      }
      return moment('HT', 'hook-up limits', { plan }).told[0]
    }
    expect(level(0.1)).toMatchObject({ do: 'limits', limit_A: 0.005, over_voltage_V: 3.3 })
    expect(level(1)).toMatchObject({ over_voltage_V: 4 })
  })
})

describe('the polarity of a rail', () => {
  const shows = (value: number, ago_s = 0): Partial<State> => ({
    meters: { 'grid meter': { value, t_us: now_us - ago_s * 1e6 } },
  })
  const byMeter = (value: number, { ago_s = 0, waited_s = 2 } = {}) =>
    moment('BIAS', 'hook-up polarity', {
      polarity: { meter: 'grid meter' },
      waited_s,
      more: shows(value, ago_s),
    })

  it('is right where a meter reads it inside its window, ends and all', () => {
    for (const volts of [-4, -3, -0.5]) expect(byMeter(volts).came).toEqual(['hook-up ohms'])
    for (const volts of [-4.1, -0.4, 3]) expect(byMeter(volts).came).toEqual([])
  })

  it('is read half a second after the output came on at the soonest, and for five seconds', () => {
    expect(byMeter(-3, { ago_s: 1.5 }).came).toEqual([])
    expect(byMeter(-3, { ago_s: 1.4 }).came).toEqual(['hook-up ohms'])
    expect(byMeter(3, { waited_s: 5 }).d.broken).toEqual([])
    expect(byMeter(3, { waited_s: 5.1 }).d.broken).toMatchObject([{ code: 'hook-up', measured: 3 }])
  })

  const typed = (ago_s: number | null, read_s = 0) =>
    moment('BIAS', 'hook-up polarity', {
      V: [3, read_s],
      more: ago_s === null ? {} : { typed: { 'polarity:bias.1': { value: -3, t_us: now_us - ago_s * 1e6 } } },
    })
  const asks = ({ d }: ReturnType<typeof moment>): boolean => d.s.prompt !== null

  it('is what a person typed in this check, not in one before', () => {
    expect(typed(2).came).toEqual(['hook-up ohms'])
    expect(typed(2.1).came).toEqual([])
    expect(asks(typed(2.1))).toBe(true)
  })

  it('is asked of nobody before the supply has said what stands there', () => {
    expect([typed(null, 2), typed(null, 2.1), typed(null, 1.9)].map(asks)).toEqual([false, false, true])
  })

  it('is asked for at the point as the hook-up sheet names it: of a negative rail its negative end', () => {
    const line = { rail: 'BIAS', supply: 'bias', first: [], proved_by: 'its volts' }
    const ends = { positive: 'chassis at the grid return', negative: 'grid, pin 5 of V1' }
    const plan = (made: Plan): Plan => ({ ...made, hookup: [{ ...line, ...ends }] })
    const { d } = moment('BIAS', 'hook-up polarity', { V: [3, 0], plan })
    expect(d.s.prompt?.text).toContain('Read the volts at grid, pin 5 of V1 against chassis')
  })

  it('is told as leads reversed only where as many volts of the other sign stand there', () => {
    const told = (measured: number | null): string => {
      const { d, step } = moment('HT', 'hook-up polarity')
      polarityWrong(d, step.hookup!, measured)
      expect(d.broken).toMatchObject([{ code: 'hook-up', rail: 'HT', limit: 0.5 }])
      const text = d.broken[0]?.text ?? ''
      return typeof text === 'string' ? text : text()
    }
    expect(told(-3)).toContain('The leads are reversed.')
    for (const other of [9, -0.2, -0.1, 0, null])
      expect(told(other)).toContain('The leads are on another point, swapped or off.')
  })
})

describe('volts and amps in a hook-up check', () => {
  const judged = (by: 'V' | 'A', value: number) => {
    const { d, step } = moment('HT', 'hook-up ohms')
    const rail = d.s.plan.rails['HT']!
    judgeHookup(d, step, rail, { ...d.s.rails['HT']!, [by]: { value, t_us: now_us } }, by)
    return d.broken
  }

  it('end the run where the test itself cannot make them, allowing for what its read-back may be off', () => {
    expect(judged('V', 5)).toEqual([])
    expect(judged('V', 5.1)).toMatchObject([{ code: 'hook-up', unit: 'V', measured: 5.1, limit: 5 }])
    expect(judged('A', 0.0054)).toEqual([])
    const [over] = judged('A', 0.0055)
    expect(over).toMatchObject({ code: 'hook-up', unit: 'A', measured: 0.0055 })
    expect(over?.text).toContain('HT (ht.1) measures 5.5 mA in its hook-up check')
  })
})

describe('after OFF', () => {
  const fell = (volts: number, ago_s: number, waited_s = 2) =>
    moment('HT', 'hook-up fall', { V: [volts, ago_s], waited_s, more: { hookup_done: ['lt.1', 'bias.1'] } })

  it('the check is done once lower volts were read since, beside those done before', () => {
    const { d, came } = fell(1.7, 1)
    expect(came).toEqual(['done'])
    expect(d.s.hookup_done).toEqual(['lt.1', 'bias.1', 'ht.1'])
    // Read in the very moment of OFF, it says nothing of what came of it.
    expect(fell(1.7, 2).came).toEqual([])
    expect(fell(1.8, 0).came).toEqual([])
  })

  it('a supply that still stands there after ten seconds does not obey', () => {
    expect(fell(3, 0, 10).d.broken).toEqual([])
    expect(fell(3, 0, 10.1).d.broken).toMatchObject([{ code: 'hook-up', measured: 3, unit: 'V' }])
  })
})
