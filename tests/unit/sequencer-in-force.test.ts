import { describe, expect, it } from 'vitest'
import type { Plan, RailLimits, RailPlan, Step } from '../../src/plan/index.js'
import {
  comesDown,
  due_V,
  htIsOn,
  isCharging,
  isRising,
  isUp,
  limitsNow,
  mayNotBeTouched,
  reasonText,
} from '../../src/sequencer/in-force.js'
import { inForceNow } from '../../src/sequencer/index.js'
import type { State } from '../../src/sequencer/index.js'
import { MidStep } from '../helpers/mid-step.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* What a reading is held against at this moment, and what counts as up, as HT and as nothing for hands. */

const [at100, at250, holds] = [5, 6, 7]
const steps = (change: (step: Step, at: number) => Partial<Step>) => (plan: Plan) => ({
  ...plan,
  steps: plan.steps.map((step, at) => ({ ...step, ...change(step, at) })),
})
/** From this step on the bias supply is to give more, as where a stage draws grid current. */
const moreBias = limitsAt(40, 0.012)
const bias = (from: number, own: RailLimits = moreBias): Plan =>
  smallPlan(steps(({ limits }, at) => (at < from ? {} : { limits: { ...limits, BIAS: own } })))
/** Its hook-up check has the limits of its few volts. */
const testedAt3V = smallPlan(
  steps(({ limits }, at) => (at === 2 ? { limits: { ...limits, HT: limitsAt(3, 0.001) } } : {})),
)
/** After the hold HT is taken down to these volts. */
const lowered = (target_V: number): Plan =>
  smallPlan((plan) => {
    const last = plan.steps[holds]!
    const lower: Step = { ...last, do: 'lower', stage: 'down', rail: 'HT', target_V, index: 9 }
    return { ...plan, steps: [...plan.steps, lower] }
  })
const lowers = 8
const watched = (rail: RailPlan): RailPlan => ({ ...rail, class: 'watched', channels: [], volts_meter: 'M' })
const byKnob = (name: string): Plan =>
  smallPlan((plan) => ({ ...plan, rails: { ...plan.rails, [name]: watched(plan.rails[name]!) } }))

describe('what a current is drawn against in a chart', () => {
  it('is the step’s own limits for a rail that stands, with nothing on top once it has charged', () => {
    const run = new MidStep(smallPlan(), holds, 'hold')
    expect(inForceNow(run.state, 'HT')).toEqual({
      limits: run.step.limits['HT'],
      charge_A: 0,
      lowering: false,
    })
  })

  it('is no band for the rail that is on its way down, and still is one for those beside it', () => {
    const { state } = new MidStep(lowered(30), lowers, 'arrive')
    expect(inForceNow(state, 'HT')?.lowering).toBe(true)
    expect(inForceNow(state, 'BIAS')?.lowering).toBe(false)
    expect(inForceNow(new MidStep(lowered(250), lowers, 'arrive').state, 'HT')?.lowering).toBe(false)
    // A rail held below the volts of its limits is not on its way down.
    const below = smallPlan(steps((_step, at) => (at === at250 ? { target_V: 240 } : {})))
    expect(inForceNow(new MidStep(below, at250, 'hold').state, 'HT')?.lowering).toBe(false)
  })

  it('is nothing before a run, in a hook-up check, and for a rail that is off', () => {
    const run = new MidStep(smallPlan(), holds, 'hold')
    expect(inForceNow({ ...run.state, phase: 'waiting' }, 'HT')).toBeNull()
    const check = new MidStep(testedAt3V, 2, 'hook-up ohms')
    expect(inForceNow(check.state, 'HT')).toBeNull()
    expect(inForceNow(run.rail('HT', { energised: false }).state, 'HT')).toBeNull()
  })
})

describe('the limits of a rail that rises', () => {
  it('are never those of its hook-up check, which were for 3 V', () => {
    const run = new MidStep(testedAt3V, at100, 'ramp').rail('HT', { set_V: 50 })
    expect(limitsNow(run.state, 'HT')).toBe(run.step.limits['HT'])
  })
})

describe('the limits of a rail that stands beside one that moves', () => {
  /** HT at its first step, of which no lower one came before; its set-point has come to this. */
  const first = (part: State['part'], set_V: number): State =>
    new MidStep(bias(at100), at100, part).rail('HT', { set_V }).state
  const had = smallPlan().steps[4]!.limits['BIAS']!

  it('are what they were until the first volt of HT, and cover both from there', () => {
    expect(limitsNow(first('intent', 0), 'BIAS')).toBe(had)
    expect(limitsNow(first('intent', 5), 'BIAS')).toBe(had)
    const both = { lower_A: had.lower_A, trip_A: moreBias.trip_A }
    // Held up half way by a question, and on its way.
    expect(limitsNow(first('intent', 60), 'BIAS')).toMatchObject(both)
    expect(limitsNow(first('ramp', 60), 'BIAS')).toMatchObject(both)
  })

  it('are the step’s own once HT has arrived, and in a step that moves nothing', () => {
    for (const part of ['hold', 'settle'] as const) expect(limitsNow(first(part, 100), 'BIAS')).toBe(moreBias)
    expect(limitsNow(new MidStep(bias(holds), holds, 'gate').state, 'BIAS')).toBe(moreBias)
  })

  it('leave alone the rail that moves: raised to the volts that it has, in another mode, it has the new ones', () => {
    const again = limitsAt(100, 0.03)
    const plan = smallPlan(
      steps(({ limits }, at) => (at === at250 ? { target_V: 100, limits: { ...limits, HT: again } } : {})),
    )
    expect(limitsNow(new MidStep(plan, at250, 'ramp').state, 'HT')).toBe(again)
  })
})

describe('why a limit is what it is', () => {
  const beside = (plan: Plan, limit: 'trip' | 'ceiling'): string =>
    reasonText(new MidStep(plan, at250, 'ramp').rail('HT', { set_V: 200 }).state, 'BIAS', limit, 0)

  it('names the step before for a rail that stands, where the figure in force is still that one’s', () => {
    // Grid current takes from what the bias supply gives: it is held to the larger figure, that of before.
    expect(beside(bias(at250, limitsAt(40, 0.006)), 'trip')).toMatch(
      /^Trip 16 mA at 40 V, still that of step 6: invented for this test\.$/,
    )
  })

  it('and does not where it is the step’s own, or where both say the same', () => {
    expect(beside(bias(at250), 'trip')).toMatch(/^Trip 19\.2 mA at 40 V: invented for this test\.$/)
    const sameTrip = limitsAt(40, 0.012, { trip_A: 0.016 })
    expect(beside(bias(at250, sameTrip), 'trip')).toMatch(/^Trip 16 mA at 40 V: /)
  })

  it('says no more than the figure where the plan says nothing behind it', () => {
    expect(beside(bias(at250, { ...moreBias, because: [] }), 'trip')).toBe('Trip 19.2 mA at 40 V.')
  })
})

describe('a rail', () => {
  const run = (plan = smallPlan(), at = at250, part: State['part'] = 'hold'): MidStep =>
    new MidStep(plan, at, part)
  const HT = smallPlan().rails['HT']!

  it('that is lowered is due the lower volts, one that rises what it was set to so far', () => {
    const due = (one: MidStep): number =>
      due_V(one.state, one.step, HT, one.state.rails['HT']!, one.step.limits['HT']!)
    expect(due(run(lowered(100), lowers, 'arrive'))).toBe(100)
    expect(due(run(smallPlan(), at250, 'ramp').rail('HT', { set_V: 180 }))).toBe(180)
    expect(due(run().rail('HT', { set_V: 180 }))).toBe(250)
  })

  it('that is lowered is not rising, though it has yet to arrive: no current is allowed for charging', () => {
    const down = run(lowered(100), lowers, 'arrive')
    expect(isRising(down.state, down.step)).toBe(false)
    expect(isCharging(down.state, down.step, HT, down.state.rails['HT']!)).toBe(false)
    const up = run(smallPlan(), at250, 'arrive')
    expect(isRising(up.state, up.step)).toBe(true)
  })

  it('on a knob may draw its charge while its knob is asked for, and not while it holds', () => {
    const plan = byKnob('HT')
    const charging = (part: State['part']): boolean => {
      const one = run(plan, at250, part)
      return isCharging(one.state, one.step, plan.rails['HT']!, one.state.rails['HT']!)
    }
    expect(charging('asking')).toBe(true)
    expect(charging('hold')).toBe(false)
    expect(charging('settle')).toBe(false)
    // Asked for something else, a rail that slowglow sets draws no charge.
    const other = run(smallPlan(), at250, 'asking')
    expect(isCharging(other.state, other.step, HT, other.state.rails['HT']!)).toBe(false)
  })

  it('comes down only after it was lowered, and for two minutes', () => {
    const at = (lowered_us: number | null, t_us: number): boolean => {
      const one = run().rail('HT', { set_V: 100, lowered_us })
      return comesDown({ ...one.state, t_us }, one.state.rails['HT']!)
    }
    expect(at(null, 60e6)).toBe(false)
    expect(at(50e6, 60e6)).toBe(true)
    expect(at(50e6, 169e6)).toBe(true)
    expect(at(50e6, 170e6)).toBe(false)
  })
})

describe('HT', () => {
  it('is on above the touch limit, by what is set or by what is read, and not at it', () => {
    const on = (set_V: number, value: number, energised = true): boolean =>
      htIsOn(
        new MidStep(smallPlan(), at250, 'hold').rail('HT', { set_V, energised, V: { value, t_us: 1200e6 } })
          .state,
      )
    expect([on(60, 60), on(61, 0), on(0, 61)]).toEqual([false, true, true])
    expect([on(61, 0, false), on(0, 61, false)]).toEqual([false, false])
  })
})

describe('a rail on a knob', () => {
  const plan = byKnob('HT')
  const dead = (at: number, part: State['part']): MidStep =>
    new MidStep(plan, at, part).rail('HT', { energised: false, V: { value: 0, t_us: 1200e6 } })

  it('that was brought up and reads nothing counts as up, while another’s knob is asked for too', () => {
    const HT = plan.rails['HT']!
    expect(isUp(dead(at250, 'hold').state, HT)).toBe(true)
    const bare = plan.steps[at250]!
    const other = { ...plan, steps: [...plan.steps.slice(0, at250), { ...bare, rail: 'BIAS' }] }
    const beside = new MidStep(other, at250, 'asking').rail('HT', { energised: false })
    expect(isUp(beside.state, HT)).toBe(true)
  })

  it('whose own knob is being turned has lost nothing', () => {
    expect(isUp(dead(at250, 'asking').state, plan.rails['HT']!)).toBe(false)
  })
})

describe('what hands are kept from', () => {
  const keeps = (known: Partial<State['rails'][string]>, more: Partial<State> = {}, name = 'LT'): boolean => {
    const run = new MidStep(smallPlan(), holds, 'hold', more).rail(name, known)
    return mayNotBeTouched(run.state, run.state.plan.rails[name]!)
  }
  const reads = (value: number) => ({ V: { value, t_us: 1200e6 } })

  it('is any rail above the touch limit, by what it is set to or by what it reads', () => {
    expect(keeps({ set_V: 12, ...reads(12) })).toBe(false)
    expect(keeps({ set_V: 61, ...reads(12) })).toBe(true)
    expect(keeps({ set_V: 12, ...reads(100) })).toBe(true)
    // It was set to the touch limit, and its reading is off by a twentieth.
    expect(keeps({ set_V: 60, ...reads(63) })).toBe(false)
    expect(keeps({ set_V: 61, V: null })).toBe(true)
  })

  it('is, once OFF was told, what still reads too high, whatever it was set to', () => {
    const run = new MidStep(smallPlan(), holds, 'hold')
    run.hear(0, { kind: 'stop', how: 'off now', by: 'a test' })
    const off = { off: run.state.off, phase: run.state.phase }
    expect(keeps({ set_V: 250, ...reads(20) }, off, 'HT')).toBe(false)
    expect(keeps({ set_V: 60, ...reads(63) }, off, 'HT')).toBe(false)
    expect(keeps({ set_V: 250, ...reads(64) }, off, 'HT')).toBe(true)
    expect(keeps({ set_V: 250, V: null }, off, 'HT')).toBe(true)
  })
})
