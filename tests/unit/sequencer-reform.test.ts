import { describe, expect, it } from 'vitest'
import type { Plan, ReformPart, ReformPlan } from '../../src/plan/index.js'
import { begin, type State, view } from '../../src/sequencer/index.js'
import { reformPasses } from '../../src/sequencer/reform.js'
import { smallPlan } from '../helpers/small-plan.js'
import { known, ran, standing, steps } from '../helpers/standing.js'

/* Lifted electrolytics: what is passed over, what is asked, and what is said to whoever watches. */

const part = (name: string, typed: string | null): ReformPart => ({
  name,
  parts: [name],
  joined: 'alone',
  F: 8e-6,
  rated_V: 450,
  most_V: 450,
  cans: [],
  feed_ohm: 10_000,
  feed_error: 0.05,
  feed_rated_W: 5,
  meter: `meter of ${name}`,
  ...(typed !== null && { typed: { node: typed, settle_s: 0 } }),
  across: 'feed',
  meter_ohm: 10e6,
  meter_error: { of_reading: 0.01, plus: 0.1, resolution: 0.1 },
  case: null,
  limit: { target: 'a test', amps: 1e-3, after_s: 60, text: 'a test', source: 'invented' },
  resolves_A: 1e-6,
  formed_V: 0,
})
const reform: ReformPlan = {
  rail: 'HT',
  channel: 'ht.1',
  parts: [part('C1', 'C1 feed'), part('C2', null)],
  top_V: 250,
  rung_V: 50,
  heat_W: 1,
  top_s: 60,
  rest_s: 60,
  supply: { of_reading: 0.001, plus: 0.1, resolution: 0.1 },
  said: [],
}
const waits: State['reform'][string] = {
  act: 'wait',
  step: 0,
  reach_V: 0,
  formed_V: 0,
  verdict: null,
  off: false,
}
const givenUp = { ...waits, act: 'give up', verdict: 'replace' } as const

/** A state in the last hold, in which parts are formed. */
const forming = (change: (plan: Plan) => Plan, parts: State['reform']): State => ({
  ...begin(smallPlan((plan) => change({ ...plan, reform }))),
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
    expect(passed({ C1: waits, C2: waits })).toBe(true)
    expect(passed({ C1: waits, C2: { ...givenUp, off: true } })).toBe(true)
    expect(passed({ C1: waits, C2: givenUp })).toBe(false)
  })
})

describe('a part whose meter a person reads', () => {
  it('is asked about with the point that is read: the answer counts for that part and no other', () => {
    const rig = standing()
    known(rig, { plan: held({ ...rig.state.plan, reform }), reform: { C1: waits, C2: waits } })
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
    const state = forming(held, { C1: givenUp, C2: waits })
    expect(view(state).waiting_for).toBe('C2 to leak less')
    expect(view({ ...state, part: 'ramp' }).waiting_for).not.toContain('leak')
    const without = forming((plan) => plan, { C1: waits, C2: waits })
    expect(view(without).waiting_for).not.toContain('leak')
  })
})
