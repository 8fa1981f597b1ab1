import { describe, expect, it } from 'vitest'
import type { Ask, Plan, RailLimits, Step } from '../../src/plan/index.js'
import { answer } from '../../src/sequencer/answers.js'
import { biasReady } from '../../src/sequencer/interlocks.js'
import { ask } from '../../src/sequencer/prompts.js'
import type { Draft, Prompt, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded, standing } from '../helpers/moment.js'
import { limitsAt, smallPlan, typedBias } from '../helpers/small-plan.js'

/* What a typed figure, or a word in its place, does to the run. */

const wanted = (about: string, wants: Ask['wants']): Ask => ({
  ...{ text: 'Read it.', timeout_s: 0, inside: false },
  ...{ about, wants },
})
const reading = (unit: 'V' | 'A', low: number, high: number, node: string | null = null): Ask['wants'] => ({
  ...{ kind: 'reading', rail: null },
  ...{ unit, low, high, node },
})

/** A plan whose last step asks this, of no rail. */
const asking = (question: Ask, more: Partial<Step> = {}, from: Plan = smallPlan()): Plan => ({
  ...from,
  steps: from.steps.map((step, at) =>
    at === 7 ? { ...step, do: 'ask', rail: null, ask: question, ...more } : step,
  ),
})
function opened(question: Ask, more: Partial<Step> = {}, state: Partial<State> = {}, from?: Plan): Draft {
  const d = momentOf(asking(question, more, from), 7, { part: 'asking', part_us: now_us, ...state })
  ask(d, { kind: 'step' }, question)
  return d
}
const say = (d: Draft, value: number | string): Draft => {
  answer(d, d.s.prompt?.id ?? -1, value, 'a person')
  return d
}
const twice = (d: Draft, value: number): Draft => say(say(d, value), value)

describe('a reading that a step asks for', () => {
  it('may be let go with a warning where it only tells, and never where HT goes up on it', () => {
    const told = say(opened(wanted('cathode of V1', reading('V', 5, 9))), 'go on')
    expect([told.s.step, told.s.prompt]).toEqual([8, null])
    expect(told.s.warnings.join()).toContain('Could not tell: Read it.')
    for (const about of ['drive V2', 'own mains current', 'stored charge', 'fit feed R1']) {
      const held = say(opened(wanted(about, reading('V', 5, 9))), 'go on')
      expect([held.s.step, held.s.prompt?.ask.about, held.s.warnings]).toEqual([7, about, []])
    }
  })

  it('twice outside its window ends the run as a watched input, by the side it was missed on', () => {
    const low = twice(opened(wanted('cathode of V1', reading('V', 5, 9))), 4)
    expect(low.broken).toMatchObject([{ code: 'watched-input', measured: 4, limit: 5, unit: 'V' }])
    const high = twice(opened(wanted('cathode of V1', reading('V', 5, 9))), 10)
    expect(high.broken).toMatchObject([{ code: 'watched-input', measured: 10, limit: 9 }])
  })

  it('is drive lost where it was of a stage’s drive and came out below its window', () => {
    const lost = twice(opened(wanted('drive V2', reading('A', 0.001, 0.004))), 0.0002)
    expect(lost.broken).toMatchObject([{ code: 'drive-lost', measured: 0.0002, limit: 0.001, unit: 'A' }])
    const much = twice(opened(wanted('drive V2', reading('A', 0.001, 0.004))), 0.005)
    expect(much.broken).toMatchObject([{ code: 'watched-input', measured: 0.005, limit: 0.004 }])
  })

  it('stands for its node: a bias that was typed there is not asked for again', () => {
    const plan = smallPlan(typedBias)
    const typed = (node: string): Draft =>
      say(opened(wanted('the grid', reading('V', -60, 0, node)), {}, {}, plan), -38)
    expect(biasReady(typed('grid').s)).toBe(true)
    expect(biasReady(typed('another grid').s)).toBe(false)
  })

  it('of a tube’s own cathode says whether the tube is over its rating', () => {
    const only_if = { over_rating: 'V1', rated_V: 8 }
    const of = (volts: number): Draft =>
      say(
        opened(wanted('cathode of V1', reading('V', 5, 12)), { only_if }, { over_rating: { V1: 1.1 } }),
        volts,
      )
    expect(of(9).s.warnings.join()).toMatch(/V1 is over its rating by its own cathode too, 1[23] %/)
    expect(of(7).s.warnings).toEqual([])
    expect(recorded(of(7))).toContain('V1 is inside its rating by its own cathode')
    expect(recorded(say(opened(wanted('cathode of V1', reading('V', 5, 12))), 9))).not.toContain('rating')
  })
})

describe('a protection that fired in its proof', () => {
  it('counts as latched until the person says that it is cleared, whatever else is confirmed', () => {
    const latched = (about: string): boolean =>
      say(opened(wanted(about, { kind: 'confirm' }), {}, { latched: true }), 'yes').s.latched
    expect(latched('clear ht.1')).toBe(false)
    expect(latched('mode')).toBe(true)
  })
})

describe('heaters that were asked about as weak', () => {
  const limits: Record<string, RailLimits> = { LT: limitsAt(12, 4) }
  function accepted(amps: number): Draft {
    const plan = smallPlan()
    const d = momentOf(plan, 3, { part: 'settle', rails: standing(plan, 'LT', 12, amps) })
    expect(d.s.plan.steps[3]?.limits).toEqual(limits)
    const purpose: Prompt['purpose'] = { kind: 'weak', rail: 'LT' }
    ask(d, purpose, wanted('below-ask LT', { kind: 'confirm' }))
    return say(d, 'go on')
  }

  it('are taken as they draw now, for this step', () => {
    const d = accepted(1.2)
    expect([d.s.weak, d.s.weak_in, d.broken]).toEqual([{ LT: 0.3 }, { LT: 4 }, []])
    expect(d.s.warnings.join()).toContain('the person chose to go on')
  })

  it('are not taken where they opened while the question stood: nobody chose that', () => {
    const d = accepted(0.4)
    expect(d.broken).toMatchObject([{ code: 'heater-lost', rail: 'LT', measured: 0.4, limit: 1 }])
    expect([d.s.weak, d.s.warnings]).toEqual([{}, []])
  })
})
