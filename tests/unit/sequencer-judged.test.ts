import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

const ran = (rig: Rig, seconds: number): Rig => {
  const until_us = rig.t_us + seconds * 1e6
  while (rig.t_us < until_us && rig.state.phase === 'running') rig.tick()
  return rig
}
const reason = (rig: Rig) => rig.state.off?.reason

describe('on the way up', () => {
  it('volts far above the set-point trip, long before they reach the over-voltage level', () => {
    const slow = (plan: Plan): Plan => ({
      ...plan,
      steps: plan.steps.map((step) => (step.target_V === 250 ? { ...step, slew_V_per_s: 0.5 } : step)),
    })
    const rig = new Rig(smallPlan(slow)).start()
    rig.until(
      'the ramp',
      () => rig.state.step === 6 && rig.state.part === 'ramp' && (rig.set['ht.1'] ?? 0) > 105,
    )
    rig.sag_V['HT'] = 20
    ran(rig, 2)
    expect(reason(rig)).toMatchObject({ code: 'off-set-point', rail: 'HT' })
    expect(reason(rig)?.text).toContain('on its way up though it is set to 105 V so far')
  })

  it('volts that run just ahead of a read-back do not', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('the ramp', () => rig.state.step === 6 && rig.state.part === 'ramp')
    rig.sag_V['HT'] = 0.9
    ran(rig, 4)
    expect(rig.state.phase).toBe('running')
  })
})

describe('an output that is off', () => {
  const prepared = (): Rig => {
    const rig = new Rig(smallPlan()).start()
    return rig.until('heaters', () => rig.state.step === 3 && rig.state.part === 'hold')
  }

  it('and whose terminals carry volts all the same trips', () => {
    const rig = prepared()
    rig.foreign['ht.1'] = { V: 90, A: 0 }
    ran(rig, 2)
    expect(reason(rig)).toMatchObject({ code: 'read-back', rail: 'HT', unit: 'V' })
  })

  it('and which delivers current trips', () => {
    const rig = prepared()
    rig.foreign['ht.1'] = { V: 0, A: 0.01 }
    ran(rig, 2)
    expect(reason(rig)).toMatchObject({ code: 'read-back', rail: 'HT', unit: 'A' })
  })

  it('and which shows its zero error alone does not', () => {
    const rig = prepared()
    rig.zero = { V: 0.4, A: 0.0002 }
    ran(rig, 2)
    expect(rig.state.phase).toBe('running')
  })
})

describe('during a run-down', () => {
  const runningDown = (): Rig => {
    const rig = new Rig(smallPlan()).start().toFullHT()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'run down', by: 'a test' })
    rig.tick()
    return rig
  }
  const urgentWithin = (rig: Rig, ticks: number): boolean => {
    const from = rig.commands.length
    for (let i = 0; i < ticks; i++) rig.tick()
    return rig.commands.slice(from).some((command) => command.kind === 'urgent off')
  }

  it('a current above the ceiling makes it urgent at once', () => {
    const rig = runningDown()
    rig.extra_A['HT'] = 0.3
    expect(urgentWithin(rig, 2)).toBe(true)
    expect(rig.state.off).toMatchObject({ how: 'urgent', outcome: 'stopped' })
    expect(rig.state.warnings.some((text) => text.includes('above the ceiling'))).toBe(true)
  })

  it('volts above the over-voltage level make it urgent at once', () => {
    const rig = runningDown()
    rig.sag_V['HT'] = 60
    expect(urgentWithin(rig, 2)).toBe(true)
  })

  it('a protection that fires makes it urgent at once', () => {
    const rig = runningDown()
    const commands = rig.feed({ kind: 'protection', channel: 'ht.1', which: 'over-current' })
    expect(commands).toContainEqual({ kind: 'urgent off', channels: ['ht.1'] })
  })

  it('of a run that is complete the last step still judges', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('all steps done', () => {
      if (rig.state.step === 7) rig.ignoresOff.add('ht.1')
      return rig.state.phase === 'making off'
    })
    rig.extra_A['HT'] = 0.3
    expect(urgentWithin(rig, 2)).toBe(true)
    expect(rig.state.off).toMatchObject({ outcome: 'tripped', reason: { code: 'over-ceiling' } })
  })
})

describe('a watched rail', () => {
  const watched = (rail: RailPlan, amps: boolean): RailPlan => ({
    ...rail,
    class: 'watched',
    channels: [],
    volts_meter: `${rail.name} V`,
    amps_meter: amps ? `${rail.name} A` : null,
  })
  /** The small plan with rails watched by meters on lines; knobs turned when they are asked for. */
  const withWatched = (names: readonly string[], amps: boolean, change = (plan: Plan): Plan => plan): Rig => {
    const rig = new Rig(
      smallPlan((plan) => {
        const rails = { ...plan.rails }
        const meters = { ...plan.meters }
        const grid = plan.meters['grid meter']!
        for (const name of names) {
          rails[name] = watched(rails[name]!, amps)
          meters[`${name} V`] = { ...grid, name: `${name} V`, at: null }
          meters[`${name} A`] = { ...grid, name: `${name} A`, at: null, measures: 'A', resolution: 0.001 }
        }
        return change({
          ...plan,
          rails,
          meters,
          steps: plan.steps
            .filter((step) => !names.includes(step.hookup?.rail ?? ''))
            .map((step) => ({
              ...step,
              soft_start_s: names.includes(step.rail ?? '') ? 0 : step.soft_start_s,
            })),
        })
      }),
    )
    const show = (name: string, volts: number): void => {
      rig.meters[`${name} V`] = volts
      rig.meters[`${name} A`] = amps ? volts / (rig.ohm[name] ?? 1e9) : null
    }
    for (const name of names) show(name, 0)
    rig.start()
    const obey = rig.tick.bind(rig)
    rig.tick = (late_us, slept_us) => {
      const purpose = rig.state.prompt?.purpose
      const step = rig.plan.steps[rig.state.step]
      if (purpose?.kind === 'knob' && step) show(purpose.rail, step.target_V)
      obey(late_us, slept_us)
    }
    return rig.until(
      'the hold',
      () => rig.plan.steps[rig.state.step]?.do === 'hold' && rig.state.part === 'hold',
    )
  }
  const dead = (rig: Rig, name: string): Rig => {
    rig.meters[`${name} V`] = 0
    if (rig.meters[`${name} A`] !== null) rig.meters[`${name} A`] = 0
    return ran(rig, 2)
  }

  it('that heats and goes dead with HT up is a lost heater', () => {
    expect(reason(dead(withWatched(['LT'], true), 'LT'))).toMatchObject({ code: 'heater-lost', rail: 'LT' })
  })

  it('that heats is lost by its volts alone where it has a voltmeter only', () => {
    expect(reason(dead(withWatched(['LT'], false), 'LT'))).toMatchObject({ code: 'heater-lost', unit: 'V' })
    const low = withWatched(['LT'], false)
    low.meters['LT V'] = 9
    expect(reason(ran(low, 2))).toMatchObject({ code: 'heater-lost', measured: 9 })
  })

  it('that fell to nothing and whose meter then goes quiet too is stale', () => {
    const rig = withWatched(['LT'], false)
    rig.meters['LT V'] = null
    rig.feed({ kind: 'meter', meter: 'LT V', value: { n: 0, k: 0 } })
    expect(reason(ran(rig, 3))).toMatchObject({ code: 'stale', rail: 'LT' })
  })

  it('that makes the bias is too little bias by its volts', () => {
    const rig = withWatched(['BIAS'], false, (plan) => ({
      ...plan,
      rails: { ...plan.rails, BIAS: { ...plan.rails['BIAS']!, bias: null } },
    }))
    expect(reason(dead(rig, 'BIAS'))).toMatchObject({ code: 'bias-low', rail: 'BIAS' })
  })

  it('that feeds the plates and goes dead while a screen is on is a lost plate', () => {
    const rig = withWatched(['HT'], false, (plan) => {
      const HT = plan.rails['HT']!
      const SCREEN: RailPlan = {
        ...HT,
        name: 'SCREEN',
        role: 'screen',
        class: 'programmed',
        channels: [{ ...plan.rails['BIAS']!.channels[0]!, channel: 'screen.1', port: 'screen', max_V: 200 }],
        max_V: 200,
      }
      const [hold] = plan.steps.filter((step) => step.do === 'hold')
      const limits = { ...hold!.limits, SCREEN: limitsAt(100, 0.02) }
      const raise = {
        ...hold!,
        do: 'raise' as const,
        rail: 'SCREEN',
        target_V: 100,
        slew_V_per_s: 20,
        hold_s: 1,
      }
      return {
        ...plan,
        rails: { ...plan.rails, SCREEN },
        steps: [
          ...plan.steps.filter((step) => step.do !== 'hold'),
          { ...raise, stage: 'screen', index: 8, needs_plate: 'HT', limits },
          { ...hold!, index: 9, limits },
        ],
      }
    })
    expect(reason(dead(rig, 'HT'))).toMatchObject({ code: 'plate-lost', rail: 'HT', unit: 'V' })
  })

  it('that is gone, whatever it fed, is said as that; its knob being turned is not', () => {
    const rig = withWatched(['HT'], true)
    expect(rig.state.warnings).toEqual([])
    expect(reason(dead(rig, 'HT'))).toMatchObject({ code: 'watched-input', rail: 'HT', measured: 0 })
  })

  it('keeps heaters and bias judged when the HT that stood there reads nothing any more', () => {
    const rig = withWatched(['HT'], false)
    rig.meters['HT V'] = null
    rig.feed({ kind: 'meter', meter: 'HT V', value: { n: 0, k: 0 } })
    rig.grid = -0.2
    expect(reason(ran(rig, 0.9))).toMatchObject({ code: 'bias-low' })
  })
})
