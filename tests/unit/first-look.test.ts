import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { endsTheRun, type State } from '../../src/sequencer/index.js'
import { limitsNow } from '../../src/sequencer/in-force.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/** That whatever it says is said by the judgement, too, every reading of every rig is held to (`Rig`). Here: where it speaks. */
const started = (): Rig => new Rig(smallPlan()).start()
const limitsOf = (rig: Rig) => {
  const limits = rig.plan.steps[rig.state.step]?.limits['HT']
  if (limits === undefined) throw new Error('no limits of HT in this step')
  return limits
}

describe('a current at first look', () => {
  it('ends the run above the ceiling of a rail that stands, and not at it', () => {
    const rig = started().toFullHT()
    const { ceiling_A } = limitsOf(rig)
    expect(endsTheRun(rig.state, 'ht.1', ceiling_A)).toBe(false)
    expect(endsTheRun(rig.state, 'ht.1', ceiling_A + 0.0001)).toBe(true)
    expect(endsTheRun(rig.state, 'no.1', 10)).toBe(false)
    const before = rig.first_looks
    rig.ohm['HT'] = 100
    expect(rig.toTheEnd().reason?.code).toBe('over-ceiling')
    expect(rig.first_looks).toBe(before + 1)
    expect(endsTheRun(rig.state, 'ht.1', 10)).toBe(false)
  })

  it('leaves the charge of reservoirs to a rail that rises', () => {
    const rig = started()
    rig.until('mid-ramp', () => (rig.set['ht.1'] ?? 0) > 150)
    const { ceiling_A, charge_A } = limitsOf(rig)
    expect(endsTheRun(rig.state, 'ht.1', 0.99 * charge_A)).toBe(false)
    expect(endsTheRun(rig.state, 'ht.1', ceiling_A + charge_A + 0.0001)).toBe(true)
  })

  it('is left to the whole judgement while wiring is proved, heaters are cold, an output is off, or nothing runs', () => {
    const rig = started()
    const now = (): boolean => endsTheRun(rig.state, 'lt.1', 1000)
    rig.until(
      'a hook-up check',
      () => rig.plan.steps[rig.state.step]?.do === 'hook-up check' && rig.on['lt.1'] === true,
    )
    expect(now()).toBe(false)
    rig.until('cold heaters', () => rig.plan.steps[rig.state.step]?.do === 'raise' && rig.on['lt.1'] === true)
    expect(now()).toBe(false)
    expect(endsTheRun(rig.state, 'ht.1', 1000)).toBe(false)
    rig.toFullHT()
    expect(now()).toBe(true)
    rig.feed({ kind: 'stop', how: 'run down', by: 'test' })
    expect(now()).toBe(false)
  })
})

const full = new Rig(smallPlan()).start().toFullHT().state
const ceiling_A = full.plan.steps[full.step]?.limits['HT']?.ceiling_A ?? NaN
const HT = full.rails['HT']
const { HT: planned } = full.plan.rails
if (HT === undefined || planned === undefined) throw new Error('The small plan has no HT.')
const above_A = 2 * ceiling_A
const withPlan = (change: Partial<Plan>): State => ({ ...full, plan: { ...full.plan, ...change } })
const withHT = (change: Partial<typeof planned>): State =>
  withPlan({ rails: { ...full.plan.rails, HT: { ...planned, ...change } } })

describe('a current at first look, one condition at a time', () => {
  it('says yes above the ceiling in force, and not at it', () => {
    expect(endsTheRun(full, 'ht.1', above_A)).toBe(true)
    expect(endsTheRun(full, 'ht.1', ceiling_A + 1e-6)).toBe(true)
    expect(endsTheRun(full, 'ht.1', ceiling_A)).toBe(false)
    expect(endsTheRun(full, 'ht.1', -above_A)).toBe(false)
  })

  it.each<[string, State]>([
    ['a run that goes off already', { ...full, phase: 'making off' }],
    ['one that waits for its cautions', { ...full, phase: 'waiting' }],
    ['a run whose steps are done', { ...full, step: full.plan.steps.length }],
    ['a hook-up check, which has limits of its own', { ...full, step: 2 }],
    ['a rail that is off', { ...full, rails: { ...full.rails, HT: { ...HT, energised: false } } }],
    ['a rail that is not there', { ...full, rails: {} }],
    ['a rail on a knob, which no OFF of ours reaches', withHT({ class: 'watched' })],
    ['a rail of which the step says nothing', { ...full, step: 3, part: 'hold' }],
  ])('says nothing of %s', (_, state) => {
    expect(endsTheRun(state, 'ht.1', above_A)).toBe(false)
  })

  it('says nothing of a channel that no rail is fed by', () => {
    expect(endsTheRun(full, 'other.1', above_A)).toBe(false)
  })

  it('waits until every one of stacked channels has been read once', () => {
    const [own] = planned.channels
    const known = full.channels['ht.1']
    if (own === undefined || known === undefined) throw new Error('HT has no channel.')
    const state = withHT({ channels: [own, { ...own, channel: 'ht.2' }] })
    const both = (second: typeof known): State => ({
      ...state,
      channels: { ...state.channels, 'ht.2': second },
    })
    expect(endsTheRun(state, 'ht.1', above_A)).toBe(false)
    expect(endsTheRun(both({ ...known, A: null }), 'ht.1', above_A)).toBe(false)
    expect(endsTheRun(both(known), 'ht.1', above_A)).toBe(true)
    expect(endsTheRun(both({ ...known, A: null }), 'ht.2', above_A)).toBe(true)
  })

  it('leaves heaters that are warming to the judgement, which knows what they may draw cold', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('heaters on their way', () => rig.state.part === 'ramp' && (rig.set['lt.1'] ?? 0) > 5)
    const trip_A = rig.state.plan.steps[rig.state.step]?.limits['LT']?.ceiling_A ?? NaN
    expect(endsTheRun(rig.state, 'lt.1', 2 * trip_A)).toBe(false)
    expect(endsTheRun(full, 'lt.1', 2 * trip_A)).toBe(true)
  })

  it('allows what charges capacitors on top while it rises, and no longer', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('mid-ramp', () => rig.state.part === 'ramp' && (rig.set['ht.1'] ?? 0) > 240)
    const limits = limitsNow(rig.state, 'HT')
    const between_A = (limits?.ceiling_A ?? NaN) + (limits?.charge_A ?? NaN) / 2
    expect(endsTheRun(rig.state, 'ht.1', between_A)).toBe(false)
    rig.until('the last hold', () => rig.state.part === 'settle')
    const { ceiling_A: held_A = NaN, charge_A = NaN } = limitsNow(rig.state, 'HT') ?? {}
    expect(endsTheRun({ ...rig.state, t_us: rig.t_us + 2e6 }, 'ht.1', held_A + charge_A / 2)).toBe(true)
  })
})
