import { describe, expect, it } from 'vitest'
import { lineConfigOf, lineHear, lineStep, lineWakeAt, type LineConfig } from '../../src/line/index.js'
import { HandLine } from '../helpers/hand-line.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/*
 * When a line is to be woken: nothing else wakes it, so a time that is missed is an OFF that is not said, or a question not asked.
 * These lines are woken at the times they name, and at no others.
 */

const network = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true } as const
const supply = supplyOf(fullDialect, { plate: channelOf(1), bias: channelOf(2) }, { line: network })
const config = lineConfigOf('BENCH', supply)
const opened = (change: Partial<LineConfig> = {}): HandLine => new HandLine({ ...config, ...change }).open()

/** Between rounds of readings that are ten seconds apart: nothing is to be asked for a while. */
function resting(change: Partial<LineConfig> = {}): HandLine {
  const line = opened({ poll_us: 10_000_000, ...change })
  return line.until('a rest', () => line.state.flight === null && (lineWakeAt(line.state) ?? 0) > line.t_us)
}
const off = (line: HandLine, ...channels: readonly string[]): HandLine =>
  line.give({ kind: 'urgent off', channels })

describe('a line at rest', () => {
  it('wants to be woken for its next round of readings', () => {
    const line = resting()
    expect(lineWakeAt(line.state)).toBe(line.state.round_us + 10_000_000)
  })

  it('is woken at once where it was paced faster meanwhile, and never for a time gone by', () => {
    const line = resting().give({ kind: 'pace', poll_us: 0 })
    line.pass(1_000_000)
    expect(lineWakeAt(line.state)).toBeGreaterThanOrEqual(line.t_us)
    const late = { ...resting().state, t_us: 60_000_000 }
    expect(lineWakeAt(late)).toBe(60_000_000)
  })

  it('wants nothing where it was never opened', () => {
    expect(lineWakeAt(new HandLine(config).state)).toBeNull()
  })

  it('takes a request that was heard and not gone on with as due at once', () => {
    const line = resting()
    const heard = lineHear(line.state, {
      kind: 'request',
      t_us: line.t_us,
      id: 1,
      channel: 'BENCH.plate',
      do: 'set',
      volts: 10,
    })
    expect(heard.outputs).toEqual([])
    expect(lineWakeAt(heard.state)).toBe(line.t_us)
    // Whoever holds the state of before still has it.
    expect(line.state.waiting).toEqual([])
  })

  it('takes a time that lies before the latest seen as that one', () => {
    const line = resting()
    const before = lineStep(line.state, { kind: 'time', t_us: line.t_us - 50_000 })
    expect([before.state.t_us, before.outputs]).toEqual([line.t_us, []])
  })
})

describe('a command that a supply is slow to do', () => {
  it('is read back once it is done, and does not wait for the next round of readings', () => {
    const dialect = { ...fullDialect, slow_s: { on: 1.5 } }
    const line = resting({ dialect })
    line.ask('BENCH.plate', { do: 'limits', limit_A: 0.1, over_voltage_V: 120 })
    line.ask('BENCH.plate', { do: 'set', volts: 10 })
    const id = line.request('BENCH.plate', { do: 'on' })
    line.until('ON', () => line.written(':OUTP ON').length > 0)
    const on_us = line.t_us
    line.afresh().until('its outcome', () => line.came(id) !== undefined)
    expect(line.written('NSEL 1;:OUTP?')[0]?.t_us).toBe(on_us + 1_500_000)
  })

  it('holds back a request that came meanwhile no longer than that', () => {
    const line = resting({ dialect: { ...fullDialect, slow_s: { set_volts: 0.5 } } })
    line.request('BENCH.plate', { do: 'set', volts: 10 })
    const from_us = line.t_us
    line.request('BENCH.bias', { do: 'set', volts: 20 })
    line.until('the second', () => line.written(':VOLT 20').length > 0)
    // And the 10 ms in which the first is read back.
    expect(line.t_us - from_us).toBe(510_000)
  })
})

describe('an OFF that is owed', () => {
  it('is asked after at once by a line that would rest, also where only one of two outputs obeys', () => {
    for (const stuck of ['NSEL 1', 'NSEL 2']) {
      const line = resting()
      line.answer = (_, asked) => (asked.includes(':OUTP?') && asked.includes(stuck) ? '1' : undefined)
      off(line.afresh(), 'BENCH.plate', 'BENCH.bias')
      const from_us = line.t_us
      line.until('five more OFFs', () => line.written('OUTP OFF').length >= 8)
      const again = line.written('OUTP OFF').slice(-4)
      expect(again.every(({ text }) => text.includes(stuck))).toBe(true)
      // A quarter of a second apart, and a question that is under way before it.
      expect(line.t_us - from_us).toBeLessThan(150_000 + 5 * (250_000 + 20_000))
    }
  })

  it('is asked after as soon as a supply that is slow to switch off had its time for every OFF it was sent', () => {
    const line = resting({ dialect: { ...fullDialect, slow_s: { off: 0.3 } } })
    const from_us = line.t_us
    off(line.afresh(), 'BENCH.plate').until('who is there', () => line.written('*IDN?').length > 0)
    // The burst is over after 0.15 s: firmware-protocol, section 7, as is the rest.
    expect(line.t_us - from_us).toBe(150_000 + 300_000 * line.written('OUTP OFF').length)
    // However slow it is: an OFF more before that would put the question off for ever.
    const slower = resting({ dialect: { ...fullDialect, slow_s: { off: 1 } } })
    const since_us = slower.t_us
    off(slower.afresh(), 'BENCH.plate', 'BENCH.bias').until(
      'who is there',
      () => slower.written('*IDN?').length > 0,
    )
    expect(slower.t_us - since_us).toBe(150_000 + 3 * 2 * 1_000_000)
  })

  it('leaves a supply that is slow to switch off its time also while a connection is looked at, and that goes on then', () => {
    const dialect = { ...fullDialect, slow_s: { off: 1 } }
    const line = new HandLine({ ...config, dialect }).give({ kind: 'opened' }).asked('NSEL 1;:OUTP?')
    off(line.afresh(), 'BENCH.plate').says('0')
    const from_us = line.t_us - 1000
    line.until('the next question', () => line.written('NSEL 2;:OUTP?').length > 0)
    expect(line.t_us - from_us).toBe(150_000 + 1_000_000 * line.written('OUTP OFF').length)
  })

  it('is said every quarter of a second while nobody answers and a lost line keeps silent, and on every connection', () => {
    const line = opened()
    off(line.afresh(), 'BENCH.plate')
    line.pass(3_000_000)
    expect(line.state.link === 'closed' && line.state.reopen_us !== null).toBe(true)
    for (let n = 0; n < 4; n++) line.give({ kind: 'opened' }).pass(3_000_000)
    expect(line.state.lost).toBe(true)
    line.afresh().give({ kind: 'opened' })
    const from_us = line.t_us
    line.pass(1_000_000)
    // Silence lasts a second on a line that is lost; no question is under way in it, so nothing holds OFF back.
    expect(line.written('OUTP OFF').map(({ t_us }) => t_us - from_us)).toEqual([
      0, 50_000, 150_000, 400_000, 650_000, 900_000,
    ])
  })

  it('wants no waking where there is no connection to say it on', () => {
    const line = off(opened(), 'BENCH.plate').give({ kind: 'closed', text: 'gone' })
    expect(lineWakeAt(line.state)).toBe(line.state.reopen_us)
  })

  it('is nothing once every output reads back off, or where none of this port was named', () => {
    const line = off(resting(), 'BENCH.plate', 'BENCH.bias')
    const isOff = () => line.state.channels.every(({ output }) => output === false)
    line.until('both off', isOff).until('a rest', () => line.state.flight === null)
    expect(lineWakeAt(line.state)).toBeGreaterThan(line.t_us + 5_000_000)
    const other = off(resting(), 'ELSEWHERE.plate')
    other.until('who is there was asked', () => !other.state.unproved && other.state.flight === null)
    expect(lineWakeAt(other.state)).toBeGreaterThan(other.t_us + 5_000_000)
  })
})

describe('a line that was made safe', () => {
  const safe = (): HandLine => {
    const line = off(opened(), 'BENCH.plate')
    return line.until('off', () => line.state.channels[0]?.output === false)
  }

  it('takes OFF, zero and its last words, and nothing that raises or takes the panel', () => {
    const line = safe()
    for (const body of [
      { do: 'limits', limit_A: 0.1, over_voltage_V: null },
      { do: 'set', volts: 1 },
      { do: 'on' },
      { do: 'starve', for_s: 1 },
      { do: 'panel', to: 'computer' },
    ] as const)
      expect(line.ask('BENCH.plate', body), body.do).toMatchObject({
        kind: 'failed',
        code: 'refused',
        outcome: 'not done',
        text: expect.stringContaining('made safe and only switches off until a new run') as string,
      })
    for (const body of [
      { do: 'off' },
      { do: 'zero' },
      { do: 'disarm' },
      { do: 'panel', to: 'person' },
    ] as const)
      expect(line.ask('BENCH.plate', body)?.kind, body.do).toBe('done')
  })

  it('gives the panel back in the words of its dialect', () => {
    const line = off(opened({ dialect: { ...fullDialect, local: ':SYST:LOC' } }), 'BENCH.plate')
    expect(line.ask('BENCH.plate', { do: 'panel', to: 'person' })?.kind).toBe('done')
    expect(line.written(':SYST:LOC').length).toBe(1)
  })
})

describe('a request', () => {
  it('to a channel that is not there is refused without a word on the line', () => {
    const line = resting().afresh()
    expect(line.ask('BENCH.nothing', { do: 'off' })).toEqual({
      kind: 'failed',
      id: 1,
      code: 'refused',
      outcome: 'not done',
      text: 'BENCH.nothing on port BENCH, "off": there is no such channel on this port. It was not done.',
    })
    expect(line.written()).toEqual([])
  })
})

describe('bytes that were thrown away', () => {
  const thrown = { kind: 'discarded', bytes: 3, why: 'a remnant' } as const

  it('while a question is under way are its answer, spoilt: it is asked again, not waited for', () => {
    const line = opened().asked('MEAS:VOLT?')
    line.afresh().give(thrown)
    expect(line.state.flight).toBeNull()
    expect(line.faults).toEqual({ line_noise: 1, asked_again: 1 })
    expect(line.state.kept.discarded_bytes).toBe(3)
    const asked = line.kinds('line trouble')[0]
    expect(asked).toMatchObject({ fault: 'line_noise' })
    expect(asked?.text).toContain('a remnant to ":INST:NSEL 1;:MEAS:VOLT?"')
    line.until('the question again', () => line.written('NSEL 1;:MEAS:VOLT?').length === 1)
  })

  it('while who is there is asked leave that question its answer', () => {
    const line = new HandLine(config).give({ kind: 'opened' }).asked('*IDN?')
    line.give({ ...thrown, overlong: true }).says(supply.identity ?? '')
    expect(line.state.link).toBe('opening')
    expect(line.faults).toEqual({ overlong_line: 1 })
  })

  it('while the line is to be silent begin its silence anew', () => {
    const line = new HandLine(config).give({ kind: 'opened' })
    line.pass(150_000).give(thrown)
    line.pass(199_000)
    expect(line.written('*IDN?')).toEqual([])
    line.pass(1000)
    expect(line.written('*IDN?').map(({ t_us }) => t_us)).toEqual([350_000])
  })

  it('in the silence before a question is asked again are more than that: who is there is asked first', () => {
    const line = opened().asked('MEAS:VOLT?').says('x')
    expect(line.state.quiet_then).toBe('go on')
    line.afresh().give(thrown).pass(200_000)
    expect(line.written().at(-1)?.text).toBe('*IDN?\n')
  })

  it('that nothing was asked before are only counted', () => {
    const line = resting().afresh().give(thrown)
    expect(line.faults).toEqual({ line_noise: 1 })
    expect(line.kinds('line trouble')).toEqual([])
    expect(line.state.link).toBe('ready')
  })
})
