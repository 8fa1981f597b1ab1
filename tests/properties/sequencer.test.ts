import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { EventBody } from '../../src/sequencer/index.js'
import { begin, step } from '../../src/sequencer/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/** One thing that goes wrong at one moment. Several together make a bad night. */
const trouble = fc.record({
  at_s: fc.integer({ min: 0, max: 130 }),
  what: fc.constantFrom(
    'short',
    'open',
    'sag',
    'surge',
    'no bias',
    'heater open',
    'HT silent',
    'all silent',
    'ignores off',
    'no answers',
    'no record',
    'protection',
    'line lost',
    'recorder lost',
    'parent lost',
    'late',
    'slept',
    'run down',
    'off now',
    'failed request',
    'answers no',
    'output off',
    'charge',
    'another source',
    'left-over set-points',
    'runs ahead',
    'a number for a yes',
    'no number',
    'answers again',
  ),
  size: fc.double({ min: 0.01, max: 3, noNaN: true }),
})

function strike(rig: Rig, what: string, size: number): void {
  switch (what) {
    case 'short':
      rig.ohm['HT'] = 100 * size
      return
    case 'open':
      rig.ohm['HT'] = 1e9
      return
    case 'sag':
      rig.sag_V['HT'] = -10 * size
      return
    case 'surge':
      rig.extra_A['HT'] = 0.05 * size
      return
    case 'no bias':
      rig.grid = -0.1 * size
      return
    case 'heater open':
      rig.ohm['LT'] = 20 * size
      return
    case 'HT silent':
      rig.silent.add('HT')
      return
    case 'all silent':
      for (const name of ['LT', 'BIAS', 'HT', 'grid meter']) rig.silent.add(name)
      return
    case 'ignores off':
      rig.ignoresOff.add('ht.1')
      return
    case 'no answers':
      rig.answers = false
      return
    case 'no record':
      rig.keepsRecord = false
      return
    case 'protection':
      rig.feed({ kind: 'protection', channel: 'ht.1', which: size > 1 ? 'over-voltage' : 'over-current' })
      return
    case 'line lost':
      rig.feed({ kind: 'line lost', port: 'ht', text: 'closed' })
      return
    case 'recorder lost':
      rig.feed({ kind: 'recorder lost', text: 'test' })
      return
    case 'parent lost':
      rig.feed({ kind: 'parent lost', text: 'test' })
      return
    case 'late':
      rig.tick(Math.round(size * 4e5), 0)
      return
    case 'slept':
      rig.tick(0, Math.round(size * 1e6))
      return
    case 'run down':
      rig.feed({ kind: 'stop', how: 'run down', by: 'test' })
      return
    case 'off now':
      rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
      return
    case 'failed request': {
      const id = Number(Object.keys(rig.state.pending)[0] ?? 0)
      rig.feed({ kind: 'failed', id, code: 'no reply', text: 'test', outcome: 'unknown' })
      return
    }
    case 'answers no':
      rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value: 'no', by: 'rehearsal' })
      return
    case 'charge':
      if (!rig.on['ht.1']) rig.volts['ht.1'] = 100 * size
      return
    case 'another source':
      rig.foreign['ht.1'] = { V: 90 * size, A: size > 1.5 ? 0.02 : 0 }
      return
    case 'left-over set-points':
      for (const c of Object.keys(rig.set)) if (!rig.on[c]) rig.set[c] = 10 * size
      return
    case 'runs ahead':
      rig.sag_V['HT'] = 20 * size
      return
    case 'a number for a yes':
      rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value: size, by: 'rehearsal' })
      return
    case 'no number':
      rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value: Number.NaN, by: 'rehearsal' })
      return
    case 'answers again':
      rig.answers = true
      return
    case 'output off':
      rig.on['ht.1'] = false
      rig.feed({ kind: 'output', channel: 'ht.1', on: false })
      return
  }
}

/** What must be true of every request at the moment it is made, by what was known then. */
function overhearing(rig: Rig): NonNullable<Rig['overhears']> {
  const last: Record<string, { volts: number; t_us: number }> = {}
  return (command, state) => {
    if (command.kind !== 'line' || command.do === 'off' || command.do === 'zero') return
    const { channel } = command
    const step = state.plan.steps[state.step]
    const rail = Object.values(state.plan.rails).find((each) => each.channels[0]?.channel === channel)
    if (!step || !rail) throw new Error(`${channel} is told something outside of any step`)
    const before = last[channel] ?? { volts: 0, t_us: 0 }
    if (command.do === 'set') last[channel] = { volts: command.volts, t_us: state.t_us }
    if (command.do === 'limits') {
      const widened = command.limit_A > (rig.lastLimit[channel] ?? 0)
      if (widened) expect(state.intent?.recorded).toBe(true)
      expect(command.limit_A).toBeLessThanOrEqual(
        Math.max(step.hookup?.limit_A ?? step.limits[rail.name]!.supply_limit_A, rig.lastLimit[channel] ?? 0),
      )
      return
    }
    if (command.do === 'set' && command.volts <= before.volts) return
    expect(state.intent?.recorded).toBe(true)
    expect(rig.lastLimit[channel]).toBe(step.hookup?.limit_A ?? step.limits[rail.name]?.supply_limit_A)
    if (command.do === 'set' && !step.hookup) {
      expect(state.prompt).toBeNull()
      const most_V = step.slew_V_per_s * Math.min(1, (state.t_us - before.t_us) / 1e6)
      expect(command.volts - before.volts).toBeLessThanOrEqual(most_V + 1e-6)
    }
    if (step.hookup) {
      expect(command.do === 'set' ? command.volts : 0).toBeLessThanOrEqual(5)
      return
    }
    if (step.needs_heaters)
      expect(state.t_us - (state.rails['LT']?.good_since_us ?? Infinity)).toBeGreaterThanOrEqual(30e6)
    if (step.needs_bias) {
      expect(state.meters['grid meter']?.value).toBeLessThanOrEqual(-30)
      expect(state.t_us - (state.meters['grid meter']?.t_us ?? 0)).toBeLessThanOrEqual(1e6)
    }
  }
}

describe('whatever happens, in any order', () => {
  it('nothing is raised out of turn, the run ends in bounded time, and it only says confirmed off when all is off', () => {
    fc.assert(
      fc.property(fc.array(trouble, { minLength: 1, maxLength: 4 }), (troubles) => {
        const rig = new Rig(smallPlan())
        rig.overhears = overhearing(rig)
        rig.start()
        const todo = [...troubles].sort((a, b) => a.at_s - b.at_s)
        let seen = 0
        let offSince: number | null = null
        for (let ticks = 0; rig.ending === null; ticks++) {
          expect(ticks).toBeLessThan(20 * 4500)
          while (todo[0] && rig.t_us >= todo[0].at_s * 1e6) {
            const next = todo.shift()!
            strike(rig, next.what, next.size)
          }
          rig.tick()
          for (const command of rig.commands.slice(seen)) {
            if (command.kind === 'urgent off') expect(command.channels).toEqual(['ht.1'])
            if (command.kind === 'line') {
              if (command.do === 'set') expect(command.volts).toBeLessThanOrEqual(250)
              if (offSince !== null) expect(['off', 'zero']).toContain(command.do)
              if (command.do === 'off' && command.channel === 'bias.1' && rig.state.step > 4)
                expect(rig.volts['ht.1']).toBeLessThan(60)
            }
          }
          seen = rig.commands.length
          if (rig.state.phase !== 'running') offSince ??= rig.t_us
        }
        const ending = rig.ending
        if (ending.outputs_off === 'confirmed') expect(Object.values(rig.on)).toEqual([false, false, false])
        else expect(rig.commands.some((command) => command.kind === 'alarm')).toBe(true)
        if (ending.outcome !== 'completed') expect(ending.reason).not.toBeNull()
      }),
      { numRuns: Number(process.env['SLOWGLOW_NIGHTS'] ?? 40) },
    )
    // Some seeds draw long nights only, and a busy machine takes its time over them.
  }, 600_000)
})

describe('any event at any time', () => {
  const body: fc.Arbitrary<EventBody> = fc.oneof(
    fc.record({ kind: fc.constant('tick' as const), late_us: fc.integer(), slept_us: fc.integer() }),
    fc.record({
      kind: fc.constant('reading' as const),
      channel: fc.constantFrom('ht.1', 'lt.1', 'bias.1', 'nobody'),
      quantity: fc.constantFrom('V' as const, 'A' as const),
      value: fc.record({ n: fc.integer(), k: fc.integer({ min: 0, max: 9 }) }),
    }),
    fc.record({
      kind: fc.constant('meter' as const),
      meter: fc.string(),
      value: fc.record({ n: fc.integer(), k: fc.integer({ min: 0, max: 9 }) }),
    }),
    fc.record({ kind: fc.constant('done' as const), id: fc.integer() }),
    fc.record({
      kind: fc.constant('output' as const),
      channel: fc.constantFrom('ht.1', 'lt.1', 'x'),
      on: fc.boolean(),
    }),
    fc.record({
      kind: fc.constant('begin' as const),
      word: fc.string(),
      channel: fc.constant('terminal' as const),
      hooked_up_as_in: fc.option(fc.string()),
    }),
    fc.record({
      kind: fc.constant('answer' as const),
      prompt: fc.integer(),
      value: fc.oneof(fc.double(), fc.constantFrom('yes' as const, 'no' as const, 'go on' as const)),
      by: fc.constant('terminal' as const),
    }),
    fc.record({
      kind: fc.constant('stop' as const),
      how: fc.constantFrom('run down' as const, 'off now' as const),
      by: fc.string(),
    }),
    fc.record({ kind: fc.constant('recorded' as const), intent: fc.integer() }),
  )
  it('never throws, and never sends a line request that switches on before its intent is recorded', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(body, fc.integer({ min: -5, max: 200_000 })), { maxLength: 60 }),
        (events) => {
          let state = begin(smallPlan())
          let t_us = 0
          let recorded = false
          for (const [event, dt_us] of events) {
            t_us += dt_us
            const stepped = step(state, { ...event, t_us })
            state = stepped.state
            if (event.kind === 'recorded') recorded = true
            for (const command of stepped.commands) {
              if (command.kind === 'line' && command.do === 'on') expect(recorded).toBe(true)
            }
          }
        },
      ),
      { numRuns: 300 },
    )
  })
})
