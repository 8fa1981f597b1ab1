import { describe, expect, it } from 'vitest'
import { exits } from '../../src/cli/exits.js'
import { exitOf } from '../../src/cli/live/exit-of.js'
import { typeKey, type Typing } from '../../src/cli/live/keys.js'
import { clock } from '../../src/cli/live/screen.js'
import { answerOf, closingText, planAtSpeed } from '../../src/session/index.js'
import { type Ask, debounce, type Plan } from '../../src/plan/index.js'
import type { RunEnding } from '../../src/story/index.js'
import { smallPlan } from '../helpers/small-plan.js'

const ending: RunEnding = {
  outcome: 'completed',
  outputs_off: 'confirmed',
  reason: null,
  stored_charge: { reservoir: 'not measured' },
  hand_rails: {},
  warnings: [],
  steps_done: 4,
  duration_s: 60,
  details: {},
}
const live: Typing = { buffer: '', live: true, asking: true }
const press = (typing: Typing, text: string) => typeKey(typing, { kind: 'text', text })

describe('keys during a run', () => {
  it('stop at once with s and run down with r, also while a question is open', () => {
    expect(press(live, 's').typed).toEqual([{ kind: 'stop', by: 'key s', now: true }])
    expect(press(live, 'r').typed).toEqual([{ kind: 'stop', by: 'key r', now: false }])
    expect(press({ ...live, asking: false }, 's').typed).toHaveLength(1)
  })

  it('are ordinary letters while the word of the cautions is typed, when nothing is energised', () => {
    const turn = press({ buffer: '', live: false, asking: true }, 'silver')
    expect(turn.typed).toEqual([])
    expect(turn.typing.buffer).toBe('silver')
  })

  it('give up before a run and stop during one with Ctrl-C and Ctrl-Z', () => {
    for (const kind of ['interrupt', 'suspend'] as const) {
      expect(typeKey(live, { kind }).typed[0]).toMatchObject({ kind: 'stop', now: false })
      expect(typeKey({ ...live, live: false }, { kind }).typed[0]).toMatchObject({ kind: 'abandoned' })
    }
  })

  it('put a typed reading together, with corrections', () => {
    const typed = press(live, '12.57').typing
    const corrected = typeKey(typed, { kind: 'erase' }).typing
    expect(typeKey(corrected, { kind: 'enter' }).typed).toEqual([{ kind: 'entered', text: '12.5' }])
  })
})

describe('an answer', () => {
  const confirm: Ask = { text: '?', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: '' }
  const reading: Ask = {
    ...confirm,
    wants: { kind: 'reading', node: 'a', rail: null, unit: 'V', low: 1, high: 2 },
  }
  it('to a plain question is yes or no; Enter alone is neither', () => {
    expect(answerOf('y', confirm, null)).toEqual({ value: 'yes' })
    expect(answerOf('n', confirm, null)).toEqual({ value: 'no' })
    expect(answerOf('', confirm, null)).toHaveProperty('problem')
  })

  it('to a reading is a number with or without its unit; Enter accepts only what a virtual meter shows', () => {
    expect(answerOf('1.5', reading, null)).toEqual({ value: 1.5 })
    expect(answerOf('-900 mV', reading, null)).toEqual({ value: -0.9 })
    expect(answerOf('', reading, 1.25)).toEqual({ value: 1.25 })
    expect(answerOf('', reading, null)).toHaveProperty('problem')
    expect(answerOf('3 mA', reading, null)).toHaveProperty('problem')
  })
})

describe('a run faster than life', () => {
  const plan = smallPlan()
  const fast = planAtSpeed(plan, 20)
  const rule = (of: Plan, code: string) => of.rules.find((one) => one.code === code)

  it('gives line, computer, record and person the same real time as in life', () => {
    expect(fast.pace).toBe(20)
    expect(fast.stale_s).toBe(20 * plan.stale_s)
    const one = { ...plan, rails: { HT: { ...plan.rails['HT'], stale_s: 2 } } } as Plan
    expect(planAtSpeed(one, 20).rails['HT']?.stale_s).toBe(40)
    expect(fast.prompt_timeout_s).toBe(20 * plan.prompt_timeout_s)
    for (const code of ['stale', 'recorder-lost'])
      expect(rule(fast, code)?.trip).toBe(20 * (rule(plan, code)?.trip ?? NaN))
  })

  it('lets no condition that must last trip in less real time than its debounce has in life', () => {
    for (const { code, for_s } of plan.rules) {
      const real_s = (rule(fast, code)?.for_s ?? NaN) / 20
      if (for_s === 0) expect(real_s).toBe(0)
      else expect(real_s).toBeGreaterThanOrEqual(debounce.s)
    }
  })

  it('leaves what belongs to the set as it is', () => {
    expect(fast.steps.map(({ slew_V_per_s, hold_s }) => [slew_V_per_s, hold_s])).toEqual(
      plan.steps.map(({ slew_V_per_s, hold_s }) => [slew_V_per_s, hold_s]),
    )
    for (const code of ['over-ceiling', 'over-trip', 'off-set-point', 'bias-low'])
      expect(rule(fast, code)?.trip).toBe(rule(plan, code)?.trip)
  })
})

describe('the end of a run', () => {
  it('has an exit code for each outcome, and 4 wins over all of them', () => {
    expect(exitOf(ending)).toBe(exits.done)
    expect(exitOf({ ...ending, warnings: ['marginal'] })).toBe(exits.finding)
    expect(exitOf({ ...ending, hand_rails: { mains: 'not confirmed by you' } })).toBe(exits.finding)
    expect(exitOf({ ...ending, outcome: 'tripped' })).toBe(exits.tripped)
    expect(exitOf({ ...ending, outcome: 'stopped' })).toBe(exits.stopped)
    expect(exitOf({ ...ending, outcome: 'failed' })).toBe(exits.rigFailed)
    for (const outcome of ['completed', 'tripped', 'stopped', 'failed'] as const) {
      expect(exitOf({ ...ending, outcome, outputs_off: 'not confirmed' })).toBe(exits.notConfirmedOff)
    }
  })

  it('keeps "outputs off" and "stored charge" apart and never calls anything safe', () => {
    const text = closingText(ending, '/runs/one.slowglow')
    expect(text).toContain('Outputs confirmed off')
    expect(text).toContain('reservoir: not measured: take it as charged')
    expect(text).toContain('measure before touching')
    expect(text.toLowerCase()).not.toMatch(/safe|you may touch/)
    const open = closingText({ ...ending, outputs_off: 'not confirmed' }, null)
    expect(open).toContain('Cut the mains of the HT sources now (not of the bias)')
  })

  it('speaks of no set where a dummy load stood, and of what the proofs brought about on the line', () => {
    const line = { discarded_bytes: 0, replies: 9, worst_reply_s: 0.07, polled_Hz: 30 }
    const high = { ...line, faults: { read_back_differs: 1, supply_error: 1 } }
    const text = closingText(ending, null, { high }, 'qualify')
    expect(text).not.toMatch(/the set/i)
    expect(text).toContain('Charge left at the load')
    expect(text).toMatch(/1 read-back that differs\n {2}The proofs bring some of these about/)
    expect(closingText(ending, null, { high })).not.toContain('The proofs')
  })

  it('writes times as a clock does', () => {
    expect([clock(5), clock(65), clock(3661)]).toEqual(['0:05', '1:05', '1:01:01'])
  })
})
