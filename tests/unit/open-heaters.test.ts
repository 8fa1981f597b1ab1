import { describe, expect, it } from 'vitest'
import { Rig } from '../helpers/rig.js'
import { load_ohm, smallPlan } from '../helpers/small-plan.js'

/** Heaters of the small set from the moment they stand at their volts, drawing this part of what is expected. */
function drawing(part: number): Rig {
  const rig = new Rig(smallPlan()).start()
  rig.until('heaters at their volts', () => rig.state.step === 3 && rig.state.part === 'hold')
  rig.ohm['LT'] = (load_ohm['LT'] ?? NaN) / part
  return rig
}

describe('heaters that draw too little as they stand', () => {
  it('may be accepted as weak by a person', () => {
    const rig = drawing(0.3)
    rig.until('the step after', () => rig.state.step > 3)
    expect(rig.asked()).toContain('below-ask LT')
  })

  it('are open below a quarter of what is expected: nobody is asked, and HT is not brought up to cold cathodes', () => {
    for (const part of [0.2, 1e-6]) {
      const rig = drawing(part)
      const { outcome, outputs_off, reason } = rig.toTheEnd()
      expect({ outcome, outputs_off, code: reason?.code }).toEqual({
        outcome: 'tripped',
        outputs_off: 'confirmed',
        code: 'heater-lost',
      })
      expect(reason?.limit).toBeCloseTo(1)
      expect(reason?.text).toContain('no weak chain but an open one')
      expect(rig.asked()).not.toContain('below-ask LT')
      expect(
        rig.commands.some(
          (each) => each.kind === 'line' && each.channel === 'ht.1' && each.do === 'on' && each.t_us > 30e6,
        ),
      ).toBe(false)
    }
  })

  it('are open, too, while HT waits for them, and where they went on falling as the question stood', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('HT on its way', () => rig.state.part === 'ramp' && (rig.set['ht.1'] ?? 0) > 20)
    rig.ohm['LT'] = 1e6
    expect(rig.toTheEnd().reason).toMatchObject({ code: 'heater-lost', rail: 'LT' })
    expect(rig.asked()).not.toContain('below-ask LT')

    const asked = drawing(0.3)
    asked.answers = false
    asked.until('the question', () => asked.state.prompt?.purpose.kind === 'weak')
    asked.ohm['LT'] = 1e6
    asked.tick()
    asked.answer('yes')
    expect(asked.toTheEnd().reason).toMatchObject({ code: 'heater-lost', rail: 'LT' })
  })
})
