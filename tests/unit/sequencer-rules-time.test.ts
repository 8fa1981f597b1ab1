import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan, Step } from '../../src/plan/index.js'
import { judgeTick } from '../../src/sequencer/judge-time.js'
import type { Draft, LineTrouble, RailState, State } from '../../src/sequencer/state.js'
import { type Read, readOf } from '../helpers/judged.js'
import { now_us, standing } from '../helpers/moment.js'
import { byHand, smallPlan, typedBias } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* What the clock alone ends, looked at in one tick: just inside each time and just beyond it. HT stands at 250 V, all is fresh. */

const [hookupHT, heaters, ht250] = [2, 3, 6]
const ago = (seconds: number): number => now_us - Math.round(seconds * 1e6)
const withHT =
  (change: (HT: RailPlan) => Partial<RailPlan>) =>
  (plan: Plan): Plan => ({
    ...plan,
    rails: { ...plan.rails, HT: { ...plan.rails['HT']!, ...change(plan.rails['HT']!) } },
  })
const watched = smallPlan((plan) => {
  const like = plan.meters['grid meter']!
  const meters = {
    ...plan.meters,
    'HT V': { ...like, name: 'HT V', port: 'meter of HT', at: null, rail: 'HT' },
  }
  return withHT(() => ({ class: 'watched', channels: [], volts_meter: 'HT V' }))({ ...plan, meters })
})

/** One tick, so long after the one before it. */
function ticked(of: Read = {}, dt_s = 0.05): Draft {
  const meters = { 'grid meter': { value: -40, t_us: now_us } }
  const d = readOf({ ...of, more: { meters, ...of.more } })
  judgeTick(d, dt_s)
  return d
}
const codes = (of: Read = {}, dt_s = 0.05): string[] => ticked(of, dt_s).broken.map(({ code }) => code)

it('nothing is wrong in a tick in which all is as it should be', () => {
  expect(codes()).toEqual([])
})

describe('a rail that stands in a step without limits for it', () => {
  const stands = (set_V: number, more: Read = {}): string[] => codes({ at: heaters, V: set_V, ...more })

  it('is no plan of ours above 5 V', () => {
    expect([stands(5), stands(5.1), stands(3)]).toEqual([[], ['invariant'], []])
  })

  it('is a knob that was turned before its turn, by its volts, in a hook-up check as well', () => {
    for (const at of [heaters, hookupHT])
      expect([
        stands(5, { at, plan: watched, over: { set_V: 0 } }),
        stands(5.1, { at, plan: watched, over: { set_V: 0 } }),
      ]).toEqual([[], ['watched-input']])
  })
})

describe('readings of a rail that stay away', () => {
  const trouble = (...ports: string[]): Partial<State> => ({
    line_troubles: Object.fromEntries(
      ports.map((port): [string, LineTrouble] => [
        port,
        { fault: 'unparsable', text: `Trouble on ${port}.`, t_us: ago(0.5) },
      ]),
    ),
  })
  const old = { V: { value: 250, t_us: ago(1.1) } }

  it('are told with what was wrong on the line of its own meter', () => {
    const more = trouble('grid meter', 'meter of HT')
    const [breach] = ticked({ plan: watched, over: old, more }).broken
    expect(breach).toMatchObject({
      code: 'bad-reply',
      text: expect.stringContaining('trouble on meter of HT.') as string,
    })
    const elsewhere = ticked({ plan: watched, over: old, more: trouble('grid meter') }).broken
    expect(elsewhere).toMatchObject([
      {
        code: 'stale',
        text: 'The newest reading of HT is 1.10 s old (limit 1.00 s): the line or its supply has gone quiet.',
      },
    ])
  })

  describe('while it is told ON', () => {
    const two = smallPlan(
      withHT(({ channels: [one] }) => ({
        on_stale_s: 3,
        channels: [
          { ...one!, share: 0.5 },
          { ...one!, share: 0.5, channel: 'top.1', port: 'top' },
        ],
      })),
    )
    const told = (channel: string, request: 'on' | 'off', age_s: number): string[] =>
      codes({
        plan: two,
        over: { V: { value: 250, t_us: ago(age_s) } },
        more: { pending: { 1: { channel, request: { do: request }, t_us: ago(1) } } },
      })

    it('may stay away for longer, whichever of its outputs it is', () => {
      for (const channel of ['ht.1', 'top.1'])
        expect([told(channel, 'on', 2.9), told(channel, 'on', 3.1)]).toEqual([[], ['stale']])
    })

    it('and for no longer by what is asked of another, or by anything but an ON', () => {
      expect([told('bias.1', 'on', 1.1), told('ht.1', 'off', 1.1)]).toEqual([['stale'], ['stale']])
    })
  })
})

describe('the meter at a grid return', () => {
  const read = (age_s: number, more: Read = {}): Draft =>
    ticked({ ...more, more: { meters: { 'grid meter': { value: -40, t_us: ago(age_s) } }, ...more.more } })

  it('is fresh for its time while HT is on', () => {
    expect([read(1).broken, read(1.01).broken]).toMatchObject([
      [],
      [{ code: 'stale', rail: 'BIAS', limit: 1 }],
    ])
    expect(codes({ more: { meters: {} } })).toEqual(['stale'])
    expect(read(50, { V: 40 }).broken).toEqual([])
  })

  it('that stays away is told with what was wrong on its line', () => {
    const line_troubles = {
      'grid meter': { fault: 'unparsable', text: 'It stammered', t_us: ago(0.5) },
    } as const
    expect(read(2, { more: { line_troubles } }).broken).toMatchObject([
      {
        code: 'bad-reply',
        text: expect.stringMatching(/bias meter at grid is 2\.00 s old .*: it stammered\.$/) as string,
      },
    ])
  })
})

describe('volts off a set-point, summed over time', () => {
  /** Off by so much, with so many %·s before this tick. */
  const off = (volts: number, error_pct_s: number, over: Partial<RailState> = {}, more: Read = {}): Draft =>
    ticked({ V: volts, ...more, over: { set_V: 250, set_us: ago(10), error_pct_s, ...over } }, 1)
  const sum = (d: Draft, rail = 'HT'): number => d.s.rails[rail]?.error_pct_s ?? Number.NaN

  it('end the run beyond ten per cent for a second', () => {
    expect([off(250, 10).broken, off(250, 10.01).broken]).toMatchObject([
      [],
      [{ code: 'error-integral', limit: 10, unit: '%·s' }],
    ])
  })

  it('count beyond twice the supply’s error, above and below, and are kept while it stands well', () => {
    // 2 × 0.35 V are allowed; 5 V more for a second are 2 %·s of 250 V.
    expect([sum(off(255.7, 1)), sum(off(244.3, 1))]).toEqual([expect.closeTo(3, 9), expect.closeTo(3, 9)])
    expect([sum(off(250.6, 1)), sum(off(250, 1)), sum(off(250, 1, { V: null, on_us: ago(0.5) }))]).toEqual([
      1, 1, 1,
    ])
  })

  it('count beyond the last digit where that is coarser than the supply’s error', () => {
    const coarse = smallPlan(
      withHT(({ channels }) => ({ channels: channels.map((part) => ({ ...part, resolution_V: 2 })) })),
    )
    expect(sum(off(252, 1, {}, { plan: coarse }))).toBe(1)
    expect(sum(off(252.5, 1, {}, { plan: coarse }))).toBeCloseTo(1.2, 9)
  })

  it('begin two seconds after its set-point moved', () => {
    expect([sum(off(240, 1, { set_us: ago(1.99) })), sum(off(240, 1, { set_us: ago(2) }))]).toEqual([
      0,
      expect.closeTo(1 + 3.72, 9),
    ])
  })

  it('do not count on the way up, nor while a reservoir drains, and do for what stands beside', () => {
    const rising = { at: ht250, more: { part: 'ramp' as const } }
    expect(sum(off(240, 1, {}, rising))).toBe(0)
    expect(sum(off(260, 1, { lowered_us: ago(5) }))).toBe(0)
    const rails = standing(smallPlan(), 'HT', 250, 0.05)
    const beside = off(
      38,
      1,
      { set_V: 40 },
      { ...rising, rail: 'BIAS', A: 0.01, more: { ...rising.more, rails } },
    )
    expect(sum(beside, 'BIAS')).toBeGreaterThan(4)
  })

  it('are no matter of a knob: nobody holds it to a set-point', () => {
    expect(off(240, 50, {}, { plan: watched }).broken).toEqual([])
  })
})

describe('a request whose outcome does not come', () => {
  const pending = (age_s: number): string[] =>
    codes({ more: { pending: { 5: { channel: 'ht.1', request: { do: 'off' }, t_us: ago(age_s) } } } })

  it('is a line that cannot be trusted after ten seconds', () => {
    expect([pending(10), pending(10.01)]).toEqual([[], ['line-lost']])
  })
})

describe('the time of a run', () => {
  it('is over beyond its budget', () => {
    const used = (seconds: number): string[] => codes({ more: { begun_us: ago(seconds) } })
    expect([used(3600), used(3600.01)]).toEqual([[], ['time-budget']])
  })
})

describe('what a person typed', () => {
  const byEye = smallPlan((plan) => byHand('HT')(typedBias(plan)))
  const typed = (volts_s: number, bias_s: number, plan = byEye): Draft =>
    ticked({
      plan,
      over: { V: { value: 250, t_us: ago(volts_s) } },
      more: { typed: { 'node:grid': { value: -40, t_us: ago(bias_s) } } },
    })

  it('is none any more beyond its fifteen minutes and the time of one question', () => {
    expect(typed(1500, 1500).broken).toEqual([])
    expect(typed(1501, 0).broken).toMatchObject([
      { code: 'prompt-timeout', rail: 'HT', measured: 1501, limit: 1500 },
    ])
    expect(typed(0, 1501).broken).toMatchObject([{ code: 'prompt-timeout', rail: 'BIAS', measured: 1501 }])
  })

  it('is not what a line reads: its silence is told as that', () => {
    expect(typed(1501, 0, smallPlan(typedBias)).broken.map(({ code }) => code)).toEqual(['stale'])
  })
})

describe('what may stand for a time only', () => {
  const timed = (trip: number, above_V = 60): Plan =>
    smallPlan((plan) => {
      const limit = { name: 'key', rail: 'HT', above_V, s: 10, text: 'The key is down', source: 'a test' }
      const limited = steps((step: Step) => ({ ...step, time_limits: [limit] }))(plan)
      return {
        ...limited,
        rules: plan.rules.map((rule) => (rule.code === 'key-time' ? { ...rule, trip } : rule)),
      }
    })
  const since = (seconds: number, trip = 1): Draft['broken'] =>
    ticked({ plan: timed(trip), more: { timed: { key: ago(seconds) } } }).broken

  it('ends the run beyond it, or the part of it that the plan’s rule says', () => {
    expect([since(10), since(10.5)]).toMatchObject([
      [],
      [{ code: 'key-time', measured: 10.5, limit: 10, unit: 's' }],
    ])
    expect([since(5, 0.5), since(5.1, 0.5)]).toMatchObject([[], [{ limit: 5 }]])
  })

  it('begins above the volts that the plan says, and goes on whatever it reads after that', () => {
    const begins = (V: number, known: Record<string, number> = {}): Record<string, number> =>
      ticked({ plan: timed(1), V, over: { set_V: 250 }, more: { timed: known } }).s.timed
    expect([begins(60), begins(60.1)]).toEqual([{}, { key: now_us }])
    expect(begins(0, { key: ago(3), other: 1 })).toEqual({ key: ago(3) })
  })
})
