import { describe, expect, it } from 'vitest'
import {
  type LineConfig,
  lineConfigOf,
  type LineMeter,
  type LineState,
  openLine,
} from '../../src/line/index.js'
import type { Flight } from '../../src/line/state.js'
import type { Move } from '../../src/line/moves.js'
import { createLoop, firstLook, type Loop, type LoopOutput, loopStep } from '../../src/loop/index.js'
import { feeds, mayFeed } from '../../src/loop/cut-off.js'
import type { Plan, Step } from '../../src/plan/index.js'
import { obeysWithin_s, type State } from '../../src/sequencer/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'
import { configWith, lineAt } from '../helpers/line-draft.js'
import { MidStep, tick } from '../helpers/mid-step.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Several lines and the sequencer: who is told OFF in which moment, and what of the lines' talk the sequencer hears. */

/** HT stands at 250 V from two supplies in series, each on its own port. Its trip is at 80 mA, its ceiling at 100 mA. */
const stacked = (change: (plan: Plan) => Plan = (plan) => plan): Plan =>
  smallPlan((plan) => {
    const { HT } = plan.rails
    const [one] = HT?.channels ?? []
    if (HT === undefined || one === undefined) throw new Error('the small plan has no HT')
    const channels = [
      { ...one, share: 0.5 },
      { ...one, channel: 'hs.1', port: 'hs', share: 0.5 },
    ]
    return change({ ...plan, rails: { ...plan.rails, HT: { ...HT, channels } } })
  })
const supply = (port: string): LineConfig =>
  lineConfigOf(port, supplyOf({ ...fullDialect, remote: null }, { '1': channelOf(1) }))
const t_us = 1200e6
const asking = (want: Extract<Move, { kind: 'ask' }>['want']): Flight => ({
  ...{ asked_us: t_us - 20_000, deadline_us: t_us + 180_000 },
  move: { kind: 'ask', text: '?', channel: 0, want, slow_us: 0, around: null },
})
const amps = { is: 'reading', quantity: 'A' } as const
const open = (port: string, more: Partial<Omit<LineState, 'outputs'>> = {}): LineState => ({
  ...lineAt(supply(port), { t_us, ...more }, { output: true, regulation: 'voltage' }),
  outputs: [],
})

/** In the last hold; HT's first supply was just asked its current. */
function looped(lines: Loop['lines'] = {}, more: Partial<Loop> = {}, plan = stacked()): Loop {
  const loop = createLoop(plan, ['ht', 'hs', 'lt', 'bias'].map(supply))
  const { state } = new MidStep(plan, 7, 'hold')
  return {
    ...loop,
    sequencer: { ...state, off_first: loop.sequencer.off_first },
    lines: {
      ht: open('ht', { flight: asking(amps) }),
      hs: open('hs'),
      lt: open('lt'),
      bias: open('bias'),
      ...lines,
    },
    ...more,
  }
}
const heard = (port: string, text: string) =>
  ({ kind: 'port', port, line: { kind: 'text', t_us: t_us + 1000, text } }) as const
const read_A = (value_mA: number) => {
  const value = { n: value_mA, k: 3 }
  return {
    kind: 'event',
    event: { kind: 'reading', channel: 'ht.1', quantity: 'A', value, t_us: t_us + 1000 },
  } as const
}
function listened() {
  const given: (readonly [string, string, boolean])[] = []
  return {
    given,
    give: (port: string, text: string, urgent: boolean): void => void given.push([port, text, urgent]),
  }
}
const fedOf = (outputs: readonly LoopOutput[]) =>
  outputs.flatMap((output) => (output.kind === 'fed' ? [output.event] : []))
const OFF = '\n:INST:NSEL 1;:OUTP OFF\n'

describe('an OFF to several ports', () => {
  it('is laid ready for each that has something to go off first, by its own words', () => {
    const { laidReady, portOf } = looped()
    expect(laidReady).toEqual([
      ['ht', OFF],
      ['hs', OFF],
    ])
    expect(portOf).toEqual({ 'lt.1': 'lt', 'bias.1': 'bias', 'ht.1': 'ht', 'hs.1': 'hs' })
    expect(createLoop(stacked(), [supply('hs')]).laidReady).toEqual([['hs', OFF]])
  })

  it('is given at first look to every port that is open, and to none that is not', () => {
    const laidReady = [
      ...([
        ['ht', OFF],
        ['hs', OFF],
        ['gone', OFF],
        ['lt', ''],
      ] as const),
      ...([['bias', 'BIAS OFF']] as const),
    ]
    const loop = looped({ hs: openLine(supply('hs')) }, { laidReady })
    const { given, give } = listened()
    expect(firstLook(loop, heard('ht', '0.2'), give)).toEqual({ ht: OFF, bias: 'BIAS OFF' })
    expect(given).toEqual([
      ['ht', OFF, true],
      ['bias', 'BIAS OFF', true],
    ])
  })

  it('comes at first look from a reply alone: a tick, a closed port and one that is not there bring none', () => {
    const { given, give } = listened()
    const loop = looped()
    expect(firstLook(loop, { kind: 'event', event: { ...tick, t_us } }, give)).toBeNull()
    expect(firstLook(loop, read_A(200), give)).toBeNull()
    const closed = { kind: 'port', port: 'ht', line: { kind: 'closed', t_us, text: 'gone' } } as const
    expect(firstLook(loop, closed, give)).toBeNull()
    expect(firstLook(loop, heard('gone', '0.2'), give)).toBeNull()
    expect(given).toEqual([])
  })

  it.each([
    ['laid ready', undefined],
    ['not laid ready', [] as Loop['laidReady']],
  ])('that is %s is on every line before the first of them is worked on, urgent and once each', (_, laid) => {
    const seen: string[] = []
    const ht = open('ht')
    const watched = {
      ...ht,
      get kept() {
        seen.push('line')
        return ht.kept
      },
    }
    const loop = looped({ ht: watched }, laid === undefined ? {} : { laidReady: laid })
    loopStep(loop, read_A(200), (port, text, urgent) => {
      if (text.includes('OFF')) seen.push(`${port} ${urgent ? 'at once' : 'in turn'}`)
    })
    expect(seen.slice(0, 3)).toEqual(['ht at once', 'hs at once', 'line'])
    expect(seen.filter((what) => what !== 'line')).toHaveLength(2)
  })

  it('says nothing to a port that is closed, which is told first thing when it opens', () => {
    const { given, give } = listened()
    const loop = looped({ hs: openLine(supply('hs')) }, { laidReady: [] })
    const { loop: after, outputs } = loopStep(loop, read_A(200), give)
    expect(given.filter(([port]) => port === 'hs')).toEqual([])
    expect(outputs.filter((output) => output.kind === 'write' && output.port === 'hs')).toEqual([])
    expect(after.lines['hs']?.urgent?.targets).toEqual([0])
    const opened = { kind: 'port', port: 'hs', line: { kind: 'opened', t_us: t_us + 2000 } } as const
    const first = loopStep(after, opened, give).outputs.find(({ kind }) => kind === 'write')
    expect(first).toMatchObject({ port: 'hs', text: '\n' })
    expect(given.at(-1)).toEqual(['hs', OFF, true])
  })
})

describe('a step that several lines have part in', () => {
  const bias = [['bias', 'BIAS OFF'] as const]

  it('tells which of them are in another state than before, each once, and what was wanted of them', () => {
    const before = looped()
    const { moved, outputs, loop } = loopStep(before, read_A(200))
    expect([...moved].sort()).toEqual(['hs', 'ht'])
    expect(Object.keys(loop.lines).filter((port) => loop.lines[port] !== before.lines[port])).toEqual([
      'ht',
      'hs',
    ])
    const commands = outputs.flatMap((output) => (output.kind === 'command' ? [output.command] : []))
    expect(commands).toContainEqual({ kind: 'urgent off', channels: ['ht.1', 'hs.1'] })
    expect(before.lines['ht']?.urgent).toBeNull()
  })

  it('lets each of them go on to its next question', () => {
    // A run-down tells both halves of the rail in one step, without haste.
    const stop = {
      kind: 'event',
      event: { kind: 'stop', how: 'run down', by: 'you', t_us: t_us + 1000 },
    } as const
    const { given, give } = listened()
    loopStep(looped({ ht: open('ht') }), stop, give)
    const [words, next] = [':INST:NSEL 1;:OUTP OFF\n', '*IDN?\n']
    expect(given).toEqual(['ht', 'hs'].flatMap((port) => [words, next].map((text) => [port, text, false])))
  })

  it('says again to a rail alone what was said to it alone: what was laid ready is the first OFF, and no other', () => {
    const { given, give } = listened()
    const loop = looped()
    let off = loopStep({ ...loop, laidReady: [...loop.laidReady, ...bias] }, read_A(200), give).loop
    for (let s = 0.02; s < 7; s += 0.02)
      off = loopStep(off, { kind: 'event', event: { ...tick, t_us: t_us + Math.round(s * 1e6) } }, give).loop
    expect(given.filter(([port]) => port === 'bias')).toEqual([['bias', 'BIAS OFF', true]])
    expect(given.filter(([port, text]) => port === 'ht' && text === OFF).length).toBeGreaterThan(1)
  })

  it('begins with no relay fed and nothing slow', () => {
    expect(createLoop(stacked(), [supply('ht')])).toMatchObject({ fed: false, slow: false, reform: null })
  })
})

describe('what lines say', () => {
  const lt = (want: Extract<Move, { kind: 'ask' }>['want'], text: string, more: Partial<State> = {}) => {
    const loop = looped({ lt: open('lt', { flight: asking(want) }) })
    const { outputs, moved } = loopStep(
      { ...loop, sequencer: { ...loop.sequencer, ...more } },
      heard('lt', text),
    )
    expect(moved[0]).toBe('lt')
    return fedOf(outputs).map(({ kind }) => kind)
  }
  const output = { is: 'output', on: null } as const
  const regulation = { is: 'regulation', mask: 1, cv_mask: 2 } as const

  it('is heard where it is news: the same output and regulation once more decide nothing', () => {
    expect([lt(output, '1'), lt(output, '0')]).toEqual([[], ['output']])
    expect([lt(regulation, '2'), lt(regulation, '1')]).toEqual([[], ['regulation']])
    expect(lt(amps, '0.4')).toEqual(['reading'])
    const { channels } = looped().sequencer
    const known = channels['lt.1']
    if (known === undefined) throw new Error('the small plan has no LT')
    const off = { channels: { ...channels, 'lt.1': { ...known, output: 'off' as const } } }
    expect([lt(output, '0', off), lt(output, '1', off)]).toEqual([[], ['output']])
  })

  it('is heard all the same of an output beside one whose dead-man is being proved', () => {
    const proof = { others: { 'lt.1': null } } as unknown as State['proof']
    expect(lt(output, '1', { proof })).toEqual(['output'])
    expect(lt(regulation, '2', { proof })).toEqual([])
  })

  it('of its own troubles is told with its port and its moment, for people and the record', () => {
    const loop = looped({ lt: open('lt', { flight: asking(amps) }) })
    const { outputs } = loopStep(loop, heard('lt', 'garbled'))
    const told = outputs.filter(({ kind }) => kind === 'rung' || kind === 'health')
    const where = { port: 'lt', t_us: t_us + 1000 }
    expect(told).toEqual([
      { kind: 'rung', rung: 'resynchronise', text: expect.stringContaining('port lt: ') as string, ...where },
      {
        ...{ kind: 'health', ...where },
        health: expect.objectContaining({ faults: { unparsable: 1, resynchronised: 1 } }) as unknown,
      },
    ])
    expect(fedOf(outputs)).toMatchObject([{ kind: 'line trouble', port: 'lt' }])
  })

  it('asks the shell for a fresh connection of that port', () => {
    const loop = looped({ lt: { ...openLine(supply('lt')), reopen_us: t_us } })
    const time = { kind: 'port', port: 'lt', line: { kind: 'time', t_us: t_us + 1000 } } as const
    expect(loopStep(loop, time).outputs).toContainEqual({
      ...{ kind: 'reopen', port: 'lt' },
      text: 'port lt: opening it again',
    })
  })

  it('to a port that is not there is nothing', () => {
    const loop = looped()
    const { loop: after, outputs, moved } = loopStep(loop, heard('gone', '1'))
    expect([outputs, moved]).toEqual([[], []])
    expect(after).toEqual(loop)
  })
})

describe('the cut-off relay', () => {
  const plan = stacked((its) => ({ ...its, cut_off: { meter: 'relay', channels: ['ht.1', 'hs.1'] } }))
  const input: LineMeter = {
    ...{ name: 'relay', measures: 'contact', limit: 1, ask: 'FEED?', every_us: 1_000_000 },
    feeds: true,
  }
  const relay = (starves: boolean): LineState => ({
    ...lineAt(configWith({}, { port: 'relay', channels: [], inputs: [input] }), { t_us, starves }),
    outputs: [],
  })
  const stood = { relay: { value: 1, t_us } }
  const loopOf = (fed: boolean): Loop => {
    const loop = looped({ relay: relay(!fed) }, { fed }, plan)
    return { ...loop, sequencer: { ...loop.sequencer, meters: { ...loop.sequencer.meters, ...stood } } }
  }
  const ticked = (loop: Loop, slept_us = 0): Loop =>
    loopStep(loop, {
      kind: 'event',
      event: { kind: 'tick', late_us: 0, slept_us, t_us: loop.sequencer.t_us + 20_000 },
    }).loop

  it('is fed while the run goes on, and its line is told when that begins', () => {
    const fed = ticked(loopOf(false))
    expect([fed.fed, fed.lines['relay']?.starves]).toEqual([true, false])
    expect(ticked(fed).lines['relay']).toBe(fed.lines['relay'])
  })

  it('is fed on while everything goes off, but not again after the computer slept: it opened meanwhile', () => {
    const off = loopStep(loopOf(true), read_A(200)).loop
    expect(off.sequencer.phase).toBe('making off')
    const on = ticked(off)
    expect([on.fed, on.lines['relay']?.starves]).toEqual([true, false])
    const slept = ticked(off, 60e6)
    expect([slept.fed, slept.lines['relay']?.starves]).toEqual([false, true])
    expect(ticked(slept).fed).toBe(false)
  })

  it('is starved in its own proof while it is watched and until what it cut is off, and in no other proof', () => {
    const may = (of: string, part: State['part']): boolean => {
      const { state } = new MidStep(plan, 7, part)
      const steps = plan.steps.map(
        (step): Step => ({ ...step, proof: { of } as unknown as NonNullable<Step['proof']> }),
      )
      return mayFeed({ ...state, plan: { ...plan, steps } })
    }
    const parts = ['prove tell', 'prove watch', 'prove back', 'prove off', 'hold'] as const
    expect(parts.map((part) => may('cut-off relay', part))).toEqual([true, false, true, false, true])
    expect(parts.map((part) => may('dead-man', part))).toEqual([true, true, true, true, true])
    const { state } = new MidStep(plan, 7, 'hold')
    // While a run goes off: as long as a supply is given to obey, by a clock that is believed.
    const going = (s: number, code: string | null = null, pace?: number): boolean => {
      const { off } = loopStep(loopOf(true), read_A(200)).loop.sequencer
      if (off === null) throw new Error('nothing goes off')
      const reason = code === null || off.reason === null ? null : { ...off.reason, code }
      return mayFeed({
        ...{ ...state, phase: 'making off', outputs_proved: true, t_us: off.since_us + Math.round(s * 1e6) },
        ...{ plan: pace === undefined ? plan : { ...plan, pace }, off: { ...off, reason } },
      })
    }
    expect([going(obeysWithin_s - 0.001), going(obeysWithin_s)]).toEqual([true, false])
    expect([going(0), going(0, 'over-ceiling'), going(0, 'invariant')]).toEqual([true, true, false])
    expect([4 * obeysWithin_s - 0.001, 4 * obeysWithin_s].map((s) => going(s, null, 4))).toEqual([
      true,
      false,
    ])
    expect([feeds(state, false), feeds(state, false, true)]).toEqual([true, true])
  })
})
