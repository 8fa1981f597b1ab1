import { describe, expect, it } from 'vitest'
import type { Plan, RailLimits, RatingWatch } from '../../src/plan/index.js'
import { cathodeRead, noteOverRating, overRating } from '../../src/sequencer/over-rating.js'
import { isPassedOver, passOver } from '../../src/sequencer/pass-over.js'
import type { State } from '../../src/sequencer/state.js'
import { momentOf, recorded } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* A tube between its bare rating and what its rating system allows: shown, warned of once, and its cathode read for that. */

const watch: RatingWatch = {
  part: 'V8',
  what: 'V8 plate dissipation',
  of_rating: 0.9,
  share_A: 0.04,
  at_A: 0.0545,
  rating: '12 W',
  source: 'Invented for this test.',
  cathode: null,
}
/** The rail is expected to draw 50 mA, 40 mA of it through V8. */
const limits = (...ratings: readonly RatingWatch[]): RailLimits => limitsAt(250, 0.05, { ratings })

describe('a tube over its bare rating', () => {
  it('is said in parts of it, from its own current, and as one in a hundred at least', () => {
    expect(overRating(limits(watch), 0.058)).toBe('V8 plate dissipation over its rating, 8 %')
    expect(overRating(limits(watch), 0.0546)).toBe('V8 plate dissipation over its rating, 1 %')
  })

  it('is none up to there, with no current read, and with nothing to hold it against', () => {
    expect(overRating(limits(watch), 0.0544)).toBeNull()
    expect(overRating(limits(watch), null)).toBeNull()
    expect([overRating(limits(), 0.1), overRating(limitsAt(250, 0.05), 0.1), overRating(null, 0.1)]).toEqual([
      ...[null, null, null],
    ])
  })

  it('is said for each that is', () => {
    const other = { ...watch, part: 'V9', what: 'V9 screen dissipation', at_A: 0.06 }
    expect(overRating(limits(watch, other), 0.058)).not.toContain('V9')
    expect(overRating(limits(watch, other), 0.062)).toBe(
      'V8 plate dissipation over its rating, 17 %; V9 screen dissipation over its rating, 17 %',
    )
  })

  it('is warned of once and kept for the run with the most it was', () => {
    const d = momentOf(smallPlan(), 7)
    noteOverRating(d, limits(watch), 'HT', 0.0544)
    expect([d.s.over_rating, d.s.warnings]).toEqual([{}, []])
    for (const measured_A of [0.058, 0.06, 0.056]) noteOverRating(d, limits(watch), 'HT', measured_A)
    expect(d.s.over_rating['V8']).toBeCloseTo(1.125)
    expect(d.s.warnings).toHaveLength(1)
    expect(d.s.warnings[0]).toContain('V8 plate dissipation is over its rating, 8 %: HT draws 58 mA at 250 V')
    expect(d.s.warnings[0]).toContain('Nothing can be read at its cathode')
  })

  it('has its cathode read where that can be done, and that is said', () => {
    const cathode = { node: 'k8', V: 18, rated_V: 20, most_V: 23 }
    const d = momentOf(smallPlan(), 7)
    noteOverRating(d, limits({ ...watch, cathode }), 'HT', 0.058)
    expect(d.s.warnings[0]).toContain('Its cathode will be read before the run ends.')
  })
})

describe('the steps that read a cathode', () => {
  const plan: Plan = smallPlan((small) => ({
    ...small,
    steps: small.steps.map((step) =>
      step.index === 6 || step.index === 7 ? { ...step, only_if: { over_rating: 'V8', rated_V: 20 } } : step,
    ),
  }))
  const from = (over_rating: State['over_rating']) => {
    const d = momentOf(plan, 5, { over_rating })
    passOver(d)
    return d.s.step
  }

  it('are passed over, one after another, unless that tube was over its rating in this run', () => {
    expect([from({}), from({ V9: 1.1 }), from({ V8: 1.1 })]).toEqual([7, 7, 5])
    const { s } = momentOf(plan, 5, { over_rating: { V8: 1.1 } })
    expect(plan.steps.filter((step) => isPassedOver(s, step))).toEqual([])
    expect(plan.steps.filter((step) => isPassedOver({ ...s, over_rating: {} }, step))).toHaveLength(2)
  })

  it('end with the list', () => {
    const last = { ...plan, steps: plan.steps.slice(0, 7) }
    const d = momentOf(last, 5)
    passOver(d)
    expect(d.s.step).toBe(7)
  })

  const read = (value_V: number, asked = true) => {
    const d = momentOf(plan, 5)
    cathodeRead(d, plan.steps[asked ? 5 : 4]!, value_V)
    return d
  }

  it('say whether the tube itself is over it, and warn only then: at its rating it is inside', () => {
    const over = read(22)
    expect(over.s.warnings).toEqual([
      expect.stringContaining('V8 is over its rating by its own cathode too, 10 %'),
    ])
    for (const volts of [20, 18]) {
      expect(read(volts).s.warnings).toEqual([])
      expect(recorded(read(volts))).toContain('V8 is inside its rating by its own cathode')
    }
  })

  it('keep what was read, and of which tube, in the record', () => {
    expect(read(18).out).toMatchObject([
      { entry: { what: 'judgement', rail: null, data: { part: 'V8', measured: 18, rated_V: 20 } } },
    ])
    expect(read(18, false).out).toEqual([])
  })
})
