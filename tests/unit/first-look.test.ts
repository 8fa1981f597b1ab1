import { describe, expect, it } from 'vitest'
import { endsTheRun } from '../../src/sequencer/index.js'
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
