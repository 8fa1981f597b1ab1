import { describe, expect, it } from 'vitest'
import type { LineFailure, LineRequestBody } from '../../src/exchange/index.js'
import type { Plan } from '../../src/plan/index.js'
import type { EventBody, State } from '../../src/sequencer/index.js'
import { MidStep } from '../helpers/mid-step.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What becomes of what a supply was told, and of what its outputs are read back as. */

const [biasRises, htRises, holds] = [4, 5, 7]

/** A run in this step that waits for the outcome of these, numbered from 1. */
function waiting(
  at: number,
  told: readonly { channel: string; request: LineRequestBody }[],
  { plan = smallPlan(), ...more }: Partial<State> = {},
): MidStep {
  const run = new MidStep(plan, at, at === holds ? 'hold' : 'ramp', more).justBegun()
  const { t_us } = run.state
  run.state = {
    ...run.state,
    pending: Object.fromEntries(told.map((each, i) => [i + 1, { ...each, t_us }])),
  }
  return run
}
const done = (id: number): EventBody => ({ kind: 'done', id })
const output = (channel: string, on: boolean): EventBody => ({ kind: 'output', channel, on })
const set = (channel: string, volts: number) => ({ channel, request: { do: 'set', volts } as const })

describe('an output that reads back as off', () => {
  const read = (told: Parameters<typeof waiting>[1]) => waiting(holds, told).hear(0.1, output('ht.1', false))

  it('went off by itself where nobody told it so, whatever else its supply or another output was told', () => {
    for (const told of [
      [],
      [set('ht.1', 250)],
      [{ channel: 'lt.1', request: { do: 'on' } } as const],
      [{ channel: 'bias.1', request: { do: 'off' } } as const],
    ])
      expect(read(told).reason).toMatchObject({ code: 'protection', rail: 'HT' })
  })

  it('is nothing of that while it is being switched', () => {
    for (const what of ['on', 'off'] as const)
      expect(read([{ channel: 'ht.1', request: { do: what } }]).reason).toBeNull()
  })

  it('and was off before, or not known, is no news; one that was off and reads as on is not what it was told', () => {
    const run = waiting(biasRises, [])
    expect(run.state.channels['ht.1']?.output).toBe('unknown')
    run.hear(0.1, output('ht.1', false)).hear(0.1, output('ht.1', false))
    expect(run.reason).toBeNull()
    expect(run.state.channels['ht.1']?.output).toBe('off')
    expect(run.hear(0.1, output('ht.1', true)).reason).toMatchObject({ code: 'read-back', rail: 'HT' })
  })

  it('as it was told is no news, on or off', () => {
    const run = waiting(holds, []).hear(0.1, output('ht.1', true))
    expect([run.reason, run.state.channels['ht.1']?.output]).toEqual([null, 'on'])
    const unknown = waiting(biasRises, []).hear(0.1, output('ht.1', true))
    expect([unknown.reason, unknown.state.channels['ht.1']?.output]).toEqual([null, 'on'])
  })

  it('is what was wanted while the run goes off', () => {
    const run = waiting(holds, []).hear(0.1, { kind: 'stop', how: 'off now', by: 'a test' })
    run.hear(0.1, output('ht.1', false), output('bias.1', false))
    expect([run.reason?.code, run.state.warnings]).toEqual(['operator', []])
    expect(run.state.off?.outputs).toMatchObject({ 'ht.1': 'off', 'bias.1': 'off', 'lt.1': 'on' })
  })

  it('and is not in this plan is nobody’s business here', () => {
    const run = waiting(holds, []).hear(0.1, output('other.1', false), output('other.1', true))
    expect(run.reason).toBeNull()
    expect(run.state.channels['other.1']).toBeUndefined()
  })
})

describe('a set-point that was taken', () => {
  const stacked: Plan = smallPlan((plan) => {
    const HT = plan.rails['HT']!
    const half = { ...HT.channels[0]!, share: 0.5 }
    return {
      ...plan,
      rails: { ...plan.rails, HT: { ...HT, channels: [half, { ...half, channel: 'top.1', port: 'top' }] } },
    }
  })
  /** Both halves of HT, from 125 V each, are on their way. */
  const bothTold = (first_V: number, second_V: number): MidStep => {
    const run = waiting(holds, [set('ht.1', first_V), set('top.1', second_V)], { plan: stacked })
    const { channels } = run.state
    const on = (name: string, setting: number) => ({ [name]: { ...channels[name]!, setting } })
    run.state = { ...run.state, channels: { ...channels, ...on('ht.1', first_V), ...on('top.1', second_V) } }
    return run.rail('HT', { error_pct_s: 7 })
  }
  const HT = (run: MidStep) => run.state.rails['HT']!

  it('by one of two outputs in series is not the rail’s before the other has its own', () => {
    const run = bothTold(120, 121)
    const before = HT(run)
    run.hear(0.1, done(1))
    expect(HT(run)).toMatchObject({ set_V: 250, set_us: before.set_us, lowered_us: null, error_pct_s: 7 })
    expect(run.state.channels['ht.1']).toMatchObject({ set_V: 120, setting: null })
    run.hear(0.1, done(2))
    const { t_us } = run.state
    expect(HT(run)).toMatchObject({ set_V: 241, set_us: t_us, lowered_us: t_us, error_pct_s: 0 })
  })

  it('is no lowering where it is higher than the one before, or the same', () => {
    for (const each_V of [125, 126]) {
      const run = bothTold(each_V, each_V).hear(0.1, done(1)).hear(0.1, done(2))
      expect(HT(run)).toMatchObject({ set_V: 2 * each_V, set_us: run.state.t_us, lowered_us: null })
    }
  })

  /** Whether HT counts as having been up once this was taken, before anything was read of it. */
  const wasUp = (channel: string, volts: number): boolean =>
    waiting(htRises, [set(channel, volts)], { ht_was_up: false }).hear(0, done(1)).state.ht_was_up

  it('above the touch limit means that HT was up, whatever is read of it', () => {
    expect([wasUp('ht.1', 61), wasUp('ht.1', 60), wasUp('lt.1', 61), wasUp('bias.1', 61)]).toEqual([
      true,
      ...[false, false, false],
    ])
  })
})

describe('what was taken', () => {
  const taken = (request: LineRequestBody) => {
    const run = waiting(holds, [{ channel: 'ht.1', request }]).hear(0.1, done(1))
    expect(run.state.pending[1]).toBeUndefined()
    return { known: run.state.channels['ht.1']!, run }
  }

  it('is what stands from then on: limits with the step that they are for, an output, nothing set', () => {
    const { known, run } = taken({ do: 'limits', limit_A: 0.07, over_voltage_V: 255 })
    expect(known).toMatchObject({ limit_A: 0.07, over_V: 255, limits_step: 8 })
    expect(run.state.limits_us).toBe(run.state.t_us)
    expect(taken({ do: 'off' }).known.output).toBe('off')
    expect(taken({ do: 'zero' }).known).toMatchObject({ set_V: 0, output: 'on' })
    const on = taken({ do: 'on' })
    expect(on.known.output).toBe('on')
    expect(on.run.state.rails['HT']?.on_known_us).toBe(on.run.state.t_us)
  })

  it('changes nothing where it was a supply left unfed, or one that is remote again', () => {
    const before = waiting(holds, []).state.channels['ht.1']
    for (const request of [
      { do: 'starve', for_s: 3 },
      { do: 'panel', to: 'computer' },
    ] as const)
      expect(taken(request).known).toEqual(before)
  })

  it('by a number that nobody waits for is not heard', () => {
    const run = waiting(holds, [set('ht.1', 20)]).hear(0.1, done(2))
    expect(run.state.rails['HT']?.set_V).toBe(250)
    expect(run.state.pending[1]).toBeDefined()
    const failed = { kind: 'failed', id: 2, code: 'refused', text: 'no', outcome: 'not done' } as const
    expect(run.hear(0.1, failed).reason).toBeNull()
  })
})

describe('what was told and not confirmed', () => {
  const failed = (
    request: LineRequestBody,
    code: LineFailure = 'refused',
    outcome: 'not done' | 'unknown' = 'not done',
    more: Partial<State> = {},
  ): MidStep =>
    waiting(holds, [{ channel: 'ht.1', request }], more).hear(0.1, {
      kind: 'failed',
      ...{ id: 1, code, text: 'it said no. It may have happened, or not.', outcome },
    })

  it('ends the run, as a lost line or as a supply that is not as it was told', () => {
    const codes = {
      ...{ 'no reply': 'line-lost', closed: 'line-lost', 'wrong supply': 'line-lost' },
      ...{ 'bad reply': 'bad-reply', 'read-back differs': 'read-back', refused: 'read-back' },
    } satisfies Record<LineFailure, string>
    for (const code of Object.keys(codes) as LineFailure[])
      expect(failed({ do: 'off' }, code).reason).toMatchObject({ code: codes[code], rail: 'HT' })
  })

  it('is named as the person at the bench would call it', () => {
    for (const [request, name] of [
      [{ do: 'limits', limit_A: 0.07, over_voltage_V: null }, 'a current limit of 70 mA'],
      [{ do: 'set', volts: 240 }, 'a set-point of 240 V'],
      [{ do: 'on' }, 'output on'],
      [{ do: 'off' }, 'output off'],
      [{ do: 'zero' }, 'set-point to zero'],
      [{ do: 'starve', for_s: 3 }, 'its dead-man left unfed'],
      [{ do: 'panel', to: 'computer' }, 'its word to be remote'],
    ] as const) {
      const text = failed(request).reason?.text
      expect(text).toContain(`HT (ht.1): ${name} was sent and not confirmed: it said no.`)
    }
  })

  it('says that nobody knows whether it was taken only where that is so', () => {
    const unknown = 'Whether the supply took it is not known'
    expect(failed({ do: 'on' }, 'no reply', 'unknown').reason?.text).toContain(unknown)
    expect(failed({ do: 'on' }, 'no reply', 'not done').reason?.text).not.toContain(unknown)
    expect(failed({ do: 'on' }).reason?.text).not.toContain('It may have happened')
  })

  it('is told again and kept in the record while the run goes off: no second reason', () => {
    const run = waiting(holds, []).hear(0.1, { kind: 'stop', how: 'off now', by: 'a test' })
    const pending = { 900: { channel: 'ht.1', request: { do: 'off' } as const, t_us: run.state.t_us } }
    run.state = { ...run.state, pending }
    const from = run.commands.length
    run.hear(0.1, { kind: 'failed', id: 900, code: 'no reply', text: 'silence', outcome: 'unknown' })
    expect(run.reason?.code).toBe('operator')
    expect(run.state.warnings).toEqual([])
    expect(run.commands.slice(from)).toMatchObject([
      {
        kind: 'record',
        entry: { what: 'off', rail: 'HT', text: expect.stringContaining('"off" failed (silence)') as string },
      },
    ])
  })
})

describe('a tick that comes late', () => {
  const late = (late_s: number): MidStep => {
    const plan = smallPlan((small) => ({
      ...small,
      rules: small.rules.map((rule) =>
        rule.code === 'late-tick' ? { ...rule, warn: 0.1, trip: 0.3 } : rule,
      ),
    }))
    return waiting(holds, [], { plan }).hear(0.05, { kind: 'tick', late_us: late_s * 1e6, slept_us: 0 })
  }

  it('is warned of, and then ends the run, by the times that the plan states', () => {
    expect([late(0.09).state.warnings, late(0.09).reason]).toEqual([[], null])
    expect([late(0.15).state.warnings, late(0.15).reason]).toEqual([['A tick came 0.15 s late.'], null])
    expect([late(0.29).reason, late(0.29).state.warnings.length]).toEqual([null, 1])
    expect(late(0.31).reason).toMatchObject({ code: 'late-tick', measured: 0.31, limit: 0.3, unit: 's' })
  })
})
