import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { begin, type State, view } from '../../src/sequencer/index.js'
import { reformPasses } from '../../src/sequencer/reform.js'
import { smallPlan } from '../helpers/small-plan.js'
import { partGivenUp, partWaits, smallReform } from '../helpers/small-reform.js'
import { known, ran, standing, steps } from '../helpers/standing.js'

/* Lifted electrolytics: what is passed over, what is asked, and what is said to whoever watches. */

/** A state in the last hold, in which parts are formed. */
const forming = (change: (plan: Plan) => Plan, parts: State['reform']): State => ({
  ...begin(smallPlan((plan) => change({ ...plan, reform: smallReform }))),
  ...{ phase: 'running', step: 7, part: 'hold', reform: parts },
})
const held = steps((step) =>
  step.do === 'hold' ? { ...step, reform: { what: 'rung', least_s: 0 }, nodes: {} } : step,
)

describe('a step in which a part is taken off', () => {
  const passed = (parts: State['reform']): boolean => {
    const state = forming((plan) => plan, parts)
    const [first] = state.plan.steps
    if (first === undefined) throw new Error('no step')
    return reformPasses(state, { ...first, aside: true })
  }

  it('is passed over only where no part is given up and still connected', () => {
    expect(passed({ C1: partWaits, C2: partWaits })).toBe(true)
    expect(passed({ C1: partWaits, C2: { ...partGivenUp, off: true } })).toBe(true)
    expect(passed({ C1: partWaits, C2: partGivenUp })).toBe(false)
  })
})

describe('a part whose meter a person reads', () => {
  it('is asked about with the point that is read: the answer counts for that part and no other', () => {
    const rig = standing()
    known(rig, {
      plan: held({ ...rig.state.plan, reform: smallReform }),
      reform: { C1: partWaits, C2: partWaits },
    })
    rig.unanswered = /^read /
    ran(rig, 0.2)
    expect(rig.state.prompt?.ask).toMatchObject({
      about: 'read C1',
      wants: { kind: 'reading', node: 'C1 feed', rail: null, unit: 'V' },
    })
    rig.answer(3)
    expect(rig.state.typed['node:C1 feed']).toMatchObject({ value: 3 })
  })
})

describe('what a run waits for', () => {
  it('is said by the parts that still leak too much, in their hold alone', () => {
    const state = forming(held, { C1: partGivenUp, C2: partWaits })
    expect(view(state).waiting_for).toBe('C2 to leak less')
    expect(view({ ...state, part: 'ramp' }).waiting_for).not.toContain('leak')
    const without = forming((plan) => plan, { C1: partWaits, C2: partWaits })
    expect(view(without).waiting_for).not.toContain('leak')
  })
})
