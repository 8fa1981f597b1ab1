import { describe, expect, it } from 'vitest'
import type { Plan, RailLimits, Step } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/** The supply's own limits bound what happens when all else has failed: they follow the step, on every rail that stands. */

const limitsTold = (rig: Rig, channel: string) =>
  rig.commands.flatMap((command, at) =>
    command.kind === 'line' && command.channel === channel && command.do === 'limits'
      ? [{ at, limit_A: command.limit_A, t_us: command.t_us }]
      : [],
  )
const changed = (which: (step: Step) => boolean, limits: Record<string, RailLimits>) => (plan: Plan) => ({
  ...plan,
  steps: plan.steps.map((step) => (which(step) ? { ...step, limits: { ...step.limits, ...limits } } : step)),
})
const wide = limitsAt(40, 0.01, { supply_limit_A: 0.05 })
const tight = limitsAt(12, 4, { supply_limit_A: 5 })

describe('the limits of a rail that stands', () => {
  it('are widened before another rail rises, after its intent, and read back', () => {
    const rig = new Rig(smallPlan(changed((step) => step.target_V === 250, { BIAS: wide })))
    expect(rig.start().toTheEnd().outcome).toBe('completed')
    const widened = limitsTold(rig, 'bias.1').find((each) => each.limit_A === 0.05)
    const firstRise = rig.commands.findIndex(
      (command) => command.kind === 'line' && command.do === 'set' && command.volts > 100,
    )
    const intent = rig.commands.findLastIndex(
      (command, at) => at < firstRise && command.kind === 'record' && command.entry.what === 'intent',
    )
    expect(widened?.at).toBeGreaterThan(intent)
    expect(widened?.at).toBeLessThan(firstRise)
  })

  it('are tightened when the rail that rises has arrived, not before', () => {
    const rig = new Rig(smallPlan(changed((step) => step.target_V === 250, { LT: tight })))
    expect(rig.start().toTheEnd().outcome).toBe('completed')
    const tightened = limitsTold(rig, 'lt.1').find((each) => each.limit_A === 5)
    const lastRise = rig.commands.findLastIndex(
      (command) => command.kind === 'line' && command.do === 'set' && command.volts > 249,
    )
    expect(tightened?.at).toBeGreaterThan(lastRise)
  })

  it('are widened before the person is asked to turn a control, with an intent of their own', () => {
    const rig = new Rig(
      smallPlan((plan) => {
        const hold = plan.steps[7]!
        const mode: Step = {
          ...hold,
          do: 'ask',
          stage: 'to transmit',
          index: 8,
          hold_s: 0,
          ask: {
            text: 'Set the controls.',
            wants: { kind: 'confirm' },
            timeout_s: 0,
            inside: false,
            about: 'mode',
          },
          limits: { ...hold.limits, BIAS: wide },
        }
        const last = { ...hold, index: 9, limits: mode.limits }
        return { ...plan, steps: [...plan.steps.slice(0, 7), mode, last] }
      }),
    )
    expect(rig.start().toTheEnd().outcome).toBe('completed')
    const question = rig.commands.findIndex(
      (command) => command.kind === 'prompt' && command.ask.about === 'mode',
    )
    const intent = rig.commands.findIndex(
      (command) =>
        command.kind === 'record' &&
        command.entry.what === 'intent' &&
        command.entry.text === 'Widen supply limits for to transmit: BIAS (bias.1) 50 mA.',
    )
    const widened = limitsTold(rig, 'bias.1').find((each) => each.limit_A === 0.05)
    expect(intent).toBeGreaterThan(0)
    expect(widened?.at).toBeGreaterThan(intent)
    expect(widened?.at).toBeLessThan(question)
  })

  it('are set one channel after another, with fresh readings of every rail between', () => {
    const rig = new Rig(
      smallPlan(
        changed((step) => step.target_V === 250, {
          BIAS: wide,
          LT: limitsAt(12, 4, { supply_limit_A: 8 }),
        }),
      ),
    )
    rig.start().toTheEnd()
    const one = limitsTold(rig, 'bias.1').find((each) => each.limit_A === 0.05)
    const other = limitsTold(rig, 'lt.1').find((each) => each.limit_A === 8)
    expect(Math.abs((one?.t_us ?? 0) - (other?.t_us ?? 0))).toBeGreaterThanOrEqual(50_000)
  })
})

describe('a rise', () => {
  it('waits while the bias is not what the set needs, though the gate was passed', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('the ramp', () => rig.state.step === 6 && rig.state.part === 'ramp')
    const stood = rig.set['ht.1'] ?? 0
    rig.grid = -0.7
    rig.tick()
    rig.tick()
    expect(rig.state.phase).toBe('running')
    expect(rig.set['ht.1']).toBeLessThanOrEqual(stood + 4)
    const held = rig.set['ht.1']
    rig.grid = -1
    rig.until('rising again', () => (rig.set['ht.1'] ?? 0) > (held ?? 0), 5)
  })

  it('does not switch HT on when the bias went between the gate and the switch', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('limits', () => rig.state.step === 5 && rig.state.part === 'limits')
    rig.grid = -0.1
    rig.feed({ kind: 'meter', meter: 'grid meter', value: { n: -4, k: 0 } })
    for (let i = 0; i < 700 && rig.state.phase === 'running'; i++) rig.tick()
    const after = rig.commands.filter(
      (command) => command.kind === 'line' && command.channel === 'ht.1' && command.do === 'on',
    )
    expect(after).toHaveLength(1)
    expect(rig.state.off?.reason?.code).toBe('bias-low')
  })
})
