import { describe, expect, it } from 'vitest'
import type { MeterPlan, Plan } from '../../src/plan/index.js'
import { begin, type State } from '../../src/sequencer/index.js'
import type { RailState } from '../../src/sequencer/state.js'
import { judgeReading } from '../../src/sequencer/judge.js'
import { codes, judged, type Read, readOf } from '../helpers/judged.js'
import { now_us, standing } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* Where a rail may stand, just inside each line and just beyond it. The supply of HT is out by 0.1 V and a thousandth at most. */

const [heaters, ht250, holds] = [3, 6, 7]
const V = (of: Read): string[] => codes('V', of)
const limitOf = (of: Read): number => judged('V', of)[0]?.limit ?? Number.NaN

describe('the over-voltage level', () => {
  const noLevel = smallPlan(
    steps((step) => ({
      ...step,
      limits: { ...step.limits, HT: limitsAt(250, 0.05, { over_voltage_V: 0 }) },
    })),
  )
  const above = (volts: number, set_V = 250, plan = smallPlan()): Read => ({
    plan,
    V: volts,
    over: { set_V },
  })
  const over = (of: Read): boolean => {
    const d = readOf(of)
    judgeReading(d, 'HT', 'V')
    return d.broken.some(({ code }) => code === 'over-ceiling')
  }

  it('is broken by one reading above it by more than thrice the supply’s error and its last digit', () => {
    expect([over(above(264.6)), over(above(264.7))]).toEqual([false, true])
    const level = judged('V', above(270)).find(({ code }) => code === 'over-ceiling')?.limit ?? 0
    expect([level, over(above(level))]).toEqual([expect.closeTo(264.65, 9), false])
  })

  it('stands as far above a higher set-point as above that of its step', () => {
    // 263.5 V + 10 V, 3 × 0.36 V, 0.1 V
    expect([over(above(274.6, 260)), over(above(274.8, 260))]).toEqual([false, true])
  })

  it('judges nothing where the plan has none, or by whose knob it is turned', () => {
    expect(over(above(300, 250, noLevel))).toBe(false)
    expect(over({ ...above(300), plan: watched })).toBe(false)
  })
})

describe('volts off a set-point that stands', () => {
  const settled = (volts: number, set_ago_s = 10, more: Read = {}): string[] =>
    V({ ...more, V: volts, over: { set_V: 250, set_us: now_us - set_ago_s * 1e6, ...more.over } })

  it('trip beyond two hundredths of it, above or below', () => {
    expect([settled(245), settled(244.9), settled(255), settled(255.1)]).toEqual([
      ...[[], ['off-set-point'], [], ['off-set-point']],
    ])
    expect(judged('V', { V: 240, over: { set_V: 250 } })).toMatchObject([{ limit: 250, unit: 'V' }])
  })

  it('have a second to come there', () => {
    const at = (set_ago_s: number): number => {
      const d = readOf({ V: 200, over: { set_V: 250, set_us: now_us - set_ago_s * 1e6 } })
      judgeReading(d, 'HT', 'V')
      return Object.keys(d.s.rails['HT']!.breaking).length
    }
    expect([at(1), at(1.01)]).toEqual([0, 1])
  })

  it('are those of a charged reservoir where the set-point was lowered: only time brings it down', () => {
    const lowered = { over: { set_V: 250, lowered_us: now_us - 5e6 } }
    expect(settled(262, 10, lowered)).toEqual([])
    expect(settled(240, 10, lowered)).toEqual(['off-set-point'])
  })

  it('trip too of a rail that stands while another is on its way', () => {
    const beside: Read = { at: ht250, rail: 'BIAS', A: 0.01, more: { part: 'ramp' } }
    expect([
      V({ ...beside, V: 35, over: { set_V: 40 } }),
      V({ ...beside, V: 39.5, over: { set_V: 40 } }),
    ]).toEqual([['off-set-point'], []])
  })
})

describe('volts on their way up', () => {
  /** HT on its way to 250 V, set to these so far. */
  const rising = (
    volts: number,
    set_V: number,
    more: Partial<State> = {},
    over: Partial<RailState> = {},
  ): Read => ({
    ...{ at: ht250, V: volts, over: { set_V, ...over } },
    more: { part: 'ramp', ...more },
  })

  it('may stand as far above what was asked as one step of the ramp and thrice the supply’s error', () => {
    // 150 V + 3 × 0.25 V + 20 V/s × 0.1 s
    expect([V(rising(152.7, 150)), V(rising(152.8, 150))]).toEqual([[], ['off-set-point']])
    const limit = limitOf(rising(160, 150))
    expect([limit, V(rising(limit, 150))]).toEqual([expect.closeTo(152.75, 9), []])
    const slow = smallPlan(steps((step) => ({ ...step, slew_V_per_s: 0.5 })))
    expect([V({ ...rising(150.8, 150), plan: slow }), V({ ...rising(150.9, 150), plan: slow })]).toEqual([
      [],
      ['off-set-point'],
    ])
  })

  it('may have come to a set-point that is still on its way', () => {
    const channels = { ...begin(smallPlan()).channels }
    channels['ht.1'] = { ...channels['ht.1']!, setting: 160 }
    expect([V(rising(160, 150)), V(rising(160, 150, { channels }))]).toEqual([['off-set-point'], []])
  })

  it('lag behind it: that alone is nothing', () => {
    expect(V(rising(120, 150))).toEqual([])
  })

  it('that came down from more are a charged reservoir', () => {
    expect(V(rising(200, 150, {}, { lowered_us: now_us - 5e6 }))).toEqual([])
  })

  it('are those of a rise only: one that stands is held to its own line', () => {
    expect(V({ V: 254, over: { set_V: 250 } })).toEqual([])
  })
})

describe('a rise that something holds down', () => {
  interface Slow {
    readonly set_V?: number
    readonly from_V?: number
    readonly ago_s?: number
    /** When its ramp began, s before now. */
    readonly began_s?: number
    readonly more?: Partial<State>
    readonly over?: Partial<RailState>
  }
  /** HT reads these volts, and read others so long ago; it is set further up. 50 V in 5 s is the least it may rise by. */
  const rises = (volts: number, slow: Slow = {}): Read => {
    const { set_V = 200, from_V = 100, ago_s = 5, began_s = 100, more, over } = slow
    const rise = [{ value: from_V, t_us: now_us - ago_s * 1e6 }]
    const breaking = { 'slow-rise': { count: 9, since_us: now_us - 9e6 } }
    return {
      at: ht250,
      V: volts,
      over: { set_V, rise, breaking, ...over },
      more: { part: 'ramp', part_us: now_us - began_s * 1e6, ...more },
    }
  }
  const one = (of: Read): string[] => {
    const d = readOf(of)
    judgeReading(d, of.rail ?? 'HT', 'V')
    return d.broken.map(({ code }) => code)
  }

  it('trips below half of its slew, with both rates', () => {
    expect([one(rises(130)), one(rises(149.9)), one(rises(150)), one(rises(160))]).toEqual([
      ...[['slow-rise'], ['slow-rise'], [], []],
    ])
    const d = readOf(rises(130))
    judgeReading(d, 'HT', 'V')
    expect(d.broken).toMatchObject([{ measured: 6, limit: 10, unit: 'V/s' }])
  })

  it('is seen over four and a half seconds at least, of this ramp', () => {
    expect([one(rises(110, { ago_s: 4.5 })), one(rises(110, { ago_s: 4.4 }))]).toEqual([['slow-rise'], []])
    expect([one(rises(110, { began_s: 5 })), one(rises(110, { began_s: 4.9 }))]).toEqual([['slow-rise'], []])
  })

  it('is none where it stands as near its set-point as errors and two hundredths explain', () => {
    const at = (volts: number, set_V: number): string[] => one(rises(volts, { set_V, from_V: volts }))
    expect([at(245, 250), at(244.9, 250), at(248, 250)]).toEqual([[], ['slow-rise'], []])
    // 3 × 0.12 V and 0.1 V
    expect([at(19.55, 20), at(19.5, 20)]).toEqual([[], ['slow-rise']])
  })

  it('is one of the ramp itself: not of a rail that is switched on, arrives, or stands beside', () => {
    for (const part of ['on', 'arrive', 'hold'] as const)
      expect(one(rises(130, { more: { part } }))).not.toContain('slow-rise')
    const beside = { ...rises(38, { set_V: 40, from_V: 38 }), rail: 'BIAS', A: 0.01 }
    expect(one(beside)).not.toContain('slow-rise')
    const cold = {
      ...rises(3, { set_V: 12, from_V: 3, over: { on_us: now_us - 6e6 } }),
      rail: 'LT',
      at: heaters,
    }
    expect(one({ ...cold, A: 4, more: { ...cold.more, step_us: now_us - 6e6 } })).toEqual([])
  })

  it('is told by what draws it down where that is being judged', () => {
    for (const code of ['over-trip', 'current-limit']) {
      const breaking = {
        'slow-rise': { count: 9, since_us: now_us - 9e6 },
        [code]: { count: 1, since_us: now_us },
      }
      expect(one(rises(110, { over: { breaking } }))).toEqual([])
    }
  })
})

const meter = (name: string, more: Partial<MeterPlan>): MeterPlan => ({
  ...smallPlan().meters['grid meter']!,
  ...{ name, port: name, at: null, resolution: 1, accuracy: { of_reading: 0.01, plus: 0.5 } },
  ...more,
})
/** HT by a knob that two meters on lines watch. */
const watched: Plan = smallPlan((plan) => ({
  ...plan,
  rails: {
    ...plan.rails,
    HT: { ...plan.rails['HT']!, class: 'watched', channels: [], volts_meter: 'HT V', amps_meter: 'HT A' },
  },
  meters: {
    ...plan.meters,
    'HT V': meter('HT V', {}),
    'HT A': meter('HT A', { measures: 'A', resolution: 0.001, accuracy: { of_reading: 0.02, plus: 0.001 } }),
  },
}))

describe('a knob', () => {
  const knob = (volts: number, over: Partial<RailState> = {}, more: Read = {}): Read => ({
    ...{ plan: watched, V: volts, ...more },
    over: { set_V: 250, ...over },
  })

  it('may be turned a twentieth and half a volt too far, and what its meter may be out by', () => {
    // 262.5 V + 0.5 V + 3 V + 1 V
    expect([V(knob(266.9)), V(knob(267.1))]).toEqual([[], ['over-ceiling']])
    const limit = limitOf(knob(280))
    expect([limit, V(knob(limit))]).toEqual([expect.closeTo(267, 9), []])
    expect(judged('V', knob(280))).toMatchObject([{ rail: 'HT', unit: 'V' }])
  })

  it('that reads nothing where its step counts on it has gone dead, whether it counts as on or not', () => {
    for (const energised of [true, false]) expect(V(knob(0, { energised }))).toEqual(['watched-input'])
  })

  it('that is being turned is not judged where it reads nothing yet', () => {
    const turning = { at: ht250, more: { part: 'asking' as const } }
    expect(V(knob(0, { energised: false, set_V: 100 }, turning))).toEqual([])
    expect(V(knob(0, { energised: false, set_V: 100 }, { ...turning, at: holds }))).toEqual(['watched-input'])
  })
})

it('a rail that is neither known nor in the plan is judged by nothing', () => {
  const d = readOf({ V: 900, more: { rails: standing(smallPlan(), 'BIAS', 40, 0.01) } })
  judgeReading(d, 'SCREEN', 'V')
  expect(d.broken).toEqual([])
})
