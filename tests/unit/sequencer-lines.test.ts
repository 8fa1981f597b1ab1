import { describe, expect, it } from 'vitest'
import type { ChannelPlan, Plan } from '../../src/plan/index.js'
import { type Command, view } from '../../src/sequencer/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { known, partOf, quickly, ran, reason, standing, steps } from '../helpers/standing.js'

/* What lines and supplies say of themselves, and what is made of it: before a run, in it, and when it is over. */

const channels =
  (change: (part: ChannelPlan) => Partial<ChannelPlan>) =>
  (plan: Plan): Plan => ({
    ...plan,
    rails: Object.fromEntries(
      Object.entries(plan.rails).map(([name, rail]) => [
        name,
        { ...rail, channels: rail.channels.map((part) => ({ ...part, ...change(part) })) },
      ]),
    ),
  })

describe('a protection of the supply’s own', () => {
  const fired = (which: 'over-current' | 'over-voltage' | 'over-temperature') => {
    const rig = standing()
    rig.feed({ kind: 'protection', channel: 'ht.1', which })
    expect(reason(rig)).toMatchObject({ code: 'protection', rail: 'HT' })
    return { ...reason(rig), known: rig.state.channels['ht.1'] }
  }

  it('for too much current is told with the current and its limit', () => {
    const { measured, limit, unit, known } = fired('over-current')
    expect(measured).toBe(known?.A?.value)
    expect(measured).toBeCloseTo(0.05, 3)
    expect({ limit, unit }).toEqual({ limit: known?.limit_A, unit: 'A' })
  })

  it('for too many volts is told with the volts and their level', () => {
    const { measured, limit, unit, known } = fired('over-voltage')
    expect(measured).toBe(known?.V?.value)
    expect(measured).toBeCloseTo(250, 0)
    expect({ limit, unit }).toEqual({ limit: known?.over_V, unit: 'V' })
  })

  it('for heat is told without a figure: none was measured of it', () => {
    expect(fired('over-temperature')).toMatchObject({ measured: null, limit: null, unit: '' })
  })
})

it('a supply that will not be remote again after a hand was at its panel would refuse what is set next: off', () => {
  const rig = standing()
  const request = { do: 'panel', to: 'computer' } as const
  known(rig, { pending: { 900: { channel: 'ht.1', request, t_us: rig.t_us } } })
  rig.feed({ kind: 'failed', id: 900, code: 'refused', text: 'no', outcome: 'not done' })
  expect(reason(rig)).toMatchObject({ code: 'read-back', rail: 'HT' })
  expect(reason(rig)?.text).toContain('its word to be remote was sent and not confirmed')
})

describe('the time that a run has taken', () => {
  it('goes on counting from its begin when it is stopped', () => {
    const rig = standing()
    const before_s = view(rig.state).elapsed_s
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    expect(before_s).toBeGreaterThan(40)
    expect(view(rig.state).elapsed_s).toBe(before_s)
  })

  it('counts from the stop where that came first', () => {
    const rig = new Rig(smallPlan())
    rig.tick()
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    for (let i = 0; i < 4; i++) rig.tick()
    expect(view(rig.state).elapsed_s).toBeCloseTo(0.2, 6)
  })
})

describe('errors of the lines with the key down at reduced power', () => {
  const raising = (errors: Record<number, number>): Rig => {
    const rig = partOf(
      new Rig(
        smallPlan(steps((step) => (step.index === 6 ? { ...step, lines_quiet_since: 5 } : step))),
      ).start(),
      4,
      'hold',
    )
    known(rig, { line_errors: errors })
    rig.period_us = 200_000
    rig.until('the gate', () => rig.state.step === 5)
    return ran(rig, 60)
  }

  it('count from the step on in which it was down, up to the raise', () => {
    expect(reason(raising({ 5: 2 }))).toMatchObject({ code: 'bad-reply', measured: 2, limit: 1 })
    const rig = raising({ 4: 9, 5: 1, 6: 9 })
    expect(reason(rig)).not.toMatchObject({ code: 'bad-reply' })
    expect(rig.set['ht.1']).toBeGreaterThan(60)
  })
})

describe('a run that goes off', () => {
  it('is given up soon where nothing was ever switched on and a supply says nothing', () => {
    const rig = new Rig(smallPlan())
    rig.silent.add('HT')
    rig.ignoresOff.add('ht.1')
    rig.tick()
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    rig.period_us = 400_000
    expect(rig.toTheEnd(20)).toMatchObject({ outputs_off: 'not confirmed', ever_energised: false })
  })

  it('is tried for more than a minute where something was on and does not go', () => {
    const rig = standing()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    const from_us = rig.t_us
    rig.period_us = 800_000
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'not confirmed' })
    expect((rig.t_us - from_us) / 1e6).toBeGreaterThan(60)
  })

  it('does not take an output for off that reads as on again, and tells it OFF once more', () => {
    const rig = standing()
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    quickly(rig, 'HT off', () => rig.state.off?.outputs['ht.1'] === 'off')
    const from = rig.commands.length
    rig.feed({ kind: 'output', channel: 'ht.1', on: true })
    expect(rig.state.off?.outputs['ht.1']).toBe('on')
    rig.on['ht.1'] = true
    ran(rig, 3)
    for (let i = 0; i < 60; i++) rig.tick()
    expect(
      rig.commands
        .slice(from)
        .some(
          (command) =>
            (command.kind === 'line' && command.channel === 'ht.1' && command.do === 'off') ||
            (command.kind === 'urgent off' && command.channels.includes('ht.1')),
        ),
    ).toBe(true)
  })
})

/** Refuses this request of a channel with these words, in place of doing it. */
function refuses(
  rig: Rig,
  wanted: (command: Extract<Command, { kind: 'line' }>) => boolean,
  text: string,
): Rig {
  rig.overhears = (command) => {
    if (command.kind === 'line' && wanted(command))
      rig.feed({ kind: 'failed', id: command.id, code: 'refused', text, outcome: 'not done' })
  }
  return rig
}
const ended = (rig: Rig): string => {
  rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
  rig.period_us = 400_000
  const ending = rig.toTheEnd()
  expect(ending.outputs_off).toBe('confirmed')
  return ending.warnings.join('\n')
}

describe('a supply at the end, its outputs confirmed off', () => {
  it('whose panel cannot be given back is said, with what frees it', () => {
    const rig = standing(channels(({ channel }) => (channel === 'ht.1' ? { panel: true } : {})))
    const warned = ended(refuses(rig, (command) => command.do === 'panel', 'no such header'))
    expect(warned).toMatch(/The panel of ht\.1's supply could not be given back \(no such header\)/)
  })

  it('whose dead-man does not rest is said: its outputs are off, and nothing has to be cut', () => {
    const rig = standing(channels(({ channel }) => (channel === 'ht.1' ? { dead_man: true } : {})))
    const warned = ended(refuses(rig, (command) => command.do === 'disarm', 'no such header'))
    expect(warned).toMatch(/The dead-man of ht\.1's .* \(no such header\)\. Its outputs are off/)
    expect(warned).not.toContain('Cut the mains')
  })

  it('whose dead-man gives no answer is not waited for, and that is said', () => {
    const rig = standing(channels(({ channel }) => (channel === 'ht.1' ? { dead_man: true } : {})))
    rig.refusesDisarm = true
    expect(ended(rig)).toContain('could not be put to rest (no answer within 3 s). Its outputs are off')
    expect(rig.t_us - (rig.state.off?.rests?.since_us ?? 0)).toBeLessThan(4.5e6)
  })
})

describe('a supply of bias that stays on', () => {
  it('and whose dead-man does not rest would take it from under HT: the mains of HT are called for', () => {
    for (const others of [true, false]) {
      const rig = standing(channels(({ channel }) => (channel === 'bias.1' ? { dead_man: true } : {})))
      rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
      const { off, plan } = rig.state
      const { BIAS } = plan.rails
      if (off === null || BIAS === undefined) throw new Error('not going off')
      const result = {
        outputs_off: 'not confirmed' as const,
        rails: {},
        hand_rails: {},
        bias_released_by: null,
      }
      known(rig, {
        plan: others ? plan : { ...plan, rails: { BIAS } },
        off: { ...off, rests: { result, since_us: rig.t_us } },
        pending: { 900: { channel: 'bias.1', request: { do: 'disarm' }, t_us: rig.t_us } },
      })
      rig.feed({ kind: 'failed', id: 900, code: 'refused', text: 'no', outcome: 'not done' })
      expect(rig.state.warnings.at(-1)).toMatch(
        /bias\.1's supply .*takes the bias .* Cut the mains of the HT/,
      )
    }
  })
})

describe('a cut-off relay', () => {
  const behind = (plan: Plan): Plan => {
    const like = plan.meters['grid meter']
    if (like === undefined) throw new Error('no small plan')
    return {
      ...plan,
      cut_off: { meter: 'relay', channels: ['ht.1'] },
      meters: {
        ...plan.meters,
        relay: { ...like, name: 'relay', port: 'relay', measures: 'contact', at: null },
      },
    }
  }
  const begun = (): Rig => {
    const rig = new Rig(smallPlan(behind))
    rig.meters['relay'] = 1
    return rig.start()
  }

  it('that said closed before the run began is not closed for it', () => {
    const rig = begun()
    rig.meters['relay'] = null
    expect(reason(ran(rig, 16))).toMatchObject({ code: 'watched-input', rail: null })
    expect(reason(rig)?.text).toMatch(
      /did not say that it is closed within 15 s.* Nothing was switched on\.$/,
    )
  })

  it('that is heard closed lets the run go on, with what lies behind it set to nothing once', () => {
    const rig = begun()
    rig.meters['relay'] = 0
    // Its answer takes a while: what was asked is not asked again meanwhile.
    for (let i = 0; i < 3; i++) rig.feed({ kind: 'tick', late_us: 0, slept_us: 0 })
    ran(rig, 1)
    expect(
      rig.commands.filter((each) => each.kind === 'line' && each.channel === 'ht.1' && each.do === 'zero'),
    ).toHaveLength(1)
    expect(rig.state.outputs_proved).toBe(false)
    rig.meters['relay'] = 1
    ran(rig, 2)
    expect(rig.state.outputs_proved).toBe(true)
  })
})
