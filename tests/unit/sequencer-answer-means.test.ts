import { describe, expect, it } from 'vitest'
import type { Ask, Plan, Step } from '../../src/plan/index.js'
import { answer } from '../../src/sequencer/answers.js'
import type { Draft, Prompt, State } from '../../src/sequencer/state.js'
import { momentOf, now_us } from '../helpers/moment.js'
import { formingPlan, partGivenUp } from '../helpers/small-reform.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What an answer means: what is taken, what is asked once more, what ends the run, and by which rule. */

type Purpose = Prompt['purpose']
const [hookupHT, holds] = [2, 7]
interface At {
  readonly about?: string
  readonly unit?: 'V' | 'A' | 'Ω'
  readonly node?: string | null
  readonly tries?: number
  readonly place?: number
  readonly step?: Partial<Step>
  readonly plan?: Plan
  readonly more?: Partial<State>
}
/** The step asks, its question stands open, and this is the answer. */
function answered(
  purpose: Purpose,
  wants: 'yes' | readonly [low: number, high: number],
  value: number | string,
  { about = 'a test', unit = 'V', node = null, tries = 0, place = holds, ...at }: At = {},
): Draft {
  const [low, high] = wants === 'yes' ? [null, null] : wants
  const ask: Ask = {
    ...{ text: 'A question of this test?', timeout_s: 60, inside: false, about },
    wants: low === null ? { kind: 'confirm' } : { kind: 'reading', node, rail: null, unit, low, high },
  }
  const made = at.plan ?? smallPlan()
  const plan: Plan = {
    ...made,
    steps: made.steps.map((step, i) =>
      i === place ? { ...step, ...(purpose.kind === 'step' ? { do: 'ask', ask } : {}), ...at.step } : step,
    ),
  }
  const prompt: Prompt = {
    ...{ id: 7, purpose, ask, low, high, unit: wants === 'yes' ? '' : unit, text: ask.text, tries },
    ...{ opened_us: now_us - 1e6, until_us: now_us + 59e6 },
  }
  const d = momentOf(plan, place, { part: 'asking', part_us: now_us - 1e6, prompt, ...at.more })
  answer(d, 7, value, 'page')
  return d
}
const step: Purpose = { kind: 'step' }
const asksAgain = (d: Draft): string =>
  d.out.flatMap((one) => (one.kind === 'prompt' ? [one.ask.text] : [])).join()
const stands = (d: Draft): boolean => d.s.prompt?.id === 7 && d.broken.length === 0

describe('a word where a number is wanted', () => {
  it('is "go on" where the plan can do without the reading, and then it stays in the record', () => {
    const d = answered(step, [1, 2], 'go on')
    expect(d.s.prompt).toBeNull()
    expect(d.s.warnings.join()).toContain('Could not tell: A question of this test?')
  })

  it('is no other word, and of no question that something is decided by', () => {
    for (const d of [
      answered(step, [1, 2], 'yes'),
      answered({ kind: 'bias', node: 'grid', rail: 'BIAS' }, [-45, -35], 'go on'),
      answered(step, [1, 2], 'go on', { about: 'drive V1' }),
      answered(step, [1, 2], 'go on', { about: 'stored charge' }),
    ]) {
      expect(asksAgain(d)).toBe('A number of V is wanted here. A question of this test?')
      expect(stands(d)).toBe(true)
    }
  })
})

describe('a number', () => {
  it('is inside its window at both its ends', () => {
    for (const value of [1, 2]) expect(answered(step, [1, 2], value).s.prompt).toBeNull()
    for (const value of [0.99, 2.01]) expect(stands(answered(step, [1, 2], value))).toBe(true)
  })

  it('is no yes, to a question of going on neither', () => {
    for (const purpose of [
      { kind: 'weak', rail: 'HT' },
      { kind: 'not settled', rail: 'HT' },
    ] as const) {
      const d = answered(purpose, 'yes', 1)
      expect(stands(d)).toBe(true)
      expect(asksAgain(d)).toMatch(/^Yes or no is wanted here\. /)
      expect(answered(purpose, 'yes', 'go on').s.prompt).toBeNull()
    }
  })

  it('is kept as read at its node, and at none where the question is of none', () => {
    expect(answered(step, [1, 2], 1.5, { node: 'grid' }).s.typed).toEqual({
      'node:grid': { value: 1.5, t_us: now_us },
    })
    expect(answered(step, [1, 2], 1.5).s.typed).toEqual({})
  })
})

describe('a number outside its window', () => {
  const twice = { tries: 1 }

  it('is asked for once more; of a charge that may be left as often as it takes', () => {
    const d = answered(step, [1, 2], 3)
    expect(d.s.prompt?.tries).toBe(1)
    expect(asksAgain(d)).toMatch(/^3 V is outside 1 V to 2 V; read and type it once more\. /)
    for (const again of [
      answered({ kind: 'charge' }, [-5, 5], 40, twice),
      answered(step, [-5, 5], 40, { ...twice, about: 'stored charge' }),
    ])
      expect(stands(again)).toBe(true)
  })

  it('counts the second time, by the rule of what was asked', () => {
    const bias: Purpose = { kind: 'bias', node: 'grid', rail: 'BIAS' }
    const text = 'A reading of 20 V is outside 30 V to 40 V: A question of this test?'
    expect(answered(bias, [30, 40], 20, twice).broken).toMatchObject([
      { code: 'bias-low', rail: 'BIAS', measured: 20, limit: 30, unit: 'V', text },
    ])
    expect(answered(step, [1, 2], 3, twice).broken).toMatchObject([
      { code: 'watched-input', rail: '', measured: 3, limit: 2 },
    ])
    expect(answered(step, [1, 2], 0.5, { ...twice, about: 'drive V1' }).broken).toMatchObject([
      { code: 'drive-lost', measured: 0.5, limit: 1 },
    ])
    // Too much of what shows drive is no drive lost.
    expect(answered(step, [1, 2], 3, { ...twice, about: 'drive V1' }).broken).toMatchObject([
      { code: 'watched-input', measured: 3, limit: 2 },
    ])
  })

  it('counts as hook-up where its ohms are read, with the figure that was typed', () => {
    const ohms: At = { ...twice, place: hookupHT, unit: 'Ω', step: { do: 'hook-up check' } }
    const d = answered(step, [2500, 10_000], 100, ohms)
    expect(d.broken).toMatchObject([{ code: 'hook-up', rail: 'HT', measured: 100, limit: 2500, unit: 'Ω' }])
    expect(d.broken[0]?.text).toContain('A reading of 100 Ω is outside 2.5 kΩ to 10 kΩ')
    // And a polarity by what a wrong polarity means.
    const wrong = answered({ kind: 'polarity' }, [0.5, 4], -3, { ...twice, place: hookupHT })
    expect(wrong.broken[0]?.text).toContain('The leads are reversed.')
  })

  it('ends the run at once above the limit of the set’s own pack, not below', () => {
    const pack = { about: 'own mains current', unit: 'A' } as const
    const above = answered(step, [0.1, 0.2], 0.3, pack)
    expect(above.broken).toMatchObject([{ measured: 0.3, limit: 0.2 }])
    expect(above.broken[0]?.text).toMatch(/^Turn it down now\. A reading of 300 mA is outside /)
    expect(above.out).toContainEqual({ kind: 'prompt closed', prompt: 7, why: 'above its limit' })
    expect(stands(answered(step, [0.1, 0.2], 0.05, pack))).toBe(true)
    expect(answered(step, [0.1, 0.2], 0.05, { ...pack, ...twice }).out).toContainEqual({
      ...{ kind: 'prompt closed', prompt: 7, why: 'outside its window twice' },
    })
  })
})

describe('no', () => {
  it('ends the run; that something was moved does not: the wires are gone through one by one', () => {
    expect(answered(step, 'yes', 'no').broken).toMatchObject([{ code: 'operator' }])
    const moved = answered({ kind: 'nothing moved' }, 'yes', 'no', {
      more: { wires_as_in: 'run 12', wires_done: 0 },
    })
    expect(moved.broken).toEqual([])
    expect(moved.s).toMatchObject({ wires_as_in: null, wires_done: 0, prompt: null })
  })
})

describe('a question of the plan that was answered', () => {
  it('has an electrolytic off its feed resistor where it asked for that, and nowhere else', () => {
    const isOff = (place: number): boolean | undefined =>
      answered(step, 'yes', 'yes', {
        ...{ place, plan: formingPlan(), more: { reform: { C1: partGivenUp } } },
      }).s.reform['C1']?.off
    const takeOff = 3
    expect(isOff(takeOff)).toBe(true)
    expect(isOff(takeOff + 4)).toBe(false)
  })

  it('has its channel proved where it was a hook-up check, beside those before', () => {
    const more = { hookup_done: ['lt.1', 'bias.1'] }
    const ohms: At = { place: hookupHT, unit: 'Ω', more }
    const done = (what: Step['do']) =>
      answered(step, [2500, 10_000], 5000, { ...ohms, step: { do: what } }).s.hookup_done
    expect(done('hook-up check')).toEqual(['lt.1', 'bias.1', 'ht.1'])
    expect(done('ask')).toEqual(['lt.1', 'bias.1'])
  })
})
