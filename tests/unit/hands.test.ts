import { describe, expect, it } from 'vitest'
import { exits } from '../../src/cli/exits.js'
import { exitOf } from '../../src/cli/live/exit-of.js'
import { runEnding } from '../../src/story/index.js'
import type { Plan } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { byHand, limitsAt, smallPlan, typedBias } from '../helpers/small-plan.js'

/** Rails on a person's own knob, and readings that a person types: what is asked, what is believed, what stays on. */

const stop = (rig: Rig): void => void rig.feed({ kind: 'stop', how: 'run down', by: 'a test' })
const exit = (rig: Rig) => exitOf(runEnding(rig.ending!, {}, 0))
/** Five periods a second: these runs are long. */
const slowly = (plan: Plan): Rig => {
  const rig = new Rig(plan)
  rig.period_us = 200_000
  return rig
}
const wait = (rig: Rig, seconds: number): void => {
  for (let i = 0; i < seconds * 5; i++) rig.tick()
}
const alarms = (rig: Rig): string =>
  rig.commands.flatMap((command) => (command.kind === 'alarm' ? [command.text] : [])).join('\n')
/** The last step stands for this long. */
const holding =
  (hold_s: number) =>
  (plan: Plan): Plan => ({
    ...plan,
    time_budget_s: 20_000,
    steps: plan.steps.map((step) => (step.do === 'hold' ? { ...step, hold_s } : step)),
  })

describe('HT on a hand rail', () => {
  const full = (): Rig =>
    slowly(smallPlan(byHand('HT')))
      .start()
      .toFullHT()

  it('completes, and is listed with the volts that were typed at the end', () => {
    const rig = full()
    const ending = rig.toTheEnd()
    expect(ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed', hand_rails: { HT: 0 } })
    expect(ending.warnings.join()).toMatch(/current of HT was never read/)
    expect(exit(rig)).toBe(exits.finding)
    expect(Object.keys(ending.off)).toEqual(['LT', 'BIAS'])
  })

  it('keeps the bias until the person says that it is down', () => {
    const rig = full()
    rig.unanswered = /hand off/
    stop(rig)
    wait(rig, 300)
    expect(rig.on).toEqual({ 'lt.1': false, 'bias.1': true })
    rig.answer(0.2)
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'confirmed', hand_rails: { HT: 0.2 } })
    expect(rig.on['bias.1']).toBe(false)
  })

  it('keeps the bias for good, says so and exits 4, when nobody ever says that it is down', () => {
    const rig = full()
    rig.unanswered = /hand off/
    const ending = rig.toTheEnd()
    expect(rig.on['bias.1']).toBe(true)
    expect(ending.hand_rails).toEqual({ HT: 'not confirmed by you' })
    expect(ending.off['BIAS']?.confirmed).toBe(false)
    expect(ending.off['BIAS']?.how).toMatch(
      /^not told OFF: bias stays .* last read back: output on, 40\.\d V/,
    )
    expect(alarms(rig)).toContain('BIAS stays on: take HT down first, the bias last')
    expect(exit(rig)).toBe(exits.notConfirmedOff)
  })

  it('counts as up from the moment the knob is asked for, before anything is typed', () => {
    const rig = slowly(smallPlan(byHand('HT')))
    rig.unanswered = /knob HT|hand off/
    rig.start().until('the knob', () => rig.state.prompt?.purpose.kind === 'knob')
    stop(rig)
    wait(rig, 120)
    expect(rig.asked().at(-1)).toBe('hand off HT')
    expect(rig.on['bias.1']).toBe(true)
    expect(Object.keys(rig.toTheEnd().hand_rails)).toEqual(['HT'])
  })

  it('is called out by an alarm when everything is put off while its first knob question stands open', () => {
    const rig = slowly(smallPlan(byHand('HT')))
    rig.unanswered = /knob HT/
    rig.start().until('the knob', () => rig.state.prompt?.purpose.kind === 'knob')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    expect(alarms(rig)).toContain('Turn HT down to zero by its knob now')
    expect(rig.toTheEnd().hand_rails).toEqual({ HT: 0 })
  })

  it('counts as having been up by a renewed reading too', () => {
    const low = (plan: Plan): Plan => ({
      ...holding(1000)(plan),
      steps: holding(1000)(plan).steps.flatMap((step) =>
        step.target_V === 250
          ? []
          : [
              {
                ...step,
                ...(step.target_V === 100 ? { target_V: 59, hands_clear: false } : {}),
                limits: step.limits['HT'] ? { ...step.limits, HT: limitsAt(59, 0.01) } : step.limits,
              },
            ],
      ),
    })
    const rig = slowly(smallPlan((plan) => low(byHand('HT')(plan))))
    rig.types = { 'knob HT': 58, 'renew HT': 62 }
    rig.start().until('the renewed reading', () => rig.state.rails['HT']?.V?.value === 62)
    expect(rig.state.ht_was_up).toBe(true)
    rig.unanswered = /hand off/
    stop(rig)
    wait(rig, 60)
    expect(rig.on['bias.1']).toBe(true)
  })

  it('asks at voltage only for the knob and for a meter that is there already', () => {
    const rig = full()
    const knob = rig.commands.flatMap((command) =>
      command.kind === 'prompt' && command.ask.about === 'knob HT' ? [command.ask.text] : [],
    )
    expect(knob).toHaveLength(2)
    for (const text of knob) {
      expect(text).toContain('one hand')
      expect(text).toContain('no probe or clip goes on now')
    }
  })

  it('does not ask for the knob when the bias went while hands were being cleared', () => {
    const rig = slowly(smallPlan(byHand('HT')))
    rig.unanswered = /hands clear/
    rig.start().until('hands clear', () => rig.state.prompt?.purpose.kind === 'hands clear')
    rig.grid = -0.2
    rig.answer('yes')
    expect(rig.toTheEnd().reason?.code).toBe('bias-low')
    expect(rig.asked()).not.toContain('knob HT')
  })

  it('stops when the knob stands elsewhere twice, never, or late', () => {
    const wrong = slowly(smallPlan(byHand('HT')))
    wrong.types = { 'knob HT': 140 }
    expect(wrong.start().toTheEnd()).toMatchObject({
      outcome: 'tripped',
      reason: { code: 'watched-input', rail: 'HT', measured: 140 },
      hand_rails: { HT: 0 },
    })
    const late = slowly(smallPlan(byHand('HT')))
    late.unanswered = /knob HT/
    late.start().until('the knob', () => late.state.prompt?.purpose.kind === 'knob')
    const { id } = late.state.prompt!
    wait(late, 601)
    late.feed({ kind: 'answer', prompt: id, value: 100, by: 'rehearsal' })
    expect(late.toTheEnd()).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
    expect(late.asked()).toContain('hand off HT')
  })
})

describe('a heater rail by hand', () => {
  it('does not count as off at most of its volts: the question asks for a tenth of them at most', () => {
    const rig = slowly(smallPlan((plan) => typedBias(byHand('LT', 'BIAS', 'HT')(plan))))
    rig.start().toTheEnd()
    const asked = (about: string) =>
      rig.commands.flatMap((each) =>
        each.kind === 'prompt' && each.ask.about === about ? [each.ask.wants] : [],
      )[0]
    const full_V = rig.plan.heaters[0]?.volts ?? 0
    expect(asked('hand off LT')).toMatchObject({ high: Math.min(5, 0.1 * full_V) })
    expect(asked('hand off HT')).toMatchObject({ low: -5, high: 5 })
  })
})

describe('a run whose terminal is gone', () => {
  it('asks for the knob ten minutes at most, and a second SIGTERM ends that at once, not confirmed', () => {
    const rig = slowly(smallPlan((plan) => typedBias(byHand('LT', 'BIAS', 'HT')(plan))))
    rig.unanswered = /hand off/
    rig.start()
    rig.until('HT up', () => (rig.state.rails['HT']?.V?.value ?? 0) > 60)
    rig.feed({ kind: 'stop', how: 'run down', by: 'closed terminal' })
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'hand off')
    const asked_us = rig.t_us
    rig.feed({ kind: 'stop', how: 'off now', by: 'SIGTERM' })
    expect(rig.state.prompt?.purpose.kind).toBe('hand off')
    rig.feed({ kind: 'stop', how: 'off now', by: 'SIGTERM' })
    const ending = rig.toTheEnd()
    const open = 'not confirmed by you'
    expect(ending).toMatchObject({ outcome: 'stopped', hand_rails: { HT: open, LT: open, BIAS: open } })
    expect(rig.t_us - asked_us).toBeLessThan(600e6)
    expect(alarms(rig)).toContain('HT, LT, BIAS not confirmed off by you, and no longer asked for (SIGTERM)')
    expect(exit(rig)).toBe(exits.finding)
  })
})

describe('several hand rails', () => {
  const all = (): Rig => slowly(smallPlan((plan) => typedBias(byHand('LT', 'BIAS', 'HT')(plan))))

  it('are asked off in the order of going off, whatever their order in the file', () => {
    const rig = all()
    const ending = rig.start().toTheEnd()
    expect(Object.keys(rig.plan.rails)).toEqual(['LT', 'BIAS', 'HT'])
    expect(rig.asked().filter((about) => about.startsWith('hand off'))).toEqual([
      'hand off HT',
      'hand off LT',
      'hand off BIAS',
    ])
    expect(ending).toMatchObject({ outcome: 'completed', hand_rails: { HT: 0, LT: 0, BIAS: 0 }, off: {} })
    expect(exit(rig)).toBe(exits.finding)
  })

  it('end all the same when nobody answers: bias is not asked for, all are named, exit 1 and not 4', () => {
    const rig = all()
    rig.unanswered = /hand off/
    const ending = rig.start().toTheEnd()
    const unconfirmed = 'not confirmed by you'
    expect(ending.hand_rails).toEqual({ HT: unconfirmed, LT: unconfirmed, BIAS: unconfirmed })
    expect(rig.asked()).not.toContain('hand off BIAS')
    expect(alarms(rig)).toContain('BIAS stays on')
    expect(exit(rig)).toBe(exits.finding)
  })

  it('let a hand bias go no sooner where a battery valve’s heaters stand below what else counts as off', () => {
    const battery = (plan: Plan): Plan => ({
      ...plan,
      heaters: plan.heaters.map((watch) => ({ ...watch, volts: 4 })),
      off: {
        ...plan.off,
        bias_release: { ...plan.off.bias_release, discharge_s: null, only_wire_between: false },
      },
      steps: plan.steps.map((step) => ({
        ...step,
        ...(step.rail === 'LT' && step.do === 'raise' && { target_V: 4 }),
        ...(step.limits['LT'] !== undefined && { limits: { ...step.limits, LT: limitsAt(4, 4) } }),
      })),
    })
    const rig = slowly(smallPlan((plan) => battery(typedBias(byHand('LT', 'BIAS', 'HT')(plan)))))
    rig.unanswered = /hand off LT/
    rig.start().until('the heaters’ question', () => rig.asked().includes('hand off LT'))
    expect(rig.state.rails['LT']?.energised).toBe(true)
    wait(rig, 500)
    expect(rig.state.off?.bias_released_by).toBeNull()
    rig.answer(0.1)
    expect(rig.toTheEnd().bias_released_by).toMatch(/^\(c\)/)
  })

  it('let a hand bias go only when hand heaters were said to be off, where only cold cathodes tell', () => {
    const rig = slowly(
      smallPlan((plan) => {
        const hands = typedBias(byHand('LT', 'BIAS', 'HT')(plan))
        const bias_release = { ...hands.off.bias_release, discharge_s: null, only_wire_between: false }
        return { ...hands, off: { ...hands.off, bias_release } }
      }),
    )
    rig.unanswered = /hand off LT/
    rig.start().until('the heaters’ question', () => rig.asked().includes('hand off LT'))
    wait(rig, 500)
    expect(rig.state.off?.bias_released_by).toBeNull()
    rig.answer(0)
    wait(rig, 290)
    expect(rig.state.off?.bias_released_by).toBeNull()
    expect(rig.toTheEnd().bias_released_by).toMatch(/^\(c\)/)
    expect(rig.asked().at(-1)).toBe('hand off BIAS')
  })

  it('that heat: HT waits for a reading in band, the warm-up, and a second reading', () => {
    const twice = (plan: Plan): Plan => ({
      ...plan,
      steps: plan.steps.flatMap((step) =>
        step.rail === 'LT' && step.do === 'raise'
          ? [{ ...step, target_V: 6, limits: { LT: limitsAt(6, 3) } }, step]
          : [step],
      ),
    })
    const rig = slowly(smallPlan((plan) => twice(byHand('LT')(plan)))).start()
    const ending = rig.toTheEnd()
    expect(ending.outcome).toBe('completed')
    expect(rig.asked().filter((about) => about === 'knob LT')).toHaveLength(3)
    const first = rig.commands.findLast(
      (command) => command.kind === 'line' && command.channel === 'ht.1' && command.do === 'on',
    )
    const hot = rig.commands.filter((command) => command.kind === 'prompt' && command.ask.about === 'knob LT')
    expect((first?.t_us ?? 0) - (hot[1]?.t_us ?? 0)).toBeGreaterThan(30e6)
  })

  it('that heat are asked for again after a quarter of an hour in a slow ramp too, and unanswered the run stops', () => {
    const slow = (plan: Plan): Plan => ({
      ...byHand('LT')(holding(2)(plan)),
      steps: byHand('LT')(plan).steps.map((step) =>
        step.target_V === 250 ? { ...step, slew_V_per_s: 0.05 } : { ...step, soft_start_s: 0 },
      ),
    })
    const rig = slowly(smallPlan(slow)).start()
    rig.until('the ramp', () => rig.state.step === 6 && rig.state.part === 'ramp')
    rig.unanswered = /renew LT/
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'renew', 1000)
    const stands = rig.set['ht.1']
    wait(rig, 60)
    expect(rig.set['ht.1']).toBe(stands)
    expect(rig.toTheEnd()).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
  })

  it('that were never brought to their heater volts stop HT at once, and say so', () => {
    const rig = slowly(
      smallPlan((plan) => ({
        ...byHand('LT')(plan),
        steps: byHand('LT')(plan).steps.map((step) =>
          step.rail === 'LT' && step.do === 'raise' ? { ...step, target_V: 6 } : step,
        ),
      })),
    )
    const { reason } = rig.start().toTheEnd()
    expect(reason).toMatchObject({ code: 'heater-lost', rail: 'LT', measured: 6 })
    expect(reason?.text).toContain('6 V was typed')
  })
})

describe('a bias that a person types', () => {
  const typed = (hold_s = 2000): Rig => slowly(smallPlan((plan) => typedBias(holding(hold_s)(plan)))).start()
  const bias = /bias under HT/

  it('is asked for again three minutes before it is too old, while HT holds, and the run goes on', () => {
    const rig = typed(1600)
    expect(rig.toTheEnd().outcome).toBe('completed')
    const asked = rig.commands.flatMap((command) =>
      command.kind === 'prompt' && command.ask.about.startsWith('bias') ? [command] : [],
    )
    expect(asked.map(({ ask }) => ask.about)).toEqual(['bias before HT', 'bias under HT', 'bias under HT'])
    const times = asked.map(({ t_us }) => t_us / 1e6)
    for (const [i, time] of times.slice(1).entries()) expect(time - (times[i] ?? 0)).toBeCloseTo(720, -1)
    // The meter was clipped on with HT off; under HT it is only looked at.
    expect(asked[0]?.ask.text).toContain('Leave it clipped on')
    expect(asked[1]?.ask.text).toContain('no hand, probe or clip goes inside')
  })

  it('nobody reaches for where the bias itself is above 60 V', () => {
    const rig = slowly(
      smallPlan((plan) => {
        const hands = typedBias(plan)
        const BIAS = hands.rails['BIAS']!
        return {
          ...hands,
          rails: { ...hands.rails, BIAS: { ...BIAS, bias: { ...BIAS.bias!, nominal_V: 90 } } },
        }
      }),
    ).start()
    rig.until('the question', () => rig.asked().includes('bias before HT'))
    const asked = rig.commands.find(
      (command) => command.kind === 'prompt' && command.ask.about === 'bias before HT',
    )
    expect(asked?.kind === 'prompt' && asked.ask.text).toContain('answer no: nobody reaches for grid')
  })

  it('unanswered, takes HT down in order and stops the run when it is fifteen minutes old', () => {
    const rig = typed()
    rig.unanswered = bias
    rig.until('going off', () => rig.state.phase !== 'running', 2000)
    const first = rig.state.typed['node:grid']!.t_us
    expect((rig.t_us - first) / 1e6).toBeCloseTo(900, -1)
    expect(rig.commands.some((command) => command.kind === 'urgent off')).toBe(false)
    expect(rig.toTheEnd()).toMatchObject({
      outcome: 'stopped',
      reason: { code: 'prompt-timeout' },
      outputs_off: 'confirmed',
    })
  })

  it('out of its band twice is too little bias: tripped, HT off at once', () => {
    const rig = typed()
    rig.types = { 'bias under HT': -12 }
    rig.until('the trip', () => rig.state.phase !== 'running', 2000)
    expect(rig.commands.some((command) => command.kind === 'urgent off')).toBe(true)
    expect(rig.toTheEnd()).toMatchObject({
      outcome: 'tripped',
      reason: { code: 'bias-low', rail: 'BIAS', measured: -12, limit: -30 },
    })
  })

  it('answered with no stops the run by running down', () => {
    const rig = typed()
    rig.unanswered = bias
    rig.until('the question', () => rig.asked().some((about) => bias.test(about)), 2000)
    rig.answer('no')
    expect(rig.toTheEnd()).toMatchObject({ outcome: 'stopped', reason: { code: 'operator' } })
  })

  it('falls due in mid-ramp: the rise stands still, hands are cleared again, and it goes on from there', () => {
    const rig = slowly(
      smallPlan((plan) => ({
        ...typedBias(holding(2)(plan)),
        steps: plan.steps.map((step) => (step.target_V === 250 ? { ...step, slew_V_per_s: 0.15 } : step)),
      })),
    )
    rig.unanswered = bias
    rig.start().until('the question', () => rig.asked().some((about) => bias.test(about)), 2000)
    const stands = rig.set['ht.1'] ?? 0
    expect(stands).toBeGreaterThan(120)
    wait(rig, 60)
    expect(rig.set['ht.1']).toBe(stands)
    const from = rig.commands.length
    rig.unanswered = null
    rig.answer(-40)
    expect(rig.toTheEnd().outcome).toBe('completed')
    const after = rig.commands.slice(from)
    const clear = after.findIndex((command) => command.kind === 'hands clear')
    const raise = after.findIndex((command) => command.kind === 'line' && command.do === 'set')
    expect(clear).toBeGreaterThanOrEqual(0)
    expect(raise).toBeGreaterThan(clear)
    const sets = after.flatMap((command) =>
      command.kind === 'line' && command.do === 'set' ? [command.volts] : [],
    )
    expect(sets[0]).toBeLessThan(stands + 1)
  })
})

describe('a watched rail', () => {
  const watched = (change: (plan: Plan) => Plan = (plan) => plan): Rig =>
    slowly(
      smallPlan((plan) =>
        change({
          ...plan,
          rails: {
            ...plan.rails,
            AUX: {
              ...plan.rails['HT']!,
              name: 'AUX',
              role: 'other',
              class: 'watched',
              channels: [],
              volts_meter: 'aux meter',
              discharge: null,
            },
          },
          meters: {
            ...plan.meters,
            'aux meter': { ...plan.meters['grid meter']!, name: 'aux meter', at: 'aux' },
          },
          steps: plan.steps.map((step) => ({ ...step, limits: { ...step.limits, AUX: limitsAt(50, 0.01) } })),
        }),
      ),
    ).start()
  const reads = (rig: Rig, volts: number, times = 1): void => {
    for (let i = 0; i < times; i++) {
      rig.feed({ kind: 'meter', meter: 'aux meter', value: { n: volts, k: 0 } })
      rig.tick()
    }
  }

  it('may stand 5 % high, as its question allows, and trips beyond', () => {
    const rig = watched()
    while (rig.state.phase === 'running' && rig.state.step < 4) reads(rig, 52)
    expect(rig.state.phase).toBe('running')
    reads(rig, 56, 10)
    expect(rig.state.off?.reason).toMatchObject({ code: 'over-ceiling', rail: 'AUX', measured: 56 })
    expect(rig.state.off?.reason?.text).toContain('turned too far')
  })

  it('with an ammeter that a person reads is not stale for want of its readings', () => {
    const rig = watched((plan) => ({
      ...plan,
      rails: { ...plan.rails, AUX: { ...plan.rails['AUX']!, amps_meter: 'my ammeter' } },
      meters: {
        ...plan.meters,
        'my ammeter': {
          ...plan.meters['grid meter']!,
          name: 'my ammeter',
          port: null,
          measures: 'A',
          at: null,
        },
      },
    }))
    reads(rig, 50, 40)
    expect(rig.state.phase).toBe('running')
  })

  it('turned up again after it was confirmed off is called out, and is confirmed no longer', () => {
    const rig = watched()
    reads(rig, 50, 20)
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    // HT of this plan is programmed and still up in its decay, so that the run has not ended yet.
    reads(rig, 0, 4)
    expect(rig.state.off?.confirmed['AUX']).toMatch(/measured 0/)
    reads(rig, 80)
    expect(rig.state.off?.confirmed['AUX']).toBeNull()
    expect(alarms(rig)).toContain('AUX reads 80 V again: turn it down')
  })
})
