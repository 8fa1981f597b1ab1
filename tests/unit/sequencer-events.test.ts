import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { begin, type Command, type EventBody, step } from '../../src/sequencer/index.js'
import type { State } from '../../src/sequencer/state.js'
import { amps, MidStep, shown, tick, volts } from '../helpers/mid-step.js'
import { byHand, smallPlan } from '../helpers/small-plan.js'

/* What is made of each thing that is heard: the reason by its code, how urgent it is, and what is told first. */

const [heaters, holds] = [3, 7]
const run = (more: Partial<State> = {}): MidStep => new MidStep(smallPlan(), holds, 'hold', more).justBegun()
const text = 'invented for this test'

describe('a run', () => {
  it('goes off by what cannot be trusted any more, each by its own code', () => {
    const heard: readonly (readonly [EventBody, string, string])[] = [
      [{ kind: 'recorder lost', text }, 'recorder-lost', `The record is not being kept: ${text}`],
      [{ kind: 'parent lost', text }, 'parent-lost', text],
      [{ kind: 'off unfounded' }, 'invariant', 'a fault of slowglow'],
      [{ kind: 'line lost', port: 'ht', text }, 'line-lost', 'Invented for this test'],
      [{ kind: 'tick', late_us: 0, slept_us: 600_000 }, 'slept', 'slept for 0.6 s'],
    ]
    for (const [body, code, says] of heard) {
      const going = run().hear(0.1, body)
      expect(going.state.off).toMatchObject({ how: 'urgent', outcome: 'failed', reason: { code } })
      expect(going.reason?.text).toContain(says)
    }
  })

  it('sleeps by more than the time that the plan states, and is told how long', () => {
    expect(run().hear(0.1, { kind: 'tick', late_us: 0, slept_us: 500_000 }).reason).toBeNull()
    const plan = smallPlan((small) => ({
      ...small,
      rules: small.rules.map((rule) => (rule.code === 'slept' ? { ...rule, trip: 5 } : rule)),
    }))
    const short = new MidStep(plan, holds, 'hold').justBegun()
    expect(short.hear(0.1, { kind: 'tick', late_us: 0, slept_us: 4.9e6 }).reason).toBeNull()
    const { reason } = run().hear(0.1, { kind: 'tick', late_us: 0, slept_us: 3e6 })
    expect(reason).toMatchObject({ code: 'slept', measured: 3, unit: 's' })
  })

  it('does not go on by a clock that runs backwards', () => {
    const before = run().state
    const { state } = step(before, { ...tick, t_us: before.t_us - 1 })
    expect(state.off?.reason).toMatchObject({ code: 'invariant', text: 'Time ran backwards.' })
    expect(state.t_us).toBe(before.t_us)
    expect(step(before, { ...tick, t_us: before.t_us }).state.off).toBeNull()
  })

  it('that is stopped comes down in order, or at once where that is said', () => {
    const stopped = (how: 'off now' | 'run down') =>
      run().hear(0.1, { kind: 'stop', how, by: 'a hand' }).state.off
    expect(stopped('run down')).toMatchObject({ how: 'run down', outcome: 'stopped' })
    expect(stopped('off now')).toMatchObject({ how: 'urgent', outcome: 'stopped' })
    expect(stopped('off now')?.reason).toEqual({
      ...{ code: 'operator', rail: null, step: 8, measured: null, limit: null, unit: '' },
      text: 'Outputs off now, by a hand.',
    })
  })

  it('waits for its own intent in the record, and for no other', () => {
    const waits = (id: number): boolean | undefined =>
      run({ intent: { id: 4, recorded: false } }).hear(0, { kind: 'recorded', intent: id }).state.intent
        ?.recorded
    expect([waits(4), waits(3)]).toEqual([true, false])
  })

  it('takes what a supply says of its regulation for the output that it is about', () => {
    const said = run().hear(0, { kind: 'regulation', channel: 'bias.1', mode: 'current' }).state.channels
    expect([said['bias.1']?.regulation, said['lt.1']?.regulation]).toEqual(['current', 'voltage'])
  })
})

describe('a meter on a line', () => {
  const near = smallPlan()
  const watched = smallPlan((plan) => ({
    ...plan,
    rails: {
      ...plan.rails,
      HT: { ...plan.rails['HT']!, class: 'watched', channels: [], volts_meter: 'HT V', amps_meter: 'HT A' },
    },
    meters: {
      ...plan.meters,
      'HT V': { ...near.meters['grid meter']!, name: 'HT V', port: 'HT V' },
      'HT A': { ...near.meters['grid meter']!, name: 'HT A', port: 'HT A', measures: 'A', resolution: 0.001 },
    },
  }))
  const reads = (plan: Plan, meter: string, value: number): MidStep =>
    new MidStep(plan, holds, 'hold').justBegun().again(4, 0.2, shown(meter, value))

  it('at the grids tells bias that is too low, while the run runs', () => {
    expect(reads(near, 'grid meter', -29).reason).toMatchObject({ code: 'bias-low', rail: 'BIAS', unit: 'V' })
    expect(reads(near, 'grid meter', -31).reason).toBeNull()
    const off = run().hear(0.1, { kind: 'stop', how: 'off now', by: 'a hand' })
    for (let i = 0; i < 4; i++) off.hear(0.2, shown('grid meter', -5))
    expect(off.state.warnings).toEqual([])
  })

  it('of a rail on a knob is judged as its volts or as its current, as it measures', () => {
    expect(reads(watched, 'HT V', 290).reason).toMatchObject({ code: 'over-ceiling', rail: 'HT', unit: 'V' })
    expect(reads(watched, 'HT A', 0.2).reason).toMatchObject({ code: 'over-ceiling', rail: 'HT', unit: 'A' })
    expect([reads(watched, 'HT V', 251).reason, reads(watched, 'HT A', 0.051).reason]).toEqual([null, null])
  })
})

it('HT that draws too much at the moment in which its bias reads low is told as bias that was lost', () => {
  const going = run().hear(0.1, shown('grid meter', -20), amps('ht.1', 0.5))
  expect(going.reason).toMatchObject({ code: 'bias-low', rail: 'BIAS' })
  expect(going.reason?.text).toContain('HT drew 500 mA at the same moment')
})

it('what was wrong on a line is kept by its port, the last of it', () => {
  const wrong = (fault: 'echo' | 'line_noise', text: string): EventBody => ({
    kind: 'line trouble',
    port: 'ht',
    fault,
    text,
  })
  const going = run().hear(0.1, wrong('echo', 'first')).hear(0.1, wrong('line_noise', 'second'))
  expect(going.state.line_troubles).toEqual({
    ht: { fault: 'line_noise', text: 'second', t_us: going.state.t_us },
  })
})

describe('OFF', () => {
  const kinds = (commands: readonly Command[]): string[] =>
    commands.flatMap((each) =>
      each.kind === 'record' ? [each.entry.what] : each.kind === 'prompt' ? [] : [each.kind],
    )

  it('goes out before its reason is told or kept, and the reason is kept with its figures', () => {
    const going = run().hear(0.1, amps('ht.1', 0.5))
    expect(kinds(going.commands).slice(0, 2)).toEqual(['urgent off', 'trip'])
    expect(going.commands[1]).toMatchObject({
      entry: { rail: 'HT', data: { code: 'over-ceiling', measured: 0.5, unit: 'A', how: 'urgent' } },
    })
    expect(going.reason?.text).toContain('Next: measure before touching')
  })

  it('of a run that did all its steps is no trip, and its reason is none', () => {
    const going = run()
    going.state = { ...going.state, step: 8 }
    going.hear(0.1, tick)
    const words = going.commands.flatMap((each) => (each.kind === 'record' ? [each.entry] : []))
    expect(words[0]).toMatchObject({ what: 'off', rail: null, data: { how: 'run down' } })
    expect(words[0]?.text).toBe('All steps are done: running down.')
  })

  it('closes the question that is open: nobody answers it any more', () => {
    const going = run()
    const ask = { text, wants: { kind: 'confirm' as const }, timeout_s: 0, inside: false, about: 'a test' }
    going.state = {
      ...going.state,
      prompt: {
        ...{ id: 9, purpose: { kind: 'step' }, ask, low: null, high: null, unit: '', text },
        ...{ opened_us: 0, until_us: 1e12, tries: 0 },
      },
    }
    going.hear(0.1, { kind: 'stop', how: 'off now', by: 'a hand' })
    expect(going.state.prompt).toBeNull()
    expect(going.commands).toContainEqual({ kind: 'prompt closed', prompt: 9, why: 'the run is going off' })
  })

  it('asks for the hands of whoever is there for a knob that is up, and for none that never was', () => {
    const alarms = (energised: boolean): string[] => {
      const going = new MidStep(smallPlan(byHand('HT')), holds, 'hold').justBegun().rail('HT', { energised })
      going.hear(0.1, { kind: 'output', channel: 'lt.1', on: false })
      return going.commands.flatMap((each) => (each.kind === 'alarm' ? [each.turn_down ?? 'no knob'] : []))
    }
    expect([alarms(true), alarms(false)]).toEqual([['HT'], []])
  })
})

describe('a second signal', () => {
  const asked = (): MidStep =>
    new MidStep(smallPlan(byHand('HT')), holds, 'hold')
      .justBegun()
      .hear(0.1, { kind: 'stop', how: 'off now', by: 'SIGTERM' })
      .hear(0.1, tick)
  const told = (how: 'off now' | 'run down', by: string) => {
    const going = asked()
    expect(going.state.prompt?.purpose.kind).toBe('hand off')
    const from = going.commands.length
    going.hear(0.1, { kind: 'stop', how, by })
    const alarms = going.commands.slice(from).flatMap((each) => (each.kind === 'alarm' ? [each.text] : []))
    return { open: going.state.prompt !== null, hand: going.state.off?.hand['HT'], alarms }
  }

  it('ends the question for a knob: that rail is taken as up, and said so', () => {
    const { open, hand, alarms } = told('off now', 'SIGTERM')
    expect([open, hand]).toEqual([false, 'not confirmed by you'])
    expect(alarms).toEqual([
      expect.stringMatching(/^HT not confirmed off by you, and no longer asked for \(SIGTERM\)/),
    ])
  })

  it('is no other stop: the question stays', () => {
    for (const [how, by] of [
      ['off now', 'a page'],
      ['run down', 'SIGTERM'],
    ] as const)
      expect(told(how, by)).toEqual({ open: true, hand: undefined, alarms: [] })
  })

  it('that finds no question gives nothing up', () => {
    const going = run().hear(0.1, { kind: 'stop', how: 'off now', by: 'SIGTERM' })
    going.hear(0.1, { kind: 'stop', how: 'off now', by: 'SIGTERM' })
    expect(going.commands.filter(({ kind }) => kind === 'alarm')).toEqual([])
  })
})

describe('HT', () => {
  const wasUp = (rail: 'HT' | 'LT', value: number): boolean =>
    new MidStep(smallPlan(), heaters, 'hold', { ht_was_up: false }).hear(
      0,
      volts(rail === 'HT' ? 'ht.1' : 'lt.1', value),
    ).state.ht_was_up

  it('was up once more than may be touched was read of it, whatever it was set to', () => {
    expect([wasUp('HT', 61), wasUp('HT', 60), wasUp('LT', 61)]).toEqual([true, false, false])
  })
})

describe('before a run', () => {
  const waiting = (...bodies: readonly EventBody[]) => {
    let state = begin(smallPlan())
    const commands: Command[] = []
    for (const body of bodies) {
      const next = step(state, { ...body, t_us: state.t_us + 1e6 })
      state = next.state
      commands.push(...next.commands)
    }
    return { state, commands }
  }
  const begins = (channel: 'terminal' | 'page' | 'rehearsal'): EventBody => ({
    ...{ kind: 'begin', word: 'kettle', channel, hooked_up_as_in: null },
  })

  it('an output that is on already is put off with all others, and there is no run', () => {
    const { state } = waiting({ kind: 'output', channel: 'ht.1', on: true })
    expect(state).toMatchObject({ phase: 'making off', found_on: ['ht.1'], ht_was_up: true })
    expect(state.off).toMatchObject({
      live: 'yes',
      outcome: 'failed',
      reason: { code: 'read-back', rail: 'HT' },
    })
    const lt = waiting({ kind: 'output', channel: 'lt.1', on: true }).state
    expect(lt).toMatchObject({ phase: 'making off', ht_was_up: false })
  })

  it('a line that is lost ends it, and nothing counts as live', () => {
    const { state } = waiting({ kind: 'line lost', port: 'ht', text })
    expect(state.off).toMatchObject({ live: 'no', outcome: 'failed', reason: { code: 'line-lost' } })
  })

  it('begins once, with the word that was typed in the record; in a rehearsal nobody did', () => {
    const { state, commands } = waiting(begins('terminal'), tick, begins('terminal'))
    expect(state).toMatchObject({ phase: 'running', begun_us: 1e6 })
    const begun = commands.flatMap((each) =>
      each.kind === 'record' && each.entry.what === 'begin' ? [each.entry] : [],
    )
    expect(begun).toMatchObject([
      {
        text: 'Cautions acknowledged by typing "kettle" (terminal).',
        data: { word: 'kettle', channel: 'terminal' },
      },
    ])
    const rehearsed = waiting(begins('rehearsal')).commands
    expect(rehearsed).toMatchObject([
      { entry: { text: expect.stringContaining('A rehearsal') as string } },
      {},
    ])
  })

  it('forgets at its begin what the terminals showed before', () => {
    const { state } = waiting(volts('ht.1', 0), begins('terminal'))
    expect(state.channels['ht.1']).toMatchObject({ nothing: { V: 0, A: 0 }, lowest: null, V: { value: 0 } })
    expect(waiting(begins('terminal'), volts('ht.1', 0)).state.channels['ht.1']?.nothing).toEqual({
      V: 1,
      A: 0,
    })
  })
})
