import { describe, expect, it } from 'vitest'
import { limitsNow } from '../../src/sequencer/in-force.js'
import { view } from '../../src/sequencer/index.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

const plan = smallPlan()
const at250 = plan.steps.findIndex(({ stage }) => stage === 'HT 250 V')
const [before, next] = [plan.steps[at250 - 1], plan.steps[at250]]

/** HT stands at 100 V, and the record of the raise to 250 V does not come: as long as hands or an interlock would take. */
function waiting(of = plan): Rig {
  const rig = new Rig(of).start()
  rig.until('step HT 100 V', () => rig.state.step === at250 - 1 && rig.state.part === 'hold')
  rig.keepsRecord = false
  rig.until('the intent of HT 250 V', () => rig.state.step === at250 && rig.state.part === 'intent')
  return rig
}

describe('a rail that waits for its next raise', () => {
  it('is held to the limits of the step that it stands at', () => {
    const rig = waiting()
    expect(limitsNow(rig.state, 'HT')).toBe(before?.limits['HT'])
    expect(view(rig.state).rails.find(({ rail }) => rail === 'HT')?.limits).toMatchObject({
      trip_A: before?.limits['HT']?.trip_A,
    })
    rig.keepsRecord = true
    rig.feed({ kind: 'recorded', intent: rig.state.intent?.id ?? 0 })
    rig.until('the ramp', () => rig.state.part === 'ramp' && (rig.set['ht.1'] ?? 0) > 150)
    const trip_A = limitsNow(rig.state, 'HT')?.trip_A ?? 0
    expect(trip_A).toBeGreaterThan(before?.limits['HT']?.trip_A ?? Infinity)
    expect(trip_A).toBeLessThan(next?.limits['HT']?.trip_A ?? 0)
  })

  it('trips there by what the next step would let pass, and the reason names the step whose limit it was', () => {
    const rig = waiting()
    // 20 mA at 100 V; 36 mA are above that step's 32 mA, and below the 80 mA of 250 V.
    rig.extra_A['HT'] = 0.016
    rig.until('the trip', () => rig.state.off !== null, 3)
    const reason = rig.state.off?.reason
    expect(reason).toMatchObject({ code: 'over-trip', limit: before?.limits['HT']?.trip_A })
    expect(reason?.text).toContain(`that of step ${before?.index ?? ''}`)
  })

  it('that a question held up half way is held to what its set-point has come to', () => {
    const rig = new Rig(plan).start()
    rig.until('mid-ramp', () => rig.state.step === at250 && (rig.set['ht.1'] ?? 0) > 150)
    rig.keepsRecord = false
    rig.state = { ...rig.state, hands_in: true }
    rig.until('the intent once more', () => rig.state.part === 'intent')
    const trip_A = limitsNow(rig.state, 'HT')?.trip_A ?? 0
    expect(trip_A).toBeGreaterThan(before?.limits['HT']?.trip_A ?? Infinity)
    expect(trip_A).toBeLessThan(next?.limits['HT']?.trip_A ?? 0)
    // Nor is it off its set-point there, or short of volts that nobody has asked for yet.
    for (let n = 0; n < 40; n++) rig.tick()
    expect(rig.state.off).toBeNull()
  })

  it('leaves to rails that stand beside it what they had, until it moves: then what they had, or will have', () => {
    const more = limitsAt(40, 0.012)
    const steps = plan.steps.map((step, at) =>
      at < at250 ? step : { ...step, limits: { ...step.limits, BIAS: more } },
    )
    const rig = waiting({ ...plan, steps })
    const had = before?.limits['BIAS']
    expect(limitsNow(rig.state, 'BIAS')).toBe(had)
    rig.keepsRecord = true
    rig.feed({ kind: 'recorded', intent: rig.state.intent?.id ?? 0 })
    rig.until('the ramp', () => rig.state.part === 'ramp' && (rig.set['ht.1'] ?? 0) > 150)
    expect(limitsNow(rig.state, 'BIAS')).toMatchObject({ lower_A: had?.lower_A, trip_A: more.trip_A })
  })
})
