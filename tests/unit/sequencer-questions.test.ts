import { describe, expect, it } from 'vitest'
import { type Ask, lowFilament_s } from '../../src/plan/index.js'
import { ask, closePrompt, confirm, promptTimeouts, readingOf } from '../../src/sequencer/prompts.js'
import type { Prompt, State } from '../../src/sequencer/state.js'
import { momentOf, now_us } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* How long a question stands open, and what it leaves behind. */

const yes = confirm('Go on?', 'a test')
const lowFilaments = smallPlan((plan) => ({
  ...plan,
  steps: plan.steps.map((step) => ({ ...step, filaments_low: true as const })),
}))
const asked = (wanted: Ask, plan = smallPlan(), purpose: Prompt['purpose'] = { kind: 'step' }) => {
  const d = momentOf(plan, 7, { next_prompt: 4 })
  ask(d, purpose, wanted)
  return d
}

describe('a question', () => {
  const stands_s = (timeout_s: number, plan = smallPlan()): number =>
    ((asked({ ...yes, timeout_s }, plan).s.prompt?.until_us ?? 0) - now_us) / 1e6

  it('has its own time, or that of the plan; with filaments below their volts no more than these may stand so', () => {
    expect([stands_s(0), stands_s(30), stands_s(900)]).toEqual([600, 30, 900])
    expect([stands_s(0, lowFilaments), stands_s(30, lowFilaments)]).toEqual([lowFilament_s, 30])
  })

  it('is put with its number and kept in the record; the next has the next number', () => {
    const d = asked(yes)
    expect(d.out).toMatchObject([
      { kind: 'prompt', prompt: 4, ask: yes, until_us: now_us + 600e6 },
      { kind: 'record', entry: { what: 'prompt', text: 'Go on?', data: { prompt: 4, purpose: 'step' } } },
    ])
    expect(d.s).toMatchObject({ next_prompt: 5, prompt: { id: 4, opened_us: now_us, tries: 0 } })
  })

  it('for a reading has its window and its unit, one for a yes has none', () => {
    expect(asked(readingOf('Read it.', 'a test', 'V', 10, 14, { rail: 'LT' })).s.prompt).toMatchObject({
      ...{ low: 10, high: 14, unit: 'V' },
      ask: { wants: { kind: 'reading', rail: 'LT', node: null } },
    })
    expect(asked(yes).s.prompt).toMatchObject({ low: null, high: null, unit: '' })
    expect([yes.inside, readingOf('', '', 'A', 0, 1, {}).inside]).toEqual([false, false])
  })

  const closed = (purpose: Prompt['purpose']['kind'], hands_in = false) => {
    const { s } = asked(yes)
    const d = momentOf(smallPlan(), 7, {
      hands_in,
      prompt: { ...s.prompt!, purpose: { kind: purpose } as Prompt['purpose'] },
    })
    closePrompt(d, 'answered')
    expect(d.s.prompt).toBeNull()
    expect(d.out).toEqual([{ kind: 'prompt closed', prompt: 4, why: 'answered' }])
    return d.s.hands_in
  }

  it('may have brought hands to the bench, but for the one that asks whether they are clear', () => {
    expect([closed('step'), closed('polarity'), closed('hands clear')]).toEqual([true, true, false])
    expect(closed('hands clear', true)).toBe(true)
  })

  it('that is not open is not closed', () => {
    const d = momentOf(smallPlan(), 7)
    closePrompt(d, 'answered')
    expect([d.out, d.s.hands_in]).toEqual([[], false])
  })
})

describe('a question that nobody answers', () => {
  const after = (
    seconds: number,
    purpose: Prompt['purpose'] = { kind: 'step' },
    more: Partial<State> = {},
  ) => {
    const { prompt } = asked({ ...yes, timeout_s: 30 }, smallPlan(), purpose).s
    const d = momentOf(smallPlan(), 7, { prompt, t_us: now_us + seconds * 1e6, ...more })
    promptTimeouts(d)
    return d.broken
  }

  it('ends the run once its time is over, with how long that was', () => {
    expect(after(29.9)).toEqual([])
    expect(after(30)).toMatchObject([{ code: 'prompt-timeout', measured: 30, limit: 30, unit: 's' }])
    expect(after(31)[0]).toMatchObject({ measured: 31, text: 'No answer came in 30 s to: Go on?' })
  })

  it('for a knob that goes off ends nothing: it goes off already, and has its own time', () => {
    expect(after(31, { kind: 'hand off', rail: 'HT' })).toEqual([])
    expect(after(31, { kind: 'step' }, { prompt: null })).toEqual([])
  })
})
