import { describe, expect, it } from 'vitest'
import type { Plan, RuleCode } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { partOf, ran, reason, standing, steps } from '../helpers/standing.js'

/* What a rail draws and how it follows its set-point: what trips, when, and what is said of it. */

const lasts = (code: RuleCode, for_s: number) => (plan: Plan) => ({
  ...plan,
  rules: plan.rules.map((rule) => (rule.code === code ? { ...rule, for_s } : rule)),
})

describe('HT that collapses at its current limit', () => {
  const pulled = (volts: number, extra_A: number): Rig => {
    const rig = standing()
    // Just before the trip's time is over: after it nothing else is first to tell.
    rig.extra_A['HT'] = 0.04
    for (let i = 0; i < 6; i++) rig.tick()
    rig.sag_V['HT'] = volts - 250
    rig.volts['ht.1'] = volts
    rig.extra_A['HT'] = extra_A
    return ran(rig, 1)
  }

  it('is said to be a short: what was read is what the supply allows', () => {
    const said = reason(pulled(50, 0.08))
    expect(said).toMatchObject({ code: 'over-trip', rail: 'HT' })
    expect(said?.text).toMatch(
      /HT fell from 250 V to 50(\.\d)? V with the supply at its 90 mA limit: a short, or near it/,
    )
  })

  it('is said with what it drew where a good part of its volts still stands, or the limit is far', () => {
    for (const [volts, extra_A] of [
      [100, 0.07],
      [50, 0.075],
    ] as const)
      expect(reason(pulled(volts, extra_A))?.text).toMatch(/^HT drew .* above the trip of/)
  })
})

describe('a current that rises by itself', () => {
  it('is judged once its set-point has stood for the rule’s time, then trips with what to measure', () => {
    const rig = standing(lasts('rising', 25))
    const set_us = rig.state.rails['HT']?.set_us ?? 0
    const until = (seconds: number): Rig => ran(rig, seconds - (rig.t_us - set_us) / 1e6)
    until(15)
    rig.extra_A['HT'] = 0.02
    expect(reason(until(24.5))).toBeUndefined()
    until(26)
    expect(reason(rig)).toMatchObject({ code: 'rising', rail: 'HT' })
    expect(reason(rig)?.text).toContain('read the ohms from there to chassis')
  })
})

describe('a current that rose', () => {
  const after = (seconds: number, extra_A: number, for_s: number): Rig => {
    const rig = standing(lasts('rising', for_s))
    rig.extra_A['HT'] = extra_A
    return ran(rig, seconds)
  }

  it('with its set-point did not rise by itself', () => {
    expect(reason(after(6, 0.02, 5))).toBeUndefined()
  })

  it('and stays in its band is as it was expected', () => {
    expect(reason(after(23, 0.01, 20))).toBeUndefined()
  })
})

describe('the time that a rule of the plan gives', () => {
  it('is given to an output that is off and carries volts', () => {
    const rig = partOf(new Rig(smallPlan(lasts('read-back', 1))).start(), 3, 'hold')
    rig.foreign['ht.1'] = { V: 90, A: 0 }
    expect(reason(ran(rig, 0.7))).toBeUndefined()
    expect(reason(ran(rig, 0.7))).toMatchObject({ code: 'read-back', rail: 'HT' })
  })

  it('is given to a supply that says it limits', () => {
    const rig = standing(lasts('current-limit', 1))
    rig.feed({ kind: 'regulation', channel: 'ht.1', mode: 'current' })
    expect(reason(ran(rig, 0.7))).toBeUndefined()
    expect(reason(ran(rig, 0.7))).toMatchObject({ code: 'current-limit', rail: 'HT' })
  })
})

describe('a rail that does not follow on its way up', () => {
  const slew = (volts_per_s: number) =>
    steps((step) =>
      step.rail === 'HT' && step.do === 'raise' ? { ...step, slew_V_per_s: volts_per_s } : step,
    )
  /** HT held at these volts, however far its set-point goes. */
  const heldAt = (rig: Rig, volts: number, seconds: number): Rig => {
    const until_us = rig.t_us + seconds * 1e6
    while (rig.t_us < until_us && rig.state.phase === 'running') {
      rig.sag_V['HT'] = volts - (rig.set['ht.1'] ?? 0)
      rig.tick()
    }
    return rig
  }
  const held = (seconds: number, rig = partOf(new Rig(smallPlan(slew(5))).start(), 6, 'ramp')): Rig =>
    heldAt(rig, 100, seconds)

  it('is given five seconds to be seen and five to last, then trips with both rates', () => {
    const rig = held(8.5)
    expect(reason(rig)).toBeUndefined()
    expect(reason(held(2.5, rig))).toMatchObject({ code: 'slow-rise', rail: 'HT', unit: 'V/s' })
    expect(reason(rig)?.text).toMatch(
      /^HT rises at -?[\d.]+ V\/s instead of 5\.00 V\/s: something holds it down/,
    )
  })

  it('and draws too much is told by what it draws', () => {
    const since = (rig: Rig): number =>
      rig.t_us - (rig.state.rails['HT']?.breaking['slow-rise']?.since_us ?? rig.t_us)
    const rig = held(4.5)
    while (since(rig) < 4.8e6 && rig.state.phase === 'running') held(0.05, rig)
    rig.extra_A['HT'] = 0.033
    expect(reason(held(1, rig))).toMatchObject({ code: 'over-trip', rail: 'HT' })
  })

  it('is not slow by what its supply’s own errors explain', () => {
    const rig = partOf(
      new Rig(smallPlan((plan) => lasts('slow-rise', 0.3)(slew(0.07)(plan)))).start(),
      5,
      'ramp',
    )
    rig.zero = { V: 0, A: 0 }
    expect(reason(heldAt(rig, 0, 6.5))).toBeUndefined()
    expect(reason(heldAt(rig, 0, 4))).toMatchObject({ code: 'slow-rise', rail: 'HT' })
  })
})

describe('during a run-down', () => {
  it('a knob that is turned up in a step without limits for it does not stop anything from being judged', () => {
    const rig = partOf(
      new Rig(
        smallPlan((plan) => {
          const { HT } = plan.rails
          const like = plan.meters['grid meter']
          if (HT === undefined || like === undefined) throw new Error('no small plan')
          const watched = { ...HT, class: 'watched' as const, channels: [], volts_meter: 'HT V' }
          return {
            ...plan,
            rails: { ...plan.rails, HT: watched },
            meters: { ...plan.meters, 'HT V': { ...like, name: 'HT V', at: null } },
            steps: plan.steps.filter(({ hookup }) => hookup?.rail !== 'HT'),
          }
        }),
      ).start(),
      2,
      'hold',
    )
    rig.ignoresOff.add('lt.1')
    rig.feed({ kind: 'stop', how: 'run down', by: 'a test' })
    rig.meters['HT V'] = 100
    rig.tick()
    expect(rig.state.rails['HT']).toMatchObject({ energised: true })
    rig.extra_A['LT'] = 5
    rig.tick()
    expect(rig.state.off).toMatchObject({ how: 'urgent' })
  })
})
