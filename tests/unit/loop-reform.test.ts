import { describe, expect, it } from 'vitest'
import type { Plan, ReformPart } from '../../src/plan/index.js'
import { openLine } from '../../src/line/index.js'
import { createLoop, type Loop, loopStep } from '../../src/loop/index.js'
import { isSlow, leftOf, slowPoll_us, standingOf, typedIn } from '../../src/loop/reform.js'
import type { Event, EventBody, State } from '../../src/sequencer/index.js'
import { type Bench, formingPart, formingPlan } from '../helpers/forming.js'
import { configWith } from '../helpers/line-draft.js'
import { MidStep, shown, tick, volts } from '../helpers/mid-step.js'
import { smallPlan } from '../helpers/small-plan.js'

/* A reform beside the decisions of a run: what the estimator is shown, what it may still spend, and how often lines are read. */

const bench: Bench = {
  supply: { of_reading: 0.001, plus: 0.2, resolution: 0.1 },
  meter: { of_reading: 0.005, plus: 0.1, resolution: 0.1 },
  off: { supply: [1, 0], meter: [1, 0], feed: 1 },
}
/** A part that charges through its resistor within 8 × 100 kΩ × 8 µF = 6.4 s. */
const part = (over: Partial<ReformPart> = {}): ReformPart =>
  formingPart({ F: 8e-6, rated_V: 450, case: 'case C1', ...over }, bench)

/** The small plan's last hold, of 30 s, as one of a reform's; the steps before it hold 2 s each. */
function plan(parts: readonly ReformPart[] = [part()], change: (plan: Plan) => Plan = (same) => same): Plan {
  return smallPlan((small) => {
    const reform = { ...formingPlan(part(), bench), channel: 'ht.1', parts }
    const steps = small.steps.map((step) =>
      step.do === 'raise' && step.rail === 'HT'
        ? { ...step, reform: { what: 'rung' as const, least_s: 60 } }
        : step,
    )
    return change({ ...small, steps, reform })
  })
}
const at = (index: number, partOfStep: State['part'], more: Partial<State> = {}, of = plan()): State =>
  new MidStep(of, index, partOfStep, more).state
const [rung, hold] = [6, 7]

describe('where a reform stands', () => {
  it('is held only while a step of it holds; none stands once the run is no longer under way', () => {
    expect(standingOf(at(rung, 'hold'))).toMatchObject({ holds: true, step: { index: 7 }, t_us: 1200e6 })
    expect(standingOf(at(rung, 'ramp'))).toMatchObject({ holds: false, step: { index: 7 } })
    expect(standingOf(at(hold, 'hold'))).toMatchObject({ holds: false, step: { index: 8 } })
    expect(standingOf(at(rung, 'hold', { phase: 'making off' }))).toMatchObject({ holds: false, step: null })
    expect(standingOf(at(rung, 'hold', { step: 99 }))).toMatchObject({ holds: false, step: null })
  })
})

describe('what a run may still spend on waiting', () => {
  it('is its budget without what it has used since it began and what the steps to come hold', () => {
    // 3600 s, begun 1200 s ago; behind the fifth step the small plan holds 2 and 30 s.
    expect(leftOf(at(5, 'hold'))).toBe(3600 - 1200 - 32)
    expect(leftOf(at(5, 'hold', { begun_us: 1000e6 }))).toBe(3600 - 200 - 32)
    expect(leftOf(at(5, 'hold', { begun_us: null }))).toBe(3600 - 32)
    expect(leftOf(at(hold, 'hold'))).toBe(3600 - 1200)
  })

  it('is nothing once it is used up, and never less', () => {
    expect(
      leftOf(
        at(
          5,
          'hold',
          {},
          plan([part()], (p) => ({ ...p, time_budget_s: 1000 })),
        ),
      ),
    ).toBe(0)
  })
})

describe('what a person typed', () => {
  const byHand = part({ name: 'C1', typed: { node: 'C1+', settle_s: 60 } })
  const measured = part({ name: 'C2', feed_untold: 0.1 })
  const next = part({ name: 'C3', next_feed: { ohm: 33_000, error: 0.01, rated_W: 5 } })
  const typed = (
    entries: Record<string, number>,
    parts = [part(), byHand, measured, next],
    t_us = 1200e6,
  ) => {
    const samples = Object.entries(entries).map(([key, value]) => [key, { value, t_us }] as const)
    return typedIn(at(rung, 'hold', { typed: Object.fromEntries(samples) }, plan(parts)))
  }

  it('is the volts of a part whose meter is on no line, or the ohms of a feed resistor that is measured', () => {
    expect(typed({ 'node:C1+': 212 })).toEqual({ kind: 'typed', part: 'C1', volts: 212, t_us: 1200e6 })
    expect(typed({ 'node:feed C2': 99_400 })).toEqual({ kind: 'feed', part: 'C2', ohm: 99_400, t_us: 1200e6 })
    expect(typed({ 'node:feed C3': 33_100 })).toEqual({ kind: 'feed', part: 'C3', ohm: 33_100, t_us: 1200e6 })
  })

  it('counts in the moment in which it was typed, and not again', () => {
    expect(typed({ 'node:C1+': 212, 'node:feed C2': 99_400 }, undefined, 1199e6)).toBeNull()
    expect(typed({})).toBeNull()
  })

  it('is nothing for a part that reads itself, or whose resistor is as stated', () => {
    expect(typed({ 'node:C1+': 212, 'node:feed C1': 99_400 }, [part()])).toBeNull()
    expect(typed({ 'node:feed C1': 99_400 }, [byHand])).toBeNull()
    expect(typedIn(at(rung, 'hold', {}, smallPlan()))).toBeNull()
  })
})

describe('lines are read seldom', () => {
  /** In this part of a step for so long. */
  const after = (
    s: number,
    index: number,
    partOfStep: State['part'],
    more: Partial<State> = {},
    of = plan(),
  ) => isSlow(at(index, partOfStep, { part_us: 1200e6 - s * 1e6, ...more }, of))

  it('in a hold, once charging and the first leakages are over', () => {
    // 90 s, and 8 × R × C of the slowest part: 6.4 s.
    expect([after(96, rung, 'hold'), after(97, rung, 'hold')]).toEqual([false, true])
    expect([after(96, hold, 'hold'), after(97, hold, 'hold')]).toEqual([false, true])
    const slower = plan([part(), part({ name: 'C2', F: 100e-6 }), part({ name: 'C3' })])
    expect([after(169, rung, 'hold', {}, slower), after(171, rung, 'hold', {}, slower)]).toEqual([
      false,
      true,
    ])
    expect([after(89, hold, 'hold', {}, smallPlan()), after(91, hold, 'hold', {}, smallPlan())]).toEqual([
      ...[false, true],
    ])
  })

  it('not while anything moves, while a person is asked, nor once everything goes off', () => {
    expect(after(1000, rung, 'ramp')).toBe(false)
    // A step that is no part of the reform waits for nothing.
    expect(after(1000, 4, 'hold')).toBe(false)
    const prompt = { id: 1 } as unknown as State['prompt']
    expect(after(1000, rung, 'hold', { prompt })).toBe(false)
    expect(after(1000, rung, 'hold', { phase: 'making off' })).toBe(false)
    expect(after(1000, rung, 'hold', { step: 99 })).toBe(false)
  })

  it('the rail once a second, a meter of what stands behind a resistor every five', () => {
    expect(slowPoll_us(configWith())).toBe(1_000_000)
    expect(slowPoll_us(configWith({}, { meter: { name: 'M', measures: 'V', limit: 1000 } }))).toBe(5_000_000)
  })
})

describe('the loop of a reform', () => {
  const supply = configWith({}, { port: 'ht', poll_us: 50_000 })
  const meter = configWith(
    {},
    { port: 'M', channels: [], meter: { name: 'meter C1', measures: 'V', limit: 1000 } },
  )
  /** In the middle of this step of the small plan. */
  function looped(index: number, partOfStep: State['part'], held_s: number, more: Partial<Loop> = {}): Loop {
    const created = createLoop(plan(), [supply, meter])
    const sequencer = at(index, partOfStep, { part_us: 1200e6 - held_s * 1e6 })
    return { ...created, sequencer, ...more }
  }
  function fed(loop: Loop, ...bodies: readonly EventBody[]) {
    let now = loop
    const told: Event[] = []
    for (const body of bodies) {
      const event = { ...body, t_us: now.sequencer.t_us + 10_000 }
      const { loop: next, outputs } = loopStep(now, { kind: 'event', event })
      for (const output of outputs) if (output.kind === 'fed') told.push(output.event)
      now = next
    }
    return { loop: now, told }
  }

  it('shows the estimator where the run stands and what supply and meter read', () => {
    const { reform } = fed(looped(rung, 'hold', 5), tick).loop
    expect(reform?.seen).toEqual({ step: 7, holds: true })
    const read = fed(looped(rung, 'hold', 5), volts('ht.1', 250), shown('meter C1', 200)).loop.reform
    expect(read?.parts[0]).toMatchObject({ supply: { V: 250 }, meter: { V: 200 } })
    // Amperes, and the volts of another channel, are no volts of this rail.
    const other = fed(looped(rung, 'hold', 5), volts('bias.1', 40), {
      ...{ kind: 'reading', channel: 'ht.1', quantity: 'A', value: { n: 50, k: 3 } },
    }).loop.reform
    expect(other?.parts[0]?.supply).toBeNull()
  })

  it('lets what the estimator says be the next thing the run hears: a case that grows hot ends its part', () => {
    const { told } = fed(looped(rung, 'hold', 5), shown('case C1', 25), shown('case C1', 60))
    expect(told.slice(0, 3).map(({ kind }) => kind)).toEqual(['meter', 'meter', 'judged'])
    expect(told[2]).toMatchObject({ judgement: { part: 'C1', act: 'give up', code: 'hot-case' } })
  })

  it('slows every line in the hold, each at its own pace, and has them all at full speed again when it ends', () => {
    const slow = fed(looped(rung, 'hold', 100), tick).loop
    const pace = ({ lines }: Loop) => [lines['ht']?.poll_us, lines['M']?.poll_us]
    expect([slow.slow, ...pace(slow)]).toEqual([true, 1_000_000, 5_000_000])
    expect(fed(slow, tick).loop.lines).toEqual(slow.lines)
    const moves = { ...slow, sequencer: { ...slow.sequencer, part: 'ramp' as const } }
    const brisk = fed(moves, tick).loop
    expect([brisk.slow, ...pace(brisk)]).toEqual([false, 50_000, 0])
  })

  it('keeps full speed where that was asked for, in every step', () => {
    const brisk = fed(looped(rung, 'hold', 100, { brisk: true }), tick, tick).loop
    expect([brisk.slow, brisk.brisk, brisk.lines['ht']?.poll_us]).toEqual([false, true, 50_000])
  })

  it('and every other run follows nothing', () => {
    const loop = createLoop(smallPlan(), [supply])
    expect([loop.reform, loop.slow, loop.lines['ht']]).toEqual([null, false, openLine(supply)])
    expect(fed({ ...loop, sequencer: at(hold, 'hold', {}, smallPlan()) }, tick).loop.slow).toBe(false)
  })
})
