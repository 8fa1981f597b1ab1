import { describe, expect, it } from 'vitest'
import type { HookupTest, Plan } from '../../src/plan/index.js'
import { advanceHookup } from '../../src/sequencer/hookup.js'
import type { ChannelState, Draft, RailState } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Volts over amps in the hook-up check: what passes, what waits, and what ends the run. */

const steps = { LT: 0, HT: 2 } as const
type Name = keyof typeof steps
const planOf = (name: Name, test: Partial<HookupTest>): Plan =>
  smallPlan((plan) => ({
    ...plan,
    steps: plan.steps.map((step, at) =>
      at === steps[name] && step.hookup ? { ...step, hookup: { ...step.hookup, ...test } } : step,
    ),
  }))
/** Two good readings were counted, then this one came; the part is entered so many seconds ago. */
interface Read {
  readonly V: number | null
  readonly A: number | null
  /** How long ago the volts were read, s. */
  readonly V_ago_s?: number
  readonly waited_s?: number
  readonly test?: Partial<HookupTest>
  readonly counted?: RailState['in_window']
}
function judged(
  name: Name,
  { V, A, V_ago_s = 0, waited_s = 2, test = {}, counted = { count: 2, at_us: 1 } }: Read,
) {
  const plan = planOf(name, test)
  const step = plan.steps[steps[name]]!
  const at = (value: number | null, ago_s = 0) =>
    value === null ? null : { value, t_us: now_us - ago_s * 1e6 }
  const rails = standing(plan, name, 0, 0, { V: at(V, V_ago_s), A: at(A), in_window: counted })
  const before = momentOf(plan, steps[name])
  const channel = `${name.toLowerCase()}.1`
  const own: ChannelState = { ...before.s.channels[channel]!, output: 'on', V: at(V, V_ago_s), A: at(A) }
  const d: Draft = momentOf(plan, steps[name], {
    ...{ part: 'hook-up ohms', part_us: now_us - waited_s * 1e6, rails },
    channels: { ...before.s.channels, [channel]: own },
  })
  let entered: string | null = null
  advanceHookup(
    d,
    step,
    (part) => {
      entered = part
    },
    () => undefined,
  )
  return { entered: entered as string | null, broken: d.broken, counted: d.s.rails[name]?.in_window ?? null }
}
const good = { entered: 'hook-up off', broken: [] }
const waits = { entered: null, broken: [] }

describe('the ohms of a rail in its hook-up check', () => {
  it('pass with the third reading in a row inside their window', () => {
    expect(judged('LT', { V: 3, A: 1 })).toMatchObject(good)
    expect(judged('LT', { V: 3, A: 1, counted: { count: 1, at_us: 1 } })).toMatchObject(waits)
    expect(judged('LT', { V: 3, A: 1, counted: null })).toMatchObject({ ...waits, counted: { count: 1 } })
  })

  it('do not pass twice by one reading', () => {
    const counted = { count: 2, at_us: now_us }
    expect(judged('LT', { V: 3, A: 1, counted })).toMatchObject({ ...waits, counted })
  })

  it('wait where volts or amps were not read yet', () => {
    expect(judged('LT', { V: 3, A: null })).toMatchObject(waits)
    expect(judged('LT', { V: null, A: 1 })).toMatchObject(waits)
    expect(judged('LT', { V: null, A: null })).toMatchObject(waits)
    // Read before, or in the moment in which, it came to this part of the check.
    for (const V_ago_s of [2, 3])
      expect(judged('LT', { V: 3, A: 1, V_ago_s })).toMatchObject({ ...waits, counted: { count: 2 } })
    expect(judged('LT', { V: 3, A: 1, V_ago_s: 1.9 })).toMatchObject(good)
  })

  it('are in their window at its very ends, and by as much current as its read-back can tell from none', () => {
    for (const A of [0.5, 2]) expect(judged('LT', { V: 3, A })).toMatchObject(good)
    const test = { ohm_high: 100_000 }
    expect(judged('HT', { V: 3, A: 0.0005, test })).toMatchObject(good)
    expect(judged('HT', { V: 3, A: 0.0004, test })).toMatchObject({ ...waits, counted: null })
  })

  it('are none where the supply is at its current limit, but for heaters that are cold', () => {
    const test = { ohm_low: 100 }
    const limit_A = 0.005 * 0.98
    expect(judged('HT', { V: 3, A: 0.0048, test })).toMatchObject(good)
    for (const A of [limit_A, 0.005]) expect(judged('HT', { V: 3, A, test })).toMatchObject(waits)
    const cold = { ...test, may_limit: true }
    expect(judged('HT', { V: 3, A: 0.005, test: cold })).toMatchObject(good)
  })

  it('begin anew with a reading outside of it, above as below', () => {
    for (const A of [0.15, 0.49, 2.1])
      expect(judged('LT', { V: 3, A })).toMatchObject({ ...waits, counted: null })
    for (const A of [0.51, 1.9]) expect(judged('LT', { V: 3, A })).toMatchObject(good)
  })

  it('end the run with what was measured and the side it was missed on: a lead that fell off, a short', () => {
    const reason = { code: 'hook-up', rail: 'LT', unit: 'Ω' }
    expect(judged('LT', { V: 3, A: 0.15, waited_s: 16 }).broken).toMatchObject([{ ...reason, limit: 6 }])
    expect(judged('LT', { V: 3, A: 0.15, waited_s: 16 }).broken[0]?.measured).toBeCloseTo(20)
    expect(judged('LT', { V: 1, A: 2, waited_s: 16 }).broken).toMatchObject([
      { ...reason, measured: 0.5, limit: 1.5 },
    ])
    expect(judged('LT', { V: 3, A: 0.15, waited_s: 15 })).toMatchObject(waits)
    const [nothing] = judged('HT', { V: 3, A: 0, waited_s: 16 }).broken
    expect(nothing?.text).toContain('3 V and 0 A at 3 V set (no current), but the set as described')
    const [some] = judged('HT', { V: 3, A: 0.0001, waited_s: 16 }).broken
    expect(some?.text).toContain('(30 kΩ)')
  })

  it('behind an ammeter too coarse to see them: the volts stand, and no more flows than could', () => {
    const test = { coarse: true }
    expect(judged('HT', { V: 3, A: 0, test })).toMatchObject(good)
    expect(judged('HT', { V: 3, A: 0.0011, test })).toMatchObject(good)
    expect(judged('HT', { V: 3, A: 0.0013, test })).toMatchObject({ ...waits, counted: null })
    expect(judged('HT', { V: 2.3, A: 0, test })).toMatchObject({ ...waits, counted: null })
    // At the very ends: four fifths of the volts, and the current of the fewest ohms.
    expect(judged('HT', { V: 4, A: 0, test: { coarse: true, test_V: 5 } })).toMatchObject(good)
    expect(judged('HT', { V: 2.5, A: 0.001, test })).toMatchObject(good)
  })
})

describe('a hook-up check that the plan does not make whole', () => {
  it('ends the run: by a channel that is not there, nothing is proved', () => {
    const plan = planOf('LT', { channel: 'nowhere.1' })
    const d = momentOf(plan, 0, { part: 'hook-up least' })
    advanceHookup(
      d,
      plan.steps[0]!,
      () => undefined,
      () => undefined,
    )
    expect(d.broken).toMatchObject([{ code: 'invariant' }])
  })
})
