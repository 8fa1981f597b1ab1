import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { storedCharge } from '../../src/story/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

const name = 'reservoir meter'
/** The small set with a meter on a line that stands at the HT node. */
const metered = smallPlan((plan: Plan) => {
  const like = plan.meters['grid meter']
  if (like === undefined) throw new Error('the small plan has no grid meter')
  return { ...plan, meters: { ...plan.meters, [name]: { ...like, name, port: 'rm', at: 'HT+' } } }
})
const reads = (rig: Rig, volts: number) => {
  rig.feed({ kind: 'meter', meter: name, value: { n: volts, k: 0 } })
}

describe("the set's stored charge", () => {
  it('is not measured where the meter read before OFF and never again', () => {
    const rig = new Rig(metered).start()
    reads(rig, 0)
    rig.toFullHT()
    reads(rig, 0)
    rig.toTheEnd()
    expect(storedCharge(rig.plan, rig.state)).toEqual({ 'HT+': 'not measured' })
  })

  it('is not measured where the meter read after OFF and then went quiet for longer than a reading holds', () => {
    const rig = new Rig(metered).start().toFullHT()
    rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
    rig.tick()
    reads(rig, 180)
    const last_us = rig.t_us
    rig.toTheEnd()
    expect((rig.t_us - last_us) / 1e6).toBeGreaterThan(metered.stale_s)
    expect(storedCharge(rig.plan, rig.state)).toEqual({ 'HT+': 'not measured' })
  })

  it('is told in volts, by whom and how old, where the meter still reads', () => {
    const rig = new Rig(metered).start().toFullHT()
    const tick = rig.tick.bind(rig)
    rig.tick = (...late) => {
      if (rig.state.phase === 'making off') reads(rig, 12)
      tick(...late)
    }
    rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
    rig.toTheEnd()
    const found = storedCharge(rig.plan, rig.state)['HT+']
    expect(found).toMatchObject({ volts: 12, meter: name })
    expect(typeof found === 'object' ? found.age_s : Infinity).toBeLessThan(metered.stale_s)
  })
})
