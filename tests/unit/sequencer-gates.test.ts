import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan, Step } from '../../src/plan/index.js'
import { biasStands } from '../../src/sequencer/bias-gate.js'
import { gateOpen, handsAreClear } from '../../src/sequencer/gates.js'
import { ask, confirm } from '../../src/sequencer/prompts.js'
import type { RailState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan, typedBias } from '../helpers/small-plan.js'

/* What must stand before a rail rises, looked at in one moment. */

describe('the gate of what needs a plate', () => {
  /** A screen, or a modulator's rail, that may come on at 100 V only with HT standing at its 250 V. */
  const gate = (role: RailPlan['role'], rails: State['rails'], more: Partial<Step> = {}) => {
    const plan = smallPlan((small) => ({
      ...small,
      rails: { ...small.rails, TOP: { ...small.rails['HT']!, name: 'TOP', role } },
      steps: small.steps.map((step, at) =>
        at === 7 ? { ...step, do: 'raise', rail: 'TOP', target_V: 100, needs_plate: 'HT', ...more } : step,
      ),
    }))
    const d = momentOf(plan, 7, { rails })
    return { open: gateOpen(d, plan.steps[7]!, plan.rails['TOP']!), broken: d.broken }
  }
  const HT = (V: number, A: number, over: Partial<RailState> = {}) => standing(smallPlan(), 'HT', V, A, over)
  const lost = (limit: number, unit: 'V' | 'A') => [{ code: 'plate-lost', rail: 'TOP', limit, unit }]

  it('opens where the plate stands', () => {
    expect(gate('screen', HT(240, 0.05))).toEqual({ open: true, broken: [] })
    expect(gate('HT', HT(240, 0.05))).toEqual({ open: true, broken: [] })
    // Half of its volts is enough.
    expect(gate('screen', HT(125, 0.05))).toEqual({ open: true, broken: [] })
    expect(gate('screen', HT(124.9, 0.05))).toMatchObject({ open: false, broken: lost(125, 'V') })
  })

  it('asks of a screen no plate current: none flows there before the screen is on', () => {
    expect(gate('screen', HT(240, 0.001))).toEqual({ open: true, broken: [] })
  })

  it('ends the run where the plate does not stand, was never read, or only a charge stands there', () => {
    for (const rails of [
      HT(120, 0.05),
      HT(240, 0, { energised: false }),
      HT(0, 0, { V: null, A: null }),
      HT(0, 0, { V: null, A: null, energised: false }),
    ]) {
      const { open, broken } = gate('screen', rails)
      expect([open, broken]).toMatchObject([false, lost(125, 'V')])
      expect(broken[0]?.measured).toBe(rails['HT']?.V?.value ?? null)
    }
  })

  it('ends the run where nothing says what the plate should be', () => {
    expect(gate('screen', HT(240, 0.05), { limits: {} })).toMatchObject({ open: false, broken: lost(0, 'V') })
    const nowhere = gate('screen', HT(240, 0.05), { needs_plate: 'nowhere' })
    expect(nowhere).toMatchObject({ open: false, broken: [{ measured: null }] })
  })

  it('keeps modulators off until the stage that they modulate draws its plate current', () => {
    const asks_A = expect.closeTo(0.02) as number
    const little = gate('HT', HT(240, 0.019))
    expect(little).toMatchObject({ open: false, broken: lost(asks_A, 'A') })
    expect(little.broken[0]).toMatchObject({
      measured: 0.019,
      text: expect.stringContaining('HT draws 19 mA') as string,
    })
    const modulated = [{ tube: 'V1', rail: 'HT', by: 'TOP', own_A: 0.05, least: 0.5 }]
    expect(gate('HT', HT(240, 0.024), { modulated })).toMatchObject({ open: false, broken: lost(0.025, 'A') })
    expect(gate('HT', HT(240, 0.026), { modulated })).toEqual({ open: true, broken: [] })
    // The line itself is enough; what others modulate, or are modulated by, is not asked here.
    const other = { tube: 'V2', own_A: 0.05, least: 0.9 }
    const among = [{ ...other, rail: 'HT', by: 'ELSE' }, { ...other, rail: 'ELSE', by: 'TOP' }, ...modulated]
    for (const each of [modulated, among]) {
      expect(gate('HT', HT(240, 0.025), { modulated: each })).toEqual({ open: true, broken: [] })
      expect(gate('HT', HT(240, 0.0249), { modulated: each })).toMatchObject({ open: false })
    }
    const { open, broken } = gate('HT', HT(240, 0, { A: null }))
    expect([open, broken[0]?.measured, broken[0]?.unit]).toEqual([false, null, 'A'])
    expect(broken[0]?.text).toContain('HT is not read')
  })
})

describe('HT that waits for heaters', () => {
  /** By default a volt and a half below the chain's own, and drawing what is expected: nothing to ask about. */
  const waiting = (waited_s: number, over: Partial<RailState> = {}, V = 10.5, A = 3.8, full_V = 12) => {
    const plan = smallPlan((small) => ({
      ...small,
      heaters: small.heaters.map((watch) => ({ ...watch, volts: full_V })),
    }))
    const rails = standing(plan, 'LT', V, A, over)
    const d = momentOf(plan, 5, { part_us: now_us - waited_s * 1e6, rails })
    return { open: gateOpen(d, plan.steps[5]!, plan.rails['HT']!), broken: d.broken, prompt: d.s.prompt }
  }
  const lost = (over: Partial<RailState>, V: number, A: number) => waiting(151, over, V, A).broken[0]
  const figure = (measured: number, limit: number, unit: 'V' | 'A') => ({
    ...{ code: 'heater-lost', rail: 'LT' },
    ...{ measured, limit: expect.closeTo(limit) as number, unit },
  })

  it('waits for their warm-up and two minutes, and then says what they stand at', () => {
    for (const waited_s of [149, 150])
      expect(waiting(waited_s)).toEqual({ open: false, broken: [], prompt: null })
    const { open, broken } = waiting(151)
    expect([open, broken.length]).toEqual([false, 1])
    expect(broken[0]?.text).toContain('is not in its band (10.5 V, 3.8 A)')
  })

  it('tells the figure that keeps them out, against the end of their band: never a current that was not read', () => {
    expect(lost({}, 10.5, 3.8)).toMatchObject(figure(10.5, 10.8, 'V'))
    expect(lost({}, 13.5, 4.2)).toMatchObject(figure(13.5, 13.2, 'V'))
    expect(lost({}, 12, 1.5)).toMatchObject(figure(1.5, 1.6, 'A'))
    expect(lost({}, 12, 6.5)).toMatchObject(figure(6.5, 6.4, 'A'))
    // A tenth of its volts is still its band.
    expect(waiting(151, {}, 9, 1.5, 10).broken[0]).toMatchObject(figure(1.5, 1.6, 'A'))
    expect(lost({}, 12.5, 1.5)).toMatchObject(figure(1.5, 1.6, 'A'))
    const unread = lost({ A: null }, 10.5, 0)
    expect(unread).toMatchObject(figure(10.5, 10.8, 'V'))
    expect(unread?.text).toContain('is not in its band (10.5 V).')
  })

  it('asks where they draw little, and ends nothing while that question stands', () => {
    const recent = [0.8, 0.5, 0.2].map((ago_s) => ({ value: 1.5, t_us: now_us - ago_s * 1e6 }))
    const asks = waiting(600, { recent }, 12, 1.5)
    expect(asks).toMatchObject({ open: false, broken: [], prompt: { purpose: { kind: 'weak', rail: 'LT' } } })
  })

  it('waits without a word where they came into their band in time and are still warming', () => {
    expect(waiting(600, { good_since_us: now_us - 10e6 })).toEqual({ open: false, broken: [], prompt: null })
  })
})

describe('HT that may not rise further', () => {
  /** All else stands. */
  const gate = (step: Partial<Step>, more: Partial<State> = {}) => {
    const plan = smallPlan((small) => ({
      ...small,
      steps: small.steps.map((each, at) => (at === 6 ? { ...each, ...step } : each)),
    }))
    const rails = {
      ...standing(plan, 'LT', 12, 4, { good_since_us: now_us - 600e6 }),
      ...standing(plan, 'BIAS', 40, 0.01),
    }
    const meters = { 'grid meter': { value: -40, t_us: now_us } }
    const d = momentOf(plan, 6, { part_us: now_us - 20e6, rails, meters, ...more })
    return { open: gateOpen(d, plan.steps[6]!, plan.rails['HT']!), codes: d.broken.map(({ code }) => code) }
  }

  it('rises where nothing more is asked of it', () => {
    expect(gate({})).toEqual({ open: true, codes: [] })
  })

  it('waits for the drive of a stage, which was seen in the step before', () => {
    const needs = { needs_drive: ['V1'] }
    expect(gate(needs)).toEqual({ open: false, codes: ['drive-lost'] })
    expect(gate(needs, { drive_seen: { V1: 5 } })).toEqual({ open: true, codes: [] })
  })

  it('does not where radio frequency disturbed the lines at less power', () => {
    const since = { lines_quiet_since: 6 }
    expect(gate(since, { line_errors: { 6: 2 } })).toEqual({ open: false, codes: ['bad-reply'] })
    expect(gate(since, { line_errors: { 6: 1, 7: 9 } })).toEqual({ open: true, codes: [] })
  })
})

describe('hands clear', () => {
  const asks = (target_V: number, touch_V: number | null, more: Partial<Step> = {}): boolean => {
    const plan = smallPlan((small) => ({
      ...small,
      rails: { ...small.rails, HT: { ...small.rails['HT']!, ...(touch_V !== null && { touch_V }) } },
    }))
    const d = momentOf(plan, 5)
    const open = handsAreClear(d, { ...plan.steps[5]!, target_V, ...more })
    expect(open).toBe(d.s.prompt === null)
    return d.s.prompt?.purpose.kind === 'hands clear'
  }

  it('is asked before anything rises above the touch limit', () => {
    expect([asks(60, null), asks(61, null)]).toEqual([false, true])
    expect(asks(250, null, { hands_clear: false })).toBe(false)
  })

  it('is asked sooner of a rail behind which a transformer makes more of it', () => {
    expect([asks(20, 20), asks(21, 20)]).toEqual([false, true])
  })
})

describe('a bias that a person reads', () => {
  const plan: Plan = smallPlan(typedBias)

  it('is asked for once, and no other question is put aside for it', () => {
    const d = momentOf(plan, 5)
    expect(biasStands(d)).toBe(false)
    expect(d.s.prompt).toMatchObject({ id: d.s.next_prompt - 1, purpose: { kind: 'bias', node: 'grid' } })
    const { prompt } = d.s
    expect(biasStands(d)).toBe(false)
    expect(d.s.prompt).toBe(prompt)

    const other = momentOf(plan, 5)
    ask(other, { kind: 'weak', rail: 'LT' }, confirm('Go on, or stop?', 'below-ask LT'))
    expect(biasStands(other)).toBe(false)
    expect(other.s.prompt?.purpose.kind).toBe('weak')
  })

  it('stands once it was typed, as long as a typed figure is valid', () => {
    const typed = (age_s: number) =>
      biasStands(momentOf(plan, 5, { typed: { 'node:grid': { value: -38, t_us: now_us - age_s * 1e6 } } }))
    expect([typed(900), typed(901)]).toEqual([true, false])
  })
})
