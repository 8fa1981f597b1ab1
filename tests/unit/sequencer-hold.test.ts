import { describe, expect, it } from 'vitest'
import type { Plan, RailLimits, Step } from '../../src/plan/index.js'
import { answer } from '../../src/sequencer/answers.js'
import { holdAndSettle, nextStep } from '../../src/sequencer/hold.js'
import type { Draft, RailState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded, standing } from '../helpers/moment.js'
import { byHand, limitsAt, smallPlan } from '../helpers/small-plan.js'

/* The end of a step: what it waits for, what it asks, and what is kept of what was measured. */

const hold = 7
const small = smallPlan()
const withStep = (change: Partial<Step>, plan = small): Plan => ({
  ...plan,
  steps: plan.steps.map((step, at) => (at === hold ? { ...step, ...change } : step)),
})
const stepOf = (d: Draft): Step => d.s.plan.steps[hold]!

/** HT's current of the last ten seconds, five a second: this in the first half, that in the second. */
const recent = (early_A: number, late_A: number, from_s = 10): RailState['recent'] =>
  Array.from({ length: from_s * 5 }, (_, at) => {
    const ago_s = from_s - at / 5
    return { value: ago_s > 5 ? early_A : late_A, t_us: now_us - ago_s * 1e6 }
  })
/** Settling since so long, with HT alone up. */
function settling(since_s: number, over: Partial<RailState>): Draft {
  const rails = standing(small, 'HT', 250, 0.05, over)
  const d = momentOf(small, hold, { part: 'settle', part_us: now_us - since_s * 1e6, rails })
  holdAndSettle(d, stepOf(d))
  return d
}
const settled = (over: Partial<RailState>): boolean => settling(5, over).s.step > hold

describe('a hold that waits until its current has settled', () => {
  it('goes on where the last five seconds draw as the five before, to a hundredth', () => {
    expect(settled({ recent: recent(0.05, 0.05) })).toBe(true)
    expect([settled({ recent: recent(0.05, 0.0504) }), settled({ recent: recent(0.05, 0.0496) })]).toEqual([
      true,
      true,
    ])
    expect([settled({ recent: recent(0.05, 0.0506) }), settled({ recent: recent(0.05, 0.0494) })]).toEqual([
      false,
      false,
    ])
  })

  it('waits for ten seconds of readings at a set-point that stands', () => {
    expect(settled({ recent: recent(0.05, 0.05, 8) })).toBe(false)
    expect(settled({ recent: recent(0.05, 0.05), set_us: now_us - 9e6 })).toBe(false)
    expect(settled({ recent: [] })).toBe(false)
  })

  it('asks once its time is up, and goes on where the person says so', () => {
    const drifts = { recent: recent(0.05, 0.055) }
    expect(settling(29.9, drifts).s.prompt).toBeNull()
    const d = settling(30.1, drifts)
    expect(d.s.prompt?.purpose).toEqual({ kind: 'not settled', rail: 'HT' })
    expect(d.s.prompt?.text).toMatch(/^HT has not settled in 60 s.*Go on, or stop\?$/)
    answer(d, d.s.prompt?.id ?? -1, 'go on', 'a person')
    expect([d.s.prompt, d.s.unsettled]).toEqual([null, { HT: 8 }])
    holdAndSettle(d, stepOf(d))
    expect([d.s.prompt, d.s.step]).toEqual([null, hold + 1])
  })
})

describe('a hold after volts were lowered', () => {
  it('asks again for what was typed fifteen minutes before, as any other does', () => {
    const plan = withStep({ do: 'lower', rail: 'BIAS', target_V: 20 }, smallPlan(byHand('LT')))
    const asks = (age_s: number) => {
      const V = { value: 12, t_us: now_us - age_s * 1e6 }
      const d = momentOf(plan, hold, {
        part: 'hold',
        part_us: now_us,
        rails: standing(plan, 'LT', 12, 4, { V }),
      })
      holdAndSettle(d, stepOf(d))
      return d.s.prompt?.purpose ?? null
    }
    expect([asks(899), asks(901)]).toEqual([null, { kind: 'renew', rail: 'LT' }])
  })
})

describe('what a rail draws at the end of a step', () => {
  const asked = (limits: RailLimits, amps: number): string | null => {
    const plan = withStep({ settle_within_s: 0, limits: { HT: limits } })
    const d = momentOf(plan, hold, { part: 'settle', rails: standing(plan, 'HT', 250, amps) })
    holdAndSettle(d, stepOf(d))
    return d.s.prompt?.ask.about ?? null
  }

  it('is asked about where it is less than passes unasked', () => {
    expect([asked(limitsAt(250, 0.05), 0.021), asked(limitsAt(250, 0.05), 0.019)]).toEqual([
      null,
      'below-ask HT',
    ])
  })

  it('is not asked about where nothing is expected to flow, and its zero reads a digit below', () => {
    expect(asked(limitsAt(250, 0), -0.0001)).toBeNull()
  })

  /** What is warned of a rail expected at 50 mA, its band 35 mA to 65 mA. */
  const warned = (amps: number): string => {
    const d = momentOf(small, hold, { part: 'settle', rails: standing(small, 'HT', 250, amps) })
    nextStep(d, stepOf(d))
    expect(recorded(d)).toContain('expected 50 mA (35 mA to 65 mA)')
    return d.s.warnings.join()
  }

  it('is in its band as far as its own read-back can tell, and marginal beyond', () => {
    // 0.2 % and 0.2 mA of error, 0.1 mA of last digit.
    expect([warned(0.0653), warned(0.0347), warned(0.05)]).toEqual(['', '', ''])
    expect([warned(0.0656), warned(0.0344)]).toEqual([
      expect.stringContaining('HT at 250 V is marginal'),
      expect.stringContaining('HT at 250 V is marginal'),
    ])
  })

  it('is far from it beyond what passes unasked or trips', () => {
    expect(warned(0.019)).toContain('is far below its band')
    expect(warned(0.081)).toContain('is far above its band')
  })
})

describe('what bias draws by itself, kept to tell grid current from it', () => {
  const rest = (step: Partial<Step>, rails: State['rails']): State['rest'] => {
    const plan = withStep(step)
    const d = momentOf(plan, hold, { part: 'settle', rails })
    nextStep(d, stepOf(d))
    return d.s.rest
  }
  const BIAS = standing(small, 'BIAS', 40, 0.008)
  const HT = standing(small, 'HT', 250, 0.05)

  it('is taken of bias rails alone, where no stage is driven', () => {
    expect(rest({}, { ...BIAS, ...HT, ...standing(small, 'LT', 12, 4) })).toEqual({ BIAS: 0.8 })
  })

  it('is taken of a driven stage only while its HT is off: grid current is in it then', () => {
    expect(rest({ drive: [] }, BIAS)).toEqual({ BIAS: 0.8 })
    expect(rest({ drive: [] }, { ...BIAS, ...HT })).toEqual({})
  })

  it('is none where the plan expects none', () => {
    expect(rest({ limits: { BIAS: limitsAt(40, 0) } }, BIAS)).toEqual({})
  })
})
