import { describe, expect, it } from 'vitest'
import type { MeterPlan, Plan, RailPlan } from '../../src/plan/index.js'
import { heatersReady } from '../../src/sequencer/interlocks.js'
import {
  accuracy,
  ampsCome,
  channelOf,
  hookedUp,
  nothing_A,
  offBelow_V,
  paced_s,
  resolution,
  touchOf,
  without,
} from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What a read-back can show: its last digit, its error, what counts as nothing and as off. */

const withHT = (change: (HT: RailPlan) => Partial<RailPlan>, meters: Plan['meters'] = {}): Plan =>
  smallPlan((plan) => ({
    ...plan,
    rails: { ...plan.rails, HT: { ...plan.rails['HT']!, ...change(plan.rails['HT']!) } },
    meters: { ...plan.meters, ...meters },
  }))
const of = <T>(plan: Plan, figure: (s: ReturnType<typeof momentOf>['s'], HT: RailPlan) => T): T =>
  figure(momentOf(plan, 7).s, plan.rails['HT']!)

const meter = (name: string, more: Partial<MeterPlan>): Plan['meters'] => ({
  [name]: { ...smallPlan().meters['grid meter']!, name, port: name, ...more },
})
const meters: Plan['meters'] = {
  ...meter('HT V', { resolution: 1, accuracy: { of_reading: 0.01, plus: 3 } }),
  ...meter('HT A', { measures: 'A', resolution: 0.002, accuracy: { of_reading: 0.03, plus: 0.004 } }),
}
const knob = (volts_meter: string | null, amps_meter: string | null): Plan =>
  withHT(() => ({ class: 'watched', channels: [], volts_meter, amps_meter }), meters)

describe('a rail of one supply', () => {
  it('shows what that supply’s read-back does, at any size and of either sign', () => {
    expect(of(smallPlan(), resolution)).toEqual({ V: 0.1, A: 0.0001 })
    for (const sign of [1, -1]) {
      const { V, A } = of(smallPlan(), (s, HT) => accuracy(s, HT, sign * 200, sign * 0.1))
      expect([V, A]).toEqual([expect.closeTo(0.3, 9), expect.closeTo(0.0004, 9)])
    }
  })
})

describe('a rail of two outputs in series', () => {
  const stacked = withHT(({ channels: [one] }) => {
    const half = { ...one!, share: 0.5 }
    const coarse = { of_reading: 0.01, plus: 0.001 }
    return {
      channels: [half, { ...half, channel: 'top.1', port: 'top', resolution_A: 0.001, accuracy_A: coarse }],
    }
  })

  it('is off by what both volts may be off, and by the worse of the two currents', () => {
    expect(of(stacked, resolution)).toEqual({ V: 0.2, A: 0.001 })
    const { V, A } = of(stacked, (s, HT) => accuracy(s, HT, 200, 0.1))
    expect([V, A]).toEqual([expect.closeTo(0.4, 9), expect.closeTo(0.002, 9)])
  })
})

describe('a rail on a knob', () => {
  it('shows what its own meters do', () => {
    expect(of(knob('HT V', 'HT A'), resolution)).toEqual({ V: 1, A: 0.002 })
    const { V, A } = of(knob('HT V', 'HT A'), (s, HT) => accuracy(s, HT, -200, -0.1))
    expect([V, A]).toEqual([expect.closeTo(5, 9), expect.closeTo(0.007, 9)])
  })

  it('that a person reads is taken to a tenth of a volt, a milliampere and a fiftieth', () => {
    expect(of(knob(null, null), resolution)).toEqual({ V: 0.1, A: 0.001 })
    const { V, A } = of(knob(null, null), (s, HT) => accuracy(s, HT, -200, -0.1))
    expect([V, A]).toEqual([expect.closeTo(4, 9), expect.closeTo(0.002, 9)])
    expect(of(knob('HT V', null), resolution)).toEqual({ V: 1, A: 0.001 })
    expect(of(knob(null, 'HT A'), resolution)).toEqual({ V: 0.1, A: 0.002 })
  })

  it('has a current that comes by itself only where a meter on a line reads it', () => {
    expect(of(knob('HT V', 'HT A'), ampsCome)).toBe(true)
    expect(of(knob('HT V', null), ampsCome)).toBe(false)
    const byEye = withHT(
      () => ({ class: 'watched', channels: [], volts_meter: 'HT V', amps_meter: 'HT A' }),
      { ...meters, ...meter('HT A', { measures: 'A', port: null }) },
    )
    expect(of(byEye, ampsCome)).toBe(false)
    expect(
      of(
        withHT(() => ({ class: 'watched', channels: [], amps_meter: 'no such' })),
        ampsCome,
      ),
    ).toBe(false)
    expect(
      of(
        withHT(() => ({ class: 'hand', channels: [], amps_meter: 'HT A' }), meters),
        ampsCome,
      ),
    ).toBe(false)
    expect(of(smallPlan(), ampsCome)).toBe(true)
  })
})

describe('no current', () => {
  const nothing = (resolution_A: number, plus: number): number =>
    of(
      withHT(({ channels }) => ({
        channels: channels.map((part) => ({ ...part, resolution_A, accuracy_A: { of_reading: 0.01, plus } })),
      })),
      nothing_A,
    )

  it('may read as the last digit, or as the zero error where that is more', () => {
    expect([nothing(0.001, 0.0002), nothing(0.0001, 0.002)]).toEqual([0.001, 0.002])
  })
})

describe('off', () => {
  it('is five volts at the terminals, and a tenth of what heaters of few volts have', () => {
    const at = (rail: string, volts: number): number =>
      offBelow_V(
        momentOf(
          smallPlan((plan) => ({ ...plan, heaters: plan.heaters.map((watch) => ({ ...watch, volts })) })),
          7,
        ).s,
        rail,
      )
    expect([at('LT', 1.4), at('LT', 60), at('HT', 1.4)]).toEqual([expect.closeTo(0.14, 9), 5, 5])
  })

  it('means that nobody is asked to keep off up to 60 V, or to what the plan says of a rail behind a transformer', () => {
    expect([touchOf(undefined), of(smallPlan(), (_, HT) => touchOf(HT))]).toEqual([60, 60])
    expect(
      of(
        withHT(() => ({ touch_V: 20 })),
        (_, HT) => touchOf(HT),
      ),
    ).toBe(20)
  })
})

describe('a channel', () => {
  it('belongs to the rail that it feeds, and to none where the plan does not know it', () => {
    const { s } = momentOf(smallPlan(), 7)
    expect(channelOf(s, 'bias.1')).toMatchObject({ rail: { name: 'BIAS' }, plan: { channel: 'bias.1' } })
    expect(channelOf(s, 'other.1')).toBeNull()
    const elsewhere = { ...s, channels: { ...s.channels, 'other.1': s.channels['ht.1']! } }
    expect(channelOf(elsewhere, 'other.1')).toBeNull()
  })

  it('is taken out of what is waited for by its name alone', () => {
    expect(without({ 1: 'a', 11: 'b' }, '1')).toEqual({ 11: 'b' })
    expect(without({ 1: 'a' }, '2')).toEqual({ 1: 'a' })
  })
})

it('a set is hooked up once every point was read as dead and every connection confirmed, in this start', () => {
  const plan = smallPlan()
  const [dead, wires] = [plan.prove_dead.length, plan.wires.length]
  const is = (proved_dead: number, wires_done: number) =>
    hookedUp(momentOf(plan, 0, { proved_dead, wires_done }).s)
  expect([is(dead, wires), is(dead - 1, wires), is(dead, wires - 1), is(0, 0)]).toEqual([
    true,
    ...[false, false, false],
  ])
})

it('what line and computer may take is longer by as much as a run goes faster than real time', () => {
  const paced = (pace?: number) =>
    paced_s(
      momentOf(
        smallPlan((plan) => ({ ...plan, ...(pace !== undefined && { pace }) })),
        7,
      ).s,
      10,
    )
  expect([paced(), paced(1), paced(30)]).toEqual([10, 10, 300])
})

it('heaters are ready once every chain was in its band for its own time', () => {
  const plan = smallPlan((small) => ({
    ...small,
    heaters: [small.heaters[0]!, { ...small.heaters[0]!, chain: 'H2', warm_up_s: 90 }],
  }))
  const after = (seconds: number | null): boolean =>
    heatersReady(
      momentOf(plan, 5, {
        rails: standing(plan, 'LT', 12, 4, {
          good_since_us: seconds === null ? null : now_us - seconds * 1e6,
        }),
      }).s,
    )
  expect([after(90), after(89.9), after(30), after(null)]).toEqual([true, false, false, false])
})
