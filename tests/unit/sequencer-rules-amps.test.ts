import { describe, expect, it } from 'vitest'
import type { Plan, RuleCode } from '../../src/plan/index.js'
import { begin } from '../../src/sequencer/index.js'
import type { Off } from '../../src/sequencer/state.js'
import { codes, judged, type Read, runningDown } from '../helpers/judged.js'
import { now_us } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* What a rail may draw, just inside each line and just beyond it, and what is said of it. In the last hold HT is expected to draw 50 mA at 250 V. */

const [heaters, ht250, holds] = [3, 6, 7]
const ht = (over: Parameters<typeof limitsAt>[2]): Plan =>
  smallPlan(
    steps((step) =>
      step.limits['HT'] === undefined
        ? step
        : { ...step, limits: { ...step.limits, HT: { ...step.limits['HT'], ...over } } },
    ),
  )
const rule = (code: RuleCode, trip: number): Plan =>
  smallPlan((plan) => ({
    ...plan,
    rules: plan.rules.map((each) => (each.code === code ? { ...each, trip } : each)),
  }))
const textOf = (of: Read, code: RuleCode): string | undefined => {
  const text = judged('A', of).find((each) => each.code === code)?.text
  return typeof text === 'function' ? text() : text
}

describe('the ceiling', () => {
  it('is broken by the first reading above it, and not by one on it', () => {
    expect(codes('A', { A: 0.1001 })).toContain('over-ceiling')
    expect(codes('A', { A: 0.1 })).not.toContain('over-ceiling')
  })

  it('is said with its reason', () => {
    expect(textOf({ A: 0.12 }, 'over-ceiling')).toBe(
      'HT drew 120 mA at 250 V, above the ceiling of 100 mA. Ceiling 100 mA at 250 V: invented for this test.',
    )
  })
})

describe('the trip', () => {
  it('is broken above it, and not on it', () => {
    expect([codes('A', { A: 0.0801 }), codes('A', { A: limitsAt(250, 0.05).trip_A })]).toEqual([
      ['over-trip'],
      [],
    ])
  })

  it('is as much of the step’s figure as the plan’s rule says', () => {
    const plan = rule('over-trip', 0.5)
    expect([codes('A', { plan, A: 0.041 }), codes('A', { plan, A: 0.039 })]).toEqual([['over-trip'], []])
  })

  it('is said with what was drawn and its reason', () => {
    expect(textOf({ A: 0.085 }, 'over-trip')).toMatch(
      /^HT drew 85 mA at 250 V, above the trip of 80 mA\. Trip 80 mA at 250 V: invented for this test\./,
    )
  })
})

describe('volts that are gone while the supply is at its limit', () => {
  const said = (V: number, set_V: number, more: Read = {}): string | undefined =>
    textOf({ ...more, V, A: 0.12, over: { set_V, ...more.over } }, 'over-ceiling')

  it('are said as a short, up to three tenths of what it is set to', () => {
    const short =
      'with the supply at its 90 mA limit: a short, or near it, from HT to chassis. Ceiling 100 mA'
    expect(said(75, 250)).toContain(`HT fell from 250 V to 75 V ${short}`)
    expect(said(76, 250)).toMatch(/^HT drew 120 mA at 76 V, above the ceiling/)
  })

  it('are no sign of one where it was hardly set to anything', () => {
    expect(said(1, 5)).toContain('HT fell from 5 V to 1 V')
    expect(said(1, 4)).toMatch(/^HT drew 120 mA at 1 V, above the ceiling/)
  })
})

describe('a supply that holds its current limit', () => {
  const plan = smallPlan()
  const channels = { ...begin(plan).channels }
  channels['ht.1'] = { ...channels['ht.1']!, regulation: 'current' }

  it('is believed, and told with what the set wants', () => {
    expect(codes('A', { plan, more: { channels } })).toEqual(['current-limit'])
    expect(textOf({ plan, more: { channels } }, 'current-limit')).toMatch(
      /^The supply of HT is holding the current at its limit \(90 mA\) at 250 V, set to 250 V: the set wants more than this step allows\. Trip 80 mA/,
    )
  })
})

describe('a current that rises at an unchanged set-point', () => {
  /** It drew the first figure so long ago, the second now; it was set so long ago, s. */
  const rises = (from_A: number, A: number, ago_s = 20, set_ago_s = 20, plan = smallPlan()): Read => ({
    plan,
    A,
    over: {
      recent: [{ value: from_A, t_us: now_us - ago_s * 1e6 }],
      set_us: now_us - set_ago_s * 1e6,
    },
  })
  const upper_A = limitsAt(250, 0.05).upper_A

  it('trips above its band, and not on its edge', () => {
    expect(judged('A', rises(0.05, 0.0651))).toMatchObject([{ code: 'rising', limit: upper_A, unit: 'A' }])
    expect(codes('A', rises(0.05, upper_A))).toEqual([])
  })

  it('has to have stood there for its rule’s twenty seconds', () => {
    expect([codes('A', rises(0.05, 0.07, 20, 20)), codes('A', rises(0.05, 0.07, 19.9, 19.9))]).toEqual([
      ['rising'],
      [],
    ])
  })

  it('is measured from what it drew at this set-point, not at the one before', () => {
    expect([codes('A', rises(0.05, 0.07, 20.1, 20)), codes('A', rises(0.05, 0.07, 24, 25))]).toEqual([
      [],
      ['rising'],
    ])
  })

  it('has risen by more than its last digits and three hundredths of what is expected, whichever is more', () => {
    expect([codes('A', rises(0.066, 0.0674)), codes('A', rises(0.066, 0.0676))]).toEqual([[], ['rising']])
    const small = ht({ expected_A: 0.001, upper_A: 0 })
    expect([
      codes('A', rises(0, 0.00029, 20, 20, small)),
      codes('A', rises(0, 0.00031, 20, 20, small)),
    ]).toEqual([[], ['rising']])
    const exactly = 0.03 * 0.05
    expect(codes('A', rises(0, exactly, 20, 20, ht({ upper_A: 0 })))).toEqual([])
  })
})

describe('an output that is off', () => {
  const off = (quantity: 'V' | 'A', value: number, outputs_proved = true): string[] =>
    codes(quantity, {
      at: heaters,
      [quantity]: value,
      over: { energised: false, set_V: 0 },
      more: { outputs_proved },
    })
  const limit = (quantity: 'V' | 'A'): number =>
    judged(quantity, { at: heaters, V: 90, A: 0.01, over: { energised: false, set_V: 0 } })[0]?.limit ?? 0

  it('carries neither volts beyond 5 V and its error, nor amperes beyond its zero error and three last digits', () => {
    expect([off('V', 5.11), off('V', 5.1), off('V', -5.11)]).toEqual([['read-back'], [], ['read-back']])
    expect([off('A', 0.00051), off('A', 0.00049), off('A', -0.00051)]).toEqual([
      ['read-back'],
      [],
      ['read-back'],
    ])
    expect([limit('V'), limit('A')]).toEqual([expect.closeTo(5.105, 9), expect.closeTo(0.0005, 9)])
    expect([off('V', limit('V')), off('A', limit('A'))]).toEqual([[], []])
  })

  it('is not judged before every output was found off: what stands there then is looked at in the start', () => {
    expect([off('V', 90, false), off('A', 0.01, false)]).toEqual([[], []])
  })
})

describe('a rail that runs down', () => {
  const off = (how: Off['how']) => ({ off: { ...({} as Off), how } })
  const much: Read = { A: 0.3, V: 250 }
  const found = (at: number, more: NonNullable<Read['more']>): string[] =>
    runningDown('A', { ...much, at, more }).map(({ code }) => code)

  it('is judged by its ceiling, by the last step’s once all are done', () => {
    expect([found(holds, off('run down')), found(holds + 1, off('run down'))]).toEqual([
      ['over-ceiling'],
      ['over-ceiling'],
    ])
  })

  it('is judged no more once its OFF is urgent: nothing stronger is left', () => {
    expect([found(holds, off('urgent')), found(holds + 1, off('urgent')), found(holds, {})]).toEqual([
      [],
      [],
      [],
    ])
  })

  it('out of its hook-up check is judged by what that allows', () => {
    const at = 2
    const test = (V: number) =>
      runningDown('V', { at, V, over: { set_V: 3 }, more: off('run down') }).map(({ code }) => code)
    expect([test(6), test(4.9)]).toEqual([['hook-up'], []])
  })

  it('half way up is judged by what it may draw there', () => {
    const half = {
      at: ht250,
      over: { set_V: 175 },
      more: { ...off('run down'), part: 'ramp' as const, part_us: now_us },
    }
    const [breach] = runningDown('A', { ...half, A: 0.0711 })
    expect(breach).toMatchObject({ code: 'over-ceiling', limit: expect.closeTo(0.071, 9) as number })
  })
})
