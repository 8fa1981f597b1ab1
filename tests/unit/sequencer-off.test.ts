import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { type Command, type EventBody, step } from '../../src/sequencer/index.js'
import { draftOf } from '../../src/sequencer/draft.js'
import { makeOff, offHears } from '../../src/sequencer/off.js'
import type { ChannelState, Off } from '../../src/sequencer/state.js'
import { amps, MidStep, tick, volts } from '../helpers/mid-step.js'
import { byHand, smallPlan } from '../helpers/small-plan.js'

/* A run on its way off: when OFF is given, what its rails count as meanwhile, what is said, and how it ends. */

const holds = 7
const stop = (how: 'off now' | 'run down'): EventBody => ({ kind: 'stop', how, by: 'a test' })
const run = (plan: Plan = smallPlan()): MidStep => new MidStep(plan, holds, 'hold').justBegun()
const fired: EventBody = { kind: 'protection', channel: 'ht.1', which: 'over-current' }

describe('OFF', () => {
  /** Channels that it was given for in the moment in which each of these was heard. */
  const given = (...bodies: readonly EventBody[]): string[][] => {
    let { state } = run()
    return bodies.map((body, i) => {
      const told: string[] = []
      const event = { ...body, t_us: state.t_us + i * 1e5 }
      const next = step(state, event, (channels) => told.push(channels.join()))
      // What is told there stands among the commands, too.
      const commands = next.commands.flatMap((each) =>
        each.kind === 'urgent off' ? [each.channels.join()] : [],
      )
      expect(told.filter((each) => !commands.includes(each))).toEqual([])
      state = next.state
      return told
    })
  }

  it('is given in the moment of a stop or of a broken rule, once', () => {
    expect(given(stop('off now'), tick, tick)).toEqual([['ht.1'], [], []])
    expect(given(fired, tick, tick)).toEqual([['ht.1'], [], []])
  })

  it('is given where a run-down is made urgent, by a person or by what is read meanwhile', () => {
    expect(given(stop('run down'), stop('off now'), stop('off now'))).toEqual([[], ['ht.1'], []])
    expect(given(stop('run down'), fired)).toEqual([[], ['ht.1']])
  })

  it('drops what was on its way to an output: that set-point will not come', () => {
    const going = run()
    const { channels } = going.state
    going.state = {
      ...going.state,
      channels: { ...channels, 'ht.1': { ...channels['ht.1']!, setting: 260 } },
      pending: { 1: { channel: 'ht.1', request: { do: 'set', volts: 260 }, t_us: going.state.t_us } },
    }
    going.hear(0.1, stop('off now'))
    expect(going.state.channels['ht.1']?.setting).toBeNull()
    expect(Object.values(going.state.pending).map(({ request }) => request.do)).not.toContain('set')
  })
})

describe('when it begins', () => {
  const watched = smallPlan((plan) => ({
    ...byHand('LT')(plan),
    rails: {
      ...byHand('LT')(plan).rails,
      HT: { ...plan.rails['HT']!, class: 'watched', channels: [], volts_meter: 'HT V' },
    },
  }))
  const begun = (plan: Plan, change: (going: MidStep) => MidStep = (going) => going) =>
    change(run(plan)).hear(0.1, stop('off now')).state.off!

  it('it knows what was read last of every output and rail, and what each rail drew', () => {
    const off = begun(smallPlan())
    expect(off).toMatchObject({
      ...{ how: 'urgent', live: 'yes', ht_was_up: true, calls_hands: true, asks: true },
      outputs: { 'ht.1': 'on', 'bias.1': 'on', 'lt.1': 'on' },
      amps: { HT: 0.05, BIAS: 0.01, LT: 4 },
    })
    expect([off.rails['HT']?.V?.value, off.rails['LT']?.V?.value]).toEqual([250, 12])
    const unread = begun(smallPlan(), (going) => going.rail('HT', { V: null, A: null }))
    expect([unread.rails['HT']?.V ?? null, 'HT' in unread.amps]).toEqual([null, false])
  })

  it('a knob that was up is up; one a person never turned is down, one that a meter watches is not known', () => {
    const down = (going: MidStep) => going.rail('LT', { energised: false }).rail('HT', { energised: false })
    expect(begun(watched).knobs).toEqual({ LT: 'up', HT: 'up' })
    expect(begun(watched, down).knobs).toEqual({ LT: 'down', HT: 'unknown' })
  })

  it('the hands of a person are called for where something broke, not at the end of a run that did as planned', () => {
    const complete = run(smallPlan(byHand('HT')))
    complete.state = { ...complete.state, step: 8 }
    complete.hear(0.1, tick)
    expect(complete.state.off?.calls_hands).toBe(false)
    expect(complete.commands.filter(({ kind }) => kind === 'alarm')).toEqual([])
  })

  it('outputs are told first and the words come after, in a run-down too', () => {
    const { commands } = run().hear(0.1, stop('run down'))
    expect(commands[0]).toMatchObject({ kind: 'line', channel: 'ht.1', do: 'off' })
    const words = commands.findIndex(({ kind }) => kind === 'record')
    expect(commands.slice(words).filter(({ kind }) => kind === 'line' || kind === 'urgent off')).toEqual([])
  })

  it('what a person may stop for comes down in order, also where nobody answered', () => {
    const going = run()
    const ask = {
      text: 'Go on?',
      wants: { kind: 'confirm' as const },
      timeout_s: 0,
      inside: false,
      about: 'a test',
    }
    const { t_us } = going.state
    going.state = {
      ...going.state,
      prompt: {
        ...{ id: 9, purpose: { kind: 'step' }, ask, low: null, high: null, unit: '', text: ask.text },
        ...{ opened_us: t_us - 600e6, until_us: t_us, tries: 0 },
      },
    }
    going.hear(0, tick)
    expect(going.state.off).toMatchObject({
      how: 'run down',
      outcome: 'stopped',
      reason: { code: 'prompt-timeout' },
    })
  })

  it('a second stop of the same kind changes nothing', () => {
    const going = run().hear(0.1, stop('run down')).hear(0.1, stop('run down'))
    expect(going.state.off?.how).toBe('run down')
    expect(going.state.warnings).toEqual([])
  })
})

describe('the first reason', () => {
  it('stays, and what breaks on the way is a warning', () => {
    const going = run().hear(0.1, stop('off now')).hear(0.1, fired)
    expect(going.reason?.code).toBe('operator')
    expect(going.state.warnings.join()).toMatch(/^While going off: The supply's own over-current protection/)
  })

  it('of a run that is complete is the one that breaks while it comes down', () => {
    const complete = run()
    complete.state = { ...complete.state, step: complete.state.plan.steps.length }
    complete.hear(0.1, tick)
    expect(complete.state.off).toMatchObject({ how: 'run down', outcome: 'completed', reason: null })
    complete.hear(0.1, fired)
    expect(complete.state.off).toMatchObject({
      how: 'urgent',
      outcome: 'tripped',
      reason: { code: 'protection' },
    })
    expect(complete.state.warnings).toEqual([])
    expect(complete.commands).toContainEqual(
      expect.objectContaining({
        entry: expect.objectContaining({
          what: 'trip',
          rail: 'HT',
          data: expect.objectContaining({ how: 'urgent' }) as object,
        }) as object,
      }),
    )
    complete.hear(0.1, { kind: 'output', channel: 'ht.1', on: false })
    expect(complete.reason?.code).toBe('protection')
  })
})

describe('a rail that goes off', () => {
  /** HT read back as off and at so many volts, for so long. */
  const reads = (going: MidStep, V: number, A: number, for_s: number): MidStep => {
    for (let t_s = 0; t_s < for_s; t_s += 0.2)
      going.hear(0.2, { kind: 'output', channel: 'ht.1', on: false }, volts('ht.1', V), amps('ht.1', A), tick)
    return going
  }
  const HT = (going: MidStep) => ({
    energised: going.state.rails['HT']?.energised,
    set_V: going.state.rails['HT']?.set_V,
  })

  it('counts as on until it is confirmed off, and as on again where that is taken back', () => {
    const going = run().hear(0.1, stop('off now'))
    expect(HT(going)).toEqual({ energised: true, set_V: 250 })
    reads(going, 200, 0, 0.4)
    expect(HT(going)).toEqual({ energised: true, set_V: 250 })
    reads(going, 1, 0, 3)
    expect(going.state.off?.confirmed['HT']).not.toBeNull()
    expect(HT(going)).toEqual({ energised: false, set_V: 0 })
    reads(going, 250, 0.05, 2)
    expect(going.state.off?.confirmed['HT']).toBeNull()
    expect(HT(going).energised).toBe(true)
  })

  it('is not told OFF twice at a time, but again where ten seconds brought no answer', () => {
    const told = (channel: string, what: 'off' | 'zero', ago_s: number): [number, string[]] => {
      const going = run()
      const t_us = going.state.t_us - ago_s * 1e6
      going.state = { ...going.state, pending: { 900: { channel, request: { do: what }, t_us } } }
      going.hear(0, stop('run down'))
      const offs = going.commands.filter(
        (each) => each.kind === 'line' && each.do === 'off' && each.channel === 'ht.1',
      )
      return [offs.length, Object.keys(going.state.pending).filter((id) => id === '900')]
    }
    expect(told('ht.1', 'off', 9.9)).toEqual([0, ['900']])
    expect(told('ht.1', 'off', 10)).toEqual([1, []])
    expect([told('ht.1', 'zero', 1), told('lt.1', 'off', 1)]).toEqual([
      [1, ['900']],
      [1, ['900']],
    ])
  })

  it('is told again without a word lost of what others were asked', () => {
    const going = run()
    const t_us = going.state.t_us - 11e6
    const pending: typeof going.state.pending = {
      900: { channel: 'ht.1', request: { do: 'off' }, t_us },
      901: { channel: 'lt.1', request: { do: 'limits', limit_A: 5, over_voltage_V: null }, t_us },
    }
    going.state = { ...going.state, pending }
    going.hear(0, stop('run down'))
    expect(going.state.pending[901]).toEqual(pending[901])
    expect(going.state.pending[900]).toBeUndefined()
  })

  it('has what its output was last read back as, and an output that nobody could read stays as it was', () => {
    const going = run().hear(0.1, stop('off now'))
    const reads = (output: ChannelState['output']): string | undefined => {
      const { channels } = going.state
      going.state = { ...going.state, channels: { ...channels, 'ht.1': { ...channels['ht.1']!, output } } }
      return going.hear(0.1, tick).state.off?.outputs['ht.1']
    }
    expect([reads('on'), reads('unknown')]).toEqual(['on', 'on'])
    expect([reads('off'), reads('unknown'), reads('on')]).toEqual(['off', 'off', 'on'])
  })
})

describe('the end', () => {
  const result = (outputs_off: 'confirmed' | 'not confirmed') => ({
    ...{ outputs_off, rails: {}, hand_rails: {}, bias_released_by: null },
  })
  /** All is decided, and the last supply's dead-man had its time to rest. */
  const ended = (outputs_off: 'confirmed' | 'not confirmed'): MidStep => {
    const going = run().hear(0.1, stop('off now'))
    const off: Off = {
      ...going.state.off!,
      rests: { result: result(outputs_off), since_us: going.state.t_us - 60e6 },
    }
    const channels = Object.entries(going.state.channels).map(([name, known]): [string, ChannelState] => [
      name,
      { ...known, output: outputs_off === 'confirmed' ? 'off' : known.output },
    ])
    going.state = { ...going.state, off, done: [0, 1, 2], channels: Object.fromEntries(channels) }
    return going.hear(0.1, tick)
  }
  const last = (going: MidStep): string =>
    going.commands
      .flatMap((each) => (each.kind === 'record' && each.entry.what === 'ending' ? [each.entry.text] : []))
      .join()

  it('says in the record whether every output was confirmed off', () => {
    expect(last(ended('confirmed'))).toBe('stopped; outputs confirmed off.')
    expect(last(ended('not confirmed'))).toBe('stopped; outputs NOT confirmed off.')
  })

  it('tells how it came out and why, and takes nothing after that', () => {
    const over = ended('not confirmed')
    expect(over.state.phase).toBe('ended')
    expect(over.commands.at(-1)).toMatchObject({
      kind: 'end',
      ending: {
        ...{ outcome: 'stopped', outputs_off: 'not confirmed', steps_done: 3, ever_energised: true },
        reason: { code: 'operator' },
      },
    })
    const { state, commands } = over
    over.hear(1, fired, stop('off now'), tick)
    expect(over.state).toBe(state)
    expect(over.commands).toBe(commands)
    expect(over.commands.length).toBe(commands.length)
  })

  it('waits for the supplies whose dead-men are being put to rest', () => {
    const going = run().hear(0.1, stop('off now'))
    const { t_us } = going.state
    going.state = {
      ...going.state,
      off: { ...going.state.off!, rests: { result: result('not confirmed'), since_us: t_us } },
      pending: { 900: { channel: 'ht.1', request: { do: 'disarm' }, t_us } },
    }
    expect(going.hear(0.1, tick).state.phase).toBe('making off')
    going.hear(0.1, { kind: 'done', id: 900 }, tick)
    expect(going.state.phase).toBe('ended')
  })

  it('is the end: what is heard or found wrong in the same moment ends it no second time', () => {
    const { state } = ended('confirmed')
    const d = draftOf(state, () => undefined)
    offHears(d, { ...tick, t_us: state.t_us })
    const text = 'a rule that broke in the same moment'
    makeOff(d, 'urgent', 'tripped', { ...state.off!.reason!, code: 'over-trip', text })
    expect([d.out, d.s.warnings, d.s.off]).toEqual([[], state.warnings, state.off])
  })

  it('says which limits of its plan were stated by hand', () => {
    const by_hand = [{ rail: 'HT', trip_A: 0.1, text: 'HT trips at 100 mA, by hand.' }]
    const going = run(smallPlan((plan) => ({ ...plan, by_hand }))).hear(0.1, stop('off now'))
    const rests = { result: result('not confirmed'), since_us: going.state.t_us - 60e6 }
    going.state = { ...going.state, off: { ...going.state.off!, rests } }
    expect(going.hear(0.1, tick).commands.at(-1)).toMatchObject({
      ending: { by_hand: ['HT trips at 100 mA, by hand.'] },
    })
    expect(ended('confirmed').commands.at(-1)).not.toHaveProperty('ending.by_hand')
  })

  it('is not come to where an output reads as on again meanwhile: nothing was confirmed then', () => {
    const going = run().hear(0.1, stop('off now'))
    const off: Off = {
      ...going.state.off!,
      rests: { result: result('confirmed'), since_us: going.state.t_us },
    }
    going.state = { ...going.state, off }
    going.hear(0.1, { kind: 'output', channel: 'ht.1', on: true })
    expect(going.state).toMatchObject({ phase: 'making off', off: { rests: null, result: null } })
    const others = run().hear(0.1, stop('off now'))
    const { channels } = others.state
    const off_ = (name: string) => ({ [name]: { ...channels[name]!, output: 'off' as const } })
    others.state = { ...others.state, off, channels: { ...channels, ...off_('lt.1'), ...off_('bias.1') } }
    expect(others.hear(0.1, { kind: 'output', channel: 'ht.1', on: true }).state.off?.rests).toBeNull()
  })
})

describe('a knob that nobody said is down', () => {
  /** Asked for it while the run goes off, and no answer came. */
  const ranOut = (
    rail: 'HT' | 'LT',
    over: Partial<Off> = {},
  ): { going: MidStep; alarms: readonly Command[] } => {
    const going = run(smallPlan(byHand('HT', 'LT')))
      .hear(0.1, stop('off now'))
      .hear(0.1, tick)
    const prompt = going.state.prompt!
    expect(prompt.purpose).toEqual({ kind: 'hand off', rail: 'HT' })
    going.state = {
      ...going.state,
      prompt: { ...prompt, purpose: { kind: 'hand off', rail } },
      off: { ...going.state.off!, ...over },
    }
    const from = going.commands.length
    going.hear(599, tick)
    expect(going.state.prompt).not.toBeNull()
    going.hear(1.2, tick)
    const said = going.commands.slice(from).filter((each) => each.kind === 'alarm')
    return { going, alarms: said.filter(({ text }) => text.includes('was not confirmed off by you')) }
  }

  it('is taken as up, after the ten minutes that a person is given', () => {
    const { going, alarms } = ranOut('LT')
    expect(alarms).toEqual([
      {
        kind: 'alarm',
        text: 'LT was not confirmed off by you in 10 min: take it as on. Measure before touching.',
      },
    ])
    expect(going.state.rails['LT']?.energised).toBe(true)
    expect(going.state.off?.hand['LT']).toBe('not confirmed by you')
  })

  it('is so from the moment in which its question runs out, and the record names the rail', () => {
    const going = run(smallPlan(byHand('HT', 'LT')))
      .hear(0.1, stop('off now'))
      .hear(0.1, tick)
    const { id, until_us } = going.state.prompt!
    going.hear((until_us - 1 - going.state.t_us) / 1e6, tick)
    expect(going.state.prompt?.id).toBe(id)
    const from = going.commands.length
    going.hear(1e-6, tick)
    expect(going.state.off?.hand['HT']).toBe('not confirmed by you')
    const since = going.commands.slice(from)
    expect(since).toContainEqual({ kind: 'prompt closed', prompt: id, why: 'ran out' })
    const alarm = {
      what: 'alarm',
      rail: 'HT',
      text: expect.stringContaining('was not confirmed off') as string,
    }
    expect(since).toContainEqual({ kind: 'record', entry: expect.objectContaining(alarm) as unknown })
  })

  it('is not asked about any more by a run that is told a second time to go: that alone is said', () => {
    const going = run(smallPlan(byHand('HT', 'LT')))
      .hear(0.1, stop('off now'))
      .hear(0.1, tick)
    const { warnings } = going.state
    const from = going.commands.length
    going.hear(0.1, { kind: 'stop', how: 'off now', by: 'SIGTERM' })
    expect(going.state).toMatchObject({ prompt: null, warnings })
    const said = going.commands.slice(from).filter(({ kind }) => kind === 'alarm')
    expect(said).toMatchObject([
      { text: expect.stringContaining('HT, LT not confirmed off by you') as string },
    ])
  })

  it('keeps the bias where HT hangs on it, and that is said with what goes first', () => {
    expect(ranOut('HT').alarms[0]).toMatchObject({
      text: expect.stringContaining('BIAS stays on: take HT down first, the bias last.') as string,
    })
  })

  it('keeps no bias that some rule let go already', () => {
    const { alarms } = ranOut('HT', { bias_released_by: 'below 60 V' })
    expect(alarms).toHaveLength(1)
    expect(alarms[0]).not.toMatchObject({ text: expect.stringContaining('stays on') as string })
  })
})
