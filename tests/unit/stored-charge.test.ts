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
  it('is told behind a person’s own knob too, once that was read at nothing', () => {
    const byHand = { ...metered, rails: { HT: { ...metered.rails['HT'], class: 'hand' } } } as Plan
    const rig = new Rig(metered)
    const after = (typed_V: number, energised = false) => {
      const typed = { value: typed_V, t_us: 1e6 }
      const state = {
        ...rig.state,
        t_us: 3e6,
        rails: { HT: { ...rig.state.rails['HT'], V: typed, energised } },
        meters: { [name]: { value: 0.4, t_us: 2.5e6 } },
      } as unknown as typeof rig.state
      return storedCharge(byHand, state)['HT+']
    }
    expect(after(0)).toMatchObject({ volts: 0.4, meter: name })
    expect(after(180)).toBe('not measured')
    // Asked to turn it up again, and nothing typed since.
    expect(after(0, true)).toBe('not measured')
  })
})
