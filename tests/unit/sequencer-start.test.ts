import { describe, expect, it } from 'vitest'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

const told = (rig: Rig, channel: string) =>
  rig.commands.flatMap((command) => (command.kind === 'line' && command.channel === channel ? [command] : []))
const ran = (rig: Rig, seconds: number): Rig => {
  const until_us = rig.t_us + seconds * 1e6
  while (rig.t_us < until_us && rig.state.phase === 'running') rig.tick()
  return rig
}

describe('before the first output is switched on', () => {
  it('nothing starts while an output that reads back as off stands at 300 V and delivers 57 mA', () => {
    const rig = new Rig(smallPlan())
    rig.foreign['ht.1'] = { V: 300, A: 0.057 }
    ran(rig.start(), 30)
    expect(rig.state.step).toBe(0)
    expect(rig.state.off?.reason).toMatchObject({ code: 'read-back' })
    expect(rig.state.off?.reason?.text).toMatch(/^HT \(ht\.1\) stands at 300 V and carries 57 mA/)
    expect(rig.state.ever_energised).toBe(false)
    const ending = rig.toTheEnd()
    expect(ending.outputs_off).toBe('not confirmed')
    expect(ending.outcome).toBe('failed')
  })

  it('nothing starts while an output that is off and at zero volts carries a current', () => {
    const rig = new Rig(smallPlan())
    rig.foreign['bias.1'] = { V: 0, A: 0.004 }
    ran(rig.start(), 30)
    expect(rig.state.off?.reason?.text).toMatch(/^BIAS \(bias\.1\) stands at .* and carries 4 mA/)
    expect(told(rig, 'bias.1').every((command) => command.do === 'off')).toBe(true)
  })

  it('a second line that is lost is told beside the first, and nothing is said to be going off', () => {
    const rig = new Rig(smallPlan()).start()
    for (const port of ['ht', 'bias']) rig.feed({ kind: 'line lost', port, text: `${port} is not there` })
    const { reason, warnings } = rig.toTheEnd()
    expect(reason?.text).toBe('Ht is not there')
    expect(warnings.join()).toContain('Also: Bias is not there')
    expect(warnings.join()).not.toContain('While going off')
  })

  it('a charge left in the set is waited for, said in the record, and the run goes on when it has gone', () => {
    const rig = new Rig(smallPlan())
    rig.volts['ht.1'] = 280
    rig.start()
    rig.tick()
    expect(rig.state.step).toBe(0)
    const ending = rig.toTheEnd()
    expect(ending.outcome).toBe('completed')
    expect(ending.warnings).toEqual([
      'HT (ht.1) is off and its terminals stood above 5 V when the run began: waiting for that charge to go. Measure before touching.',
    ])
    const firstOn = rig.commands.find((command) => command.kind === 'line' && command.do === 'on')
    expect(firstOn?.t_us).toBeGreaterThan(5e6)
  })

  it('a charge that stops falling is refused in words, with nothing switched on', () => {
    const rig = new Rig(smallPlan())
    rig.volts['ht.1'] = 280
    rig.foreign['ht.1'] = { V: 40, A: 0 }
    ran(rig.start(), 60)
    expect(rig.state.off?.reason?.text).toMatch(
      /^HT \(ht\.1\) stands at 40 V, though every output reads as off: .* a charge that has no path to go\. Nothing was switched on\. .*measure before touching\./,
    )
    expect(rig.state.ever_energised).toBe(false)
  })

  it('three samples after the cautions count, not those from before', () => {
    const rig = new Rig(smallPlan())
    for (const c of Object.keys(rig.on)) rig.feed({ kind: 'output', channel: c, on: false })
    for (let i = 0; i < 20; i++) rig.tick()
    rig.feed({ kind: 'begin', word: 'kettle', channel: 'rehearsal', hooked_up_as_in: null })
    rig.tick()
    rig.tick()
    expect(rig.state.part).toBe('gate')
    rig.tick()
    expect(rig.state.part).not.toBe('gate')
  })

  it('a watched rail that is up already does not pass for outputs that were proved', () => {
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        rails: {
          ...plan.rails,
          AUX: {
            ...plan.rails['HT']!,
            name: 'AUX',
            role: 'other',
            class: 'watched',
            channels: [],
            volts_meter: 'aux',
          },
        },
        meters: { ...plan.meters, aux: { ...plan.meters['grid meter']!, name: 'aux', at: 'aux' } },
      })),
    )
    rig.meters['aux'] = 4
    rig.foreign['ht.1'] = { V: 300, A: 0 }
    rig.start()
    rig.meters['aux'] = 6
    ran(rig, 30)
    expect(told(rig, 'lt.1').some((command) => command.do === 'on')).toBe(false)
  })
})

describe('a set-point left over from another run', () => {
  it('is taken to its least before limits are set on an output that is off, so that nothing conflicts', () => {
    const rig = new Rig(smallPlan())
    rig.set['lt.1'] = 12.6
    rig.set['ht.1'] = 280
    expect(rig.start().toTheEnd().outcome).toBe('completed')
    for (const channel of ['lt.1', 'ht.1']) {
      const [first, second] = told(rig, channel)
      expect(first).toMatchObject({ do: 'set', volts: 0 })
      expect(second).toMatchObject({ do: 'limits' })
    }
  })
})

describe('in the hook-up check', () => {
  const atPolarity = (change: Parameters<typeof smallPlan>[0] = (plan) => plan, name = 'HT'): Rig => {
    const rig = new Rig(smallPlan(change)).start()
    const at = rig.plan.steps.findIndex((step) => step.hookup?.rail === name)
    rig.until('the test', () => rig.state.step === at && rig.state.part === 'hook-up on')
    rig.answers = false
    return rig
  }
  const highThere = (rig: Rig): void => {
    rig.sag_V['HT'] = 247
    rig.ohm['HT'] = 1e9
  }

  it('250 V at a terminal that is set to 3 V trips at once, and nobody is sent there with a meter', () => {
    const rig = atPolarity()
    highThere(rig)
    const asked = rig.commands.length
    for (let i = 0; i < 3 && rig.state.phase === 'running'; i++) rig.tick()
    expect(rig.state.off?.reason).toMatchObject({ code: 'hook-up', rail: 'HT', unit: 'V' })
    expect(rig.state.off?.reason?.text).toContain('250 V in its hook-up check, which sets 3 V')
    expect(rig.commands.slice(asked).some((command) => command.kind === 'prompt')).toBe(false)
  })

  it('it does so in a plan without bias too', () => {
    const rig = atPolarity((plan) => ({
      ...plan,
      rails: { LT: plan.rails['LT']!, HT: plan.rails['HT']! },
      steps: plan.steps
        .filter((step) => step.rail !== 'BIAS')
        .map((step) => ({ ...step, needs_bias: false })),
    }))
    highThere(rig)
    for (let i = 0; i < 3 && rig.state.phase === 'running'; i++) rig.tick()
    expect(rig.state.off?.reason?.code).toBe('hook-up')
  })

  it('a current above what its limit lets through trips at once', () => {
    const rig = atPolarity()
    rig.extra_A['HT'] = 0.02
    for (let i = 0; i < 3 && rig.state.phase === 'running'; i++) rig.tick()
    expect(rig.state.off?.reason).toMatchObject({ code: 'hook-up', rail: 'HT', unit: 'A' })
  })

  it('volts that come while somebody reads the polarity trip as well', () => {
    const rig = atPolarity()
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'polarity')
    highThere(rig)
    rig.tick()
    expect(rig.state.off?.reason?.code).toBe('hook-up')
  })

  it('the question for the polarity says what the supply measures there', () => {
    const rig = atPolarity()
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'polarity')
    expect(rig.state.prompt?.text).toMatch(/^HT measures 3 V at its supply, set to 3 V\. Read the volts/)
  })
})
