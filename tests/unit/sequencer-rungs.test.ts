import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import type { State } from '../../src/sequencer/index.js'
import { reformHold, reformPasses, reformWords } from '../../src/sequencer/reform.js'
import type { Draft } from '../../src/sequencer/state.js'
import { now_us, standing } from '../helpers/moment.js'
import { formingAt as at, formingPlan, partGivenUp, partWaits, smallReform } from '../helpers/small-reform.js'

/* The rungs of a reform: which is passed over, when the next one begins, and when a person is asked what a meter shows. */

const [lowest, rung150, rung200, top, swap, reTest] = [4, 5, 6, 7, 8, 9]
const plan = formingPlan()
const both = { C1: partWaits, C2: partWaits }
const goesOn = (step: number): State['reform'][string] => ({ ...partWaits, act: 'go on', step: step + 1 })

describe('a rung', () => {
  const reached = (reach_V: number, more: Partial<typeof partWaits> = {}): State['reform'][string] => ({
    ...partWaits,
    reach_V,
    ...more,
  })
  const passes = (place: number, parts: State['reform']): boolean =>
    reformPasses(at(place, parts).s, plan.steps[place]!)

  it('is passed over where every part may be taken to half a rung above it', () => {
    expect(passes(rung150, { C1: reached(176), C2: reached(250) })).toBe(true)
    expect(passes(rung150, { C1: reached(175), C2: reached(250) })).toBe(false)
    expect(passes(rung150, { C1: reached(250), C2: reached(174) })).toBe(false)
    expect(passes(rung200, { C1: reached(176), C2: reached(250) })).toBe(false)
  })

  it('counts what a part was formed at, and no part that has its verdict', () => {
    expect(passes(rung150, { C1: reached(0, { formed_V: 200 }), C2: reached(250) })).toBe(true)
    expect(passes(rung150, { C1: partGivenUp, C2: reached(250) })).toBe(true)
    expect(passes(rung150, { C1: partGivenUp, C2: partGivenUp })).toBe(false)
  })

  it('that is the lowest of a climb is always done, as are last volts and the second climb', () => {
    const all = { C1: reached(900), C2: reached(900) }
    for (const place of [lowest, top, reTest]) expect(passes(place, all)).toBe(false)
  })
})

/** What comes of a hold: on to the next step, a question, or waiting. */
function held(d: Draft): string {
  let next = ''
  reformHold(d, d.s.plan.steps[d.s.step]!, () => {
    next = 'next'
  })
  return d.out.reduce((told, one) => (one.kind === 'prompt' ? one.ask.about : told), next)
}
const ago = (seconds: number): Partial<State> => ({ part_us: now_us - seconds * 1e6 })

describe('the hold of a rung', () => {
  const on = goesOn(rung200)

  it('goes on once every part said so of this very step, and its least time is over', () => {
    expect(held(at(rung200, { C1: on, C2: on }, ago(30)))).toBe('next')
    expect(held(at(rung200, { C1: on, C2: on }, ago(29.9)))).toBe('')
    expect(held(at(rung200, { C1: on, C2: goesOn(rung150) }, ago(900)))).toBe('')
    expect(held(at(rung200, { C1: on, C2: { ...on, act: 'wait' } }, ago(900)))).toBe('')
  })

  it('does not wait for a part that has its verdict', () => {
    expect(held(at(rung200, { C1: on, C2: partGivenUp }, ago(30)))).toBe('next')
    expect(held(at(rung200, { C1: partGivenUp, C2: on }, ago(30)))).toBe('next')
  })

  it('is over at once where no part is left, and waits where one of them is still to be taken off', () => {
    const good = { ...partWaits, verdict: 'good' } as const
    expect(held(at(rung200, { C1: good, C2: { ...partGivenUp, off: true } }, ago(0)))).toBe('next')
    expect(held(at(rung200, { C1: good, C2: partGivenUp }, ago(900)))).toBe('')
  })

  it('is told to whoever watches by the parts that did not say so of this very step', () => {
    const words = (parts: State['reform'], more: Partial<State> = {}) =>
      reformWords(at(rung200, parts, more).s)
    expect(words(both)).toBe('C1, C2 to leak less')
    expect(words({ C1: on, C2: { ...on, act: 'wait' } })).toBe('C2 to leak less')
    expect(words({ C1: goesOn(rung150), C2: on })).toBe('C1 to leak less')
    expect(words({ C1: on, C2: on })).toBeNull()
    expect(words({ C1: on, C2: partGivenUp })).toBeNull()
    expect(words(both, { part: 'ramp' })).toBeNull()
    expect(words(both, { step: swap })).toBeNull()
  })
})

describe('a meter that a person reads', () => {
  const typed = (since_s: number): Partial<State> => ({
    typed: { 'node:C1 feed': { value: 3, t_us: now_us - since_s * 1e6 } },
  })
  const settling = formingPlan({
    parts: [{ ...smallReform.parts[0]!, typed: { node: 'C1 feed', settle_s: 20 } }, smallReform.parts[1]!],
  })

  it('is asked for once charging is over and the least time of the step has been held', () => {
    expect(held(at(rung200, both, ago(49.9), settling))).toBe('')
    expect(held(at(rung200, both, ago(50), settling))).toBe('read C1')
  })

  it('is asked for after ten minutes of a long hold: a leakage that does not fall shows by then', () => {
    const long: Plan = {
      ...plan,
      steps: plan.steps.map((step) =>
        step.reform ? { ...step, reform: { what: 'rung', least_s: 3600 } } : step,
      ),
    }
    expect(held(at(rung200, both, ago(599), long))).toBe('')
    expect(held(at(rung200, both, ago(600), long))).toBe('read C1')
  })

  it('is asked for in the second climb when the time of its limit has been held', () => {
    expect(held(at(reTest, both, ago(59)))).toBe('')
    expect(held(at(reTest, both, ago(60)))).toBe('read C1')
  })

  it('that was typed in this hold is asked for again when the estimator wants it, and else after two minutes', () => {
    const told = (again_s: number | null, place = rung200): State['reform'] => ({
      ...both,
      C1: { ...partWaits, step: place + 1, ...(again_s !== null && { again_s }) },
    })
    const hold = ago(900)
    expect(held(at(rung200, told(300), { ...hold, ...typed(299) }))).toBe('')
    expect(held(at(rung200, told(300), { ...hold, ...typed(300) }))).toBe('read C1')
    expect(held(at(rung200, told(null), { ...hold, ...typed(119) }))).toBe('')
    expect(held(at(rung200, told(null), { ...hold, ...typed(120) }))).toBe('read C1')
    // What was wanted in another step says nothing of this one.
    expect(held(at(rung200, told(300, rung150), { ...hold, ...typed(120) }))).toBe('read C1')
    expect(held(at(rung200, told(30, rung150), { ...hold, ...typed(119) }))).toBe('')
  })

  it('that was typed before this hold counts for nothing in it', () => {
    expect(held(at(rung200, both, { ...ago(30), ...typed(31) }))).toBe('read C1')
    expect(held(at(rung200, both, { ...ago(30), ...typed(30) }))).toBe('')
  })

  it('is not asked for where its part is done with this step, has its verdict, or is read by a line', () => {
    const hold = ago(900)
    expect(held(at(rung200, { C1: goesOn(rung200), C2: partWaits }, hold))).toBe('')
    expect(held(at(rung200, { C1: goesOn(rung150), C2: partWaits }, hold))).toBe('read C1')
    expect(held(at(rung200, { C1: partGivenUp, C2: partWaits }, hold))).toBe('')
    expect(held(at(rung200, { C2: partWaits }, hold))).toBe('')
  })

  it('is asked for where it hangs, without reaching in, within what may show there', () => {
    const rails = standing(plan, 'HT', 200, 0.02)
    const question = (across: 'feed' | 'part', more: Partial<State>) => {
      const parts = [{ ...smallReform.parts[0]!, across }]
      const d = at(rung200, { C1: partWaits }, { ...ago(900), ...more }, formingPlan({ parts }))
      expect(held(d)).toBe('read C1')
      return d.s.prompt
    }
    const feed = question('feed', { rails })
    expect(feed?.purpose).toEqual({ kind: 'read', part: 'C1', node: 'C1 feed' })
    expect(feed?.text).toBe(
      'Read meter of C1, across the feed resistor of C1, without reaching in: 200 V stand on the feed resistors. Its volts, with their sign?',
    )
    expect([feed?.low, feed?.high]).toEqual([-25, 215])
    const across = question('part', {})
    // Nothing was read of the rail: what the step sets it to is what may stand there.
    expect(across?.text).toContain('across C1, without reaching in: 200 V')
    expect(across?.unit).toBe('V')
  })
})
