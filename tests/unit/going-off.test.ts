import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/** The run's side of going off: what it feeds to the engine, what it asks, what its ending says. */

const release = (plan: Plan, over: Partial<Plan['off']['bias_release']>): Plan['off'] => ({
  ...plan.off,
  bias_release: { ...plan.off.bias_release, ...over },
})
const ht = (plan: Plan, over: Partial<RailPlan>): Plan['rails'] => ({
  ...plan.rails,
  HT: { ...plan.rails['HT']!, ...over },
})
const alarms = (rig: Rig): string[] =>
  rig.commands.flatMap((command) => (command.kind === 'alarm' ? [command.text] : []))

/** HT discharging from 250 V with its own time constant once it is off; the rig's fall is too quick for some rules. */
function slowly(rig: Rig, tau_s: number, seconds: number, until: () => boolean): void {
  let own_V = 250
  const end_us = rig.t_us + seconds * 1e6
  while (!until() && rig.ending === null && rig.t_us < end_us) {
    if (rig.on['ht.1'] === true) rig.set['ht.1'] = 250
    else {
      own_V *= 1 - 0.05 / tau_s
      rig.volts['ht.1'] = (own_V + 0.02) / 0.97
    }
    rig.tick()
  }
}

describe('the bias', () => {
  it('goes by rule (a) at the figure of the bench file, not at 60 V', () => {
    const rig = new Rig(
      smallPlan((plan) => ({ ...plan, off: release(plan, { below_V: 20, discharge_s: null }) })),
    )
    rig.start().toFullHT()
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    rig.until('bias released', () => rig.state.off?.bias_released_by !== null, 400)
    expect(rig.state.off?.bias_released_by).toContain('(a) plates and screens below 20 V')
    expect(rig.state.rails['HT']?.V?.value).toBeLessThan(20)
  })

  it('by rule (b) counts from the moment HT was read back as off, not from the OFF that was ignored', () => {
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        rails: ht(plan, { discharge: { ohm: 100_000, F: 100e-6, through: 'bleeder' } }),
        off: release(plan, { only_wire_between: false, discharge_s: 25 }),
      })),
    )
    rig.start().toFullHT()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    slowly(rig, 10, 20, () => false)
    rig.ignoresOff.delete('ht.1')
    slowly(rig, 10, 100, () => rig.state.off?.bias_released_by !== null)
    expect(rig.state.off?.bias_released_by).toMatch(/^\(b\)/)
    expect(rig.state.rails['HT']?.V?.value).toBeLessThan(60)
  })

  const handHeaters = (): Rig => {
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        rails: {
          ...ht(plan, { discharge: { ohm: 100_000, F: 1e-3, through: 'bleeder' } }),
          LT: { ...plan.rails['LT']!, class: 'hand', channels: [] },
        },
        steps: plan.steps
          .filter((step) => step.hookup?.rail !== 'LT')
          .map((step) => (step.rail === 'LT' ? { ...step, soft_start_s: 0 } : step)),
        off: release(plan, { only_wire_between: false, discharge_s: null }),
      })),
    ).start()
    rig.until('full HT', () => rig.state.step === 6 && rig.state.part === 'hold')
    rig.answers = false
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    return rig
  }

  it('stays by rule (c) while nobody has said that the heaters on a knob are off, and says so', () => {
    const rig = handHeaters()
    slowly(rig, 100, 900, () => rig.state.off?.bias_released_by !== null)
    expect(rig.state.off?.bias_released_by).toBeNull()
    expect(rig.ending?.outputs_off).toBe('not confirmed')
    expect(rig.ending?.off['BIAS']?.how).toContain('bias stays')
    expect(rig.on['bias.1']).toBe(true)
    expect(alarms(rig).some((text) => text.startsWith('BIAS stays on'))).toBe(true)
  })

  it('goes by rule (c) once they have been typed as off for as long as cathodes need', () => {
    const rig = handHeaters()
    const asked = (): boolean => rig.state.prompt?.purpose.kind === 'hand off'
    slowly(rig, 100, 200, asked)
    expect(asked()).toBe(true)
    const typed_us = rig.t_us
    rig.feed({ kind: 'answer', prompt: rig.state.prompt!.id, value: 0, by: 'terminal' })
    slowly(rig, 100, 900, () => rig.state.off?.bias_released_by !== null)
    expect(rig.state.off?.bias_released_by).toMatch(/^\(c\)/)
    expect((rig.t_us - typed_us) / 1e6).toBeGreaterThan(299)
  })
})

describe('what a run calls out and says at its end', () => {
  it('HT has its own alarm where one was already given for a heater', () => {
    const rig = new Rig(smallPlan()).start().toFullHT()
    rig.ignoresOff.add('lt.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    rig.until('the alarm', () => alarms(rig).some((text) => text.includes('LT does not confirm')))
    rig.ignoresOff.add('ht.1')
    rig.on['ht.1'] = true
    rig.feed({ kind: 'output', channel: 'ht.1', on: true })
    while (rig.ending === null) {
      rig.set['ht.1'] = 250
      rig.tick()
    }
    expect(alarms(rig).filter((text) => text.includes('HT does not fall'))).toHaveLength(1)
  })

  it('the ending tells what was last read back of a rail that did not confirm', () => {
    const rig = new Rig(smallPlan()).start().toFullHT()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    while (rig.ending === null) {
      rig.set['ht.1'] = 250
      rig.on['ht.1'] = true
      rig.tick()
    }
    expect(rig.ending.off['HT']).toMatchObject({ confirmed: false, volts: 250 })
    expect(rig.ending.off['HT']?.how).toContain('last read back: output on, 250 V')
  })

  it('a knob that somebody was asked to turn up is asked about, also before they have typed what it reads', () => {
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        rails: ht(plan, { class: 'hand', channels: [] }),
        steps: plan.steps.filter((step) => step.hookup?.rail !== 'HT'),
      })),
    ).start()
    rig.until('the HT step', () => rig.state.step === 4 && rig.state.part === 'intent')
    rig.answers = false
    rig.until('the knob', () => rig.state.prompt?.purpose.kind === 'knob')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    expect(alarms(rig)).toContain('Turn HT down to zero by its knob now, one hand.')
    expect(Object.keys(rig.toTheEnd().hand_rails)).toContain('HT')
  })
})

describe('an output found on before the run switched anything', () => {
  const found = (): Rig => {
    const rig = new Rig(smallPlan())
    for (const [channel, volts] of Object.entries({ 'lt.1': 12, 'bias.1': 40, 'ht.1': 250 })) {
      rig.on[channel] = true
      rig.set[channel] = volts
      rig.volts[channel] = volts
    }
    rig.feed({ kind: 'output', channel: 'ht.1', on: true })
    rig.feed({ kind: 'output', channel: 'lt.1', on: true })
    rig.feed({ kind: 'output', channel: 'bias.1', on: true })
    return rig
  }

  it('goes off with everything else in order: HT first, bias only when HT is low', () => {
    const rig = found()
    expect(rig.commands[0]).toMatchObject({ kind: 'urgent off', channels: ['ht.1'] })
    rig.until('bias off', () => rig.on['bias.1'] === false)
    expect(rig.volts['ht.1']).toBeLessThan(60)
    const ending = rig.toTheEnd()
    expect(ending.outcome).toBe('failed')
    expect(ending.outputs_off).toBe('confirmed')
    expect(ending.reason?.text).toContain('found on before this run switched anything')
  })

  it('that ignores OFF is not called off, and the cautions acknowledged meanwhile start nothing', () => {
    const rig = found()
    rig.ignoresOff.add('ht.1')
    rig.on['ht.1'] = true
    rig.feed({ kind: 'begin', word: 'kettle', channel: 'terminal', hooked_up_as_in: null })
    while (rig.ending === null) {
      rig.set['ht.1'] = 250
      rig.tick()
    }
    expect(rig.ending.outputs_off).toBe('not confirmed')
    expect(rig.on['bias.1']).toBe(true)
    expect(rig.commands.some((command) => command.kind === 'line' && command.do === 'on')).toBe(false)
  })
})
