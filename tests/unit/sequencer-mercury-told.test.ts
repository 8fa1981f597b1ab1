import { describe, expect, it } from 'vitest'
import type { HeaterWatch, MercuryWatch, Plan } from '../../src/plan/index.js'
import { mercuryAnswered, mercuryStands } from '../../src/sequencer/mercury.js'
import type { Draft, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* The question about mercury-vapour rectifiers, in one moment: whether it is asked, with which figures, and what an answer is taken for. */

const mercury = (tubes: string[], more: Partial<MercuryWatch> = {}): MercuryWatch => ({
  ...{ tubes, first_use_s: 1800, stated: null, condensed_low_C: 20, condensed_high_C: 60 },
  ...{ text: 'invented for this test', source: 'invented' },
  ...more,
})
const withHeaters = (...more: readonly Partial<HeaterWatch>[]): Plan =>
  smallPlan((plan) => ({ ...plan, heaters: more.map((each) => ({ ...plan.heaters[0]!, ...each })) }))
const one = withHeaters({ mercury: mercury(['V5']) })
const asks = (plan: Plan, more: Partial<State> = {}): Draft => {
  const d = momentOf(plan, 0, { mercury: 'not asked', ...more })
  expect(mercuryAnswered(d)).toBe(d.s.prompt === null)
  return d
}
const isAsked = (plan: Plan, more: Partial<State> = {}): boolean => asks(plan, more).s.prompt !== null
const textOf = (d: Draft): string => d.s.prompt?.text ?? ''

describe('whether mercury stands as it worked', () => {
  it('is asked where heaters are to warm it and no file has said it', () => {
    expect(isAsked(one)).toBe(true)
    expect(isAsked(withHeaters({ mercury: mercury(['V5'], { stated: 'V5 is stated as moved' }) }))).toBe(
      false,
    )
    expect([isAsked(withHeaters({})), isAsked(withHeaters())]).toEqual([false, false])
  })

  it('is not asked where no step waits for heaters: with the tubes pulled nothing warms', () => {
    const cold = steps((step) => ({ ...step, needs_heaters: false }))(one)
    expect(isAsked(cold)).toBe(false)
  })

  it('is asked once in a start', () => {
    for (const said of ['as it worked', 'disturbed'] as const)
      expect(isAsked(one, { mercury: said })).toBe(false)
  })

  it('is asked of all of them with the longest of their times and the warmest of their temperatures', () => {
    const two = withHeaters(
      { warm_up_s: 45, mercury: mercury(['V5'], { first_use_s: 600, condensed_low_C: 25 }) },
      { warm_up_s: 30, mercury: mercury(['V6'], { first_use_s: 1800, condensed_low_C: 20 }) },
    )
    const text = textOf(asks(two))
    expect(text).toMatch(
      /rectifier V5, V6: .* at 25 °C or more .* for 45 s before any HT\. n, or not sure: for 30 min/,
    )
  })

  it('is asked with the last run of this hook-up, where there was one', () => {
    expect(textOf(asks(one))).toContain('No earlier run with this hook-up is on record.')
    expect(textOf(asks(one, { wires_as_in: 'run 7' }))).toContain('The last run with this hook-up was run 7.')
  })
})

describe('what the person said of the mercury', () => {
  const said = (asItWorked: boolean): Draft => {
    const d = asks(one, { begun_us: 0, part_us: 0 })
    d.out = []
    mercuryStands(d, asItWorked)
    return d
  }
  const closed = (d: Draft): string[] =>
    d.out.flatMap((each) => (each.kind === 'prompt closed' ? [each.why] : []))
  const data = (d: Draft): unknown =>
    d.out.flatMap((each) => (each.kind === 'record' ? [each.entry.data] : []))

  it('is kept with the time of its filament alone, and thinking back is not held against the run', () => {
    const yes = said(true)
    expect(yes.s).toMatchObject({ mercury: 'as it worked', begun_us: now_us, part_us: now_us })
    expect(recorded(yes)).toMatch(
      /rectifiers stand as they last worked; filament alone before any HT: V5: 30 s\.$/,
    )
    expect(data(yes)).toEqual([{ mercury: 'as it worked' }])
  })

  it('closes the question where it was no yes, or not sure', () => {
    const no = said(false)
    expect(no.s).toMatchObject({ mercury: 'disturbed', prompt: null })
    expect([closed(no), closed(said(true))]).toEqual([['new, moved, cold, or not sure'], []])
    expect(recorded(no)).toMatch(
      /are new, were moved or are cold, or the person is not sure; .* V5: 1800 s\.$/,
    )
    expect(data(no)).toEqual([{ mercury: 'disturbed' }])
  })
})
