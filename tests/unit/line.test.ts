import { describe, expect, it } from 'vitest'
import { type Dialect, offText } from '../../src/bench/index.js'
import { healthOf, lineConfigOf, lineStep, openLine, type LineConfig } from '../../src/line/index.js'
import { channelOf, fullDialect, LineWorld, supplyOf } from '../helpers/line-world.js'

const channels = {
  plate: channelOf(1),
  bias: channelOf(2, { role: 'bias', off_order: 3, max_V: 60, max_A: 0.1 }),
}
const supply = supplyOf(fullDialect, channels)

function world(change: Partial<LineConfig> = {}, ohm: Record<string, number> = {}): LineWorld {
  return new LineWorld({ ...lineConfigOf('BENCH', supply), ...change }, supply, ohm)
}
function ready(change: Partial<LineConfig> = {}, ohm: Record<string, number> = {}): LineWorld {
  const w = world(change, ohm)
  w.open()
  w.run(5_000_000, () => w.kinds('reading').length > 8)
  return w
}
function raised(volts: number, ohm: Record<string, number> = {}): LineWorld {
  const w = ready({}, ohm)
  expect(w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: volts + 20 })).toEqual({
    kind: 'done',
    id: 1,
  })
  expect(w.ask(2, 'BENCH.plate', { do: 'set', volts })).toEqual({ kind: 'done', id: 2 })
  expect(w.ask(3, 'BENCH.plate', { do: 'on' })).toEqual({ kind: 'done', id: 3 })
  return w
}

describe('a line', () => {
  it('clears the line, asks who is there and looks at every output before its first reading', () => {
    const w = ready()
    const said = w.written.map((write) => write.text)
    expect(said[0]).toBe('\n')
    const at = (text: string): number => said.findIndex((one) => one.includes(text))
    expect(at('*CLS')).toBeGreaterThan(0)
    expect(at('*IDN?')).toBeGreaterThan(at('*CLS') - 1)
    expect(at('NSEL 1;:OUTP?')).toBeGreaterThan(at('*IDN?'))
    expect(at('NSEL 2;:OUTP?')).toBeGreaterThan(at('NSEL 1;:OUTP?'))
    expect(at('MEAS')).toBeGreaterThan(at('NSEL 2;:OUTP?'))
    expect(w.device.abuses()).toEqual([])
  })

  it('sets limits, set-point and output, each read back, and the readings follow', () => {
    const w = raised(100)
    expect(w.faces['plate']).toMatchObject({
      on: true,
      set_V: 100,
      limit_A: 0.05,
      over_V: 120,
      over_V_on: true,
    })
    w.events.length = 0
    w.run(1_000_000)
    expect(w.events).toContainEqual({
      kind: 'reading',
      channel: 'BENCH.plate',
      quantity: 'V',
      value: { n: 10000, k: 2 },
    })
    expect(w.events).toContainEqual({
      kind: 'reading',
      channel: 'BENCH.plate',
      quantity: 'A',
      value: { n: 100, k: 4 },
    })
    expect(w.device.abuses()).toEqual([])
  })

  it('tells that the supply limits its current', () => {
    const w = raised(100, { plate: 100 })
    w.run(2_000_000)
    expect(w.kinds('regulation')).toContainEqual({
      kind: 'regulation',
      channel: 'BENCH.plate',
      mode: 'current',
    })
  })

  it('judges current regulation by current near the limit where the supply cannot say', () => {
    const dialect = { ...fullDialect, ask_cc: null }
    const w = new LineWorld(
      lineConfigOf('BENCH', { ...supply, dialect }),
      { ...supply, dialect },
      { plate: 100 },
    )
    w.open()
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: null })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 50 })
    w.ask(3, 'BENCH.plate', { do: 'on' })
    w.run(2_000_000)
    expect(w.kinds('regulation').at(-1)).toMatchObject({ channel: 'BENCH.plate', mode: 'current' })
    // Told before the reading that shows it, so that no reading is judged by what the one before had shown.
    const told = w.events.findIndex(({ kind }) => kind === 'regulation')
    const [before, after] = [w.events[told - 1], w.events[told + 1]]
    expect(after).toMatchObject({ kind: 'reading', channel: 'BENCH.plate', quantity: 'A' })
    expect(before).not.toMatchObject({ kind: 'reading', channel: 'BENCH.plate', quantity: 'A' })
  })

  it('switches nothing on whose set-point and limit it has not read back on this connection', () => {
    const w = ready()
    expect(w.ask(1, 'BENCH.plate', { do: 'on' })).toMatchObject({
      kind: 'failed',
      code: 'refused',
      outcome: 'not done',
    })
    expect(w.faces['plate']?.on).toBe(false)
  })

  it('finds a limit or a level that was turned at the panel, is sure of it, and lets nothing rise on it any more', () => {
    for (const turned of [{ limit_A: 0.4 }, { over_V: 250 }]) {
      const w = raised(50)
      w.run(30_000_000)
      expect(w.kinds('line lost')).toEqual([])
      Object.assign(w.faces['plate'] ?? {}, turned)
      w.run(60_000_000, () => w.kinds('line lost').length > 0)
      expect(w.kinds('line lost')).toEqual([
        expect.objectContaining({
          text: expect.stringMatching(
            /its (current limit|over-voltage level) reads back as .*, was set to .*somebody has its panel/,
          ) as string,
        }),
      ])
      expect(w.ask(9, 'BENCH.plate', { do: 'set', volts: 60 })).toMatchObject({ kind: 'failed' })
      expect(w.ask(10, 'BENCH.plate', { do: 'off' })).toEqual({ kind: 'done', id: 10 })
    }
  })

  it('never mistakes a limit of its own that came since the question was laid for a panel that was turned', () => {
    const w = raised(50)
    for (let at = 0; at < 400; at++) {
      w.run(61_000 + 1_700 * (at % 23))
      const more = at % 2 === 0 ? 0 : 0.01
      expect(
        w.ask(100 + at, 'BENCH.plate', {
          do: 'limits',
          limit_A: 0.05 + more,
          over_voltage_V: 70 + 100 * more,
        }),
      ).toEqual({ kind: 'done', id: 100 + at })
    }
    expect(w.kinds('line lost')).toEqual([])
    expect(w.written.filter(({ text }) => text.includes(':VOLT:PROT?')).length).toBeGreaterThan(402)
  })

  it('does not take one garbled digit in a limit that is asked again for a panel that was turned', () => {
    const w = raised(50)
    w.run(60_000_000, () => /NSEL 1;:CURR\?/.test(w.state.flight?.move.text ?? ''))
    expect(w.state.flight?.move).toMatchObject({ want: { is: 'setting', which: 'limit_A', check: true } })
    w.device.take(w.t_us + 1_000_000)
    w.give({ kind: 'text', t_us: w.t_us, text: '0.9500' })
    w.run(30_000_000)
    expect(w.kinds('line lost')).toEqual([])
    expect(w.ask(9, 'BENCH.plate', { do: 'set', volts: 60 })).toEqual({ kind: 'done', id: 9 })
  })

  it('asks whether a protection is on, where the supply can be asked: when it was switched on, at ON, and in its turn', () => {
    const asks: Dialect = { ...fullDialect, ask_over_volts_on: ':VOLT:PROT:STAT?' }
    const asking = { ...supply, dialect: asks }
    const w = new LineWorld(lineConfigOf('BENCH', asking), asking)
    w.open()
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 70 })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 50 })
    expect(w.ask(3, 'BENCH.plate', { do: 'on' })).toEqual({ kind: 'done', id: 3 })
    const asked = (): number => w.written.filter(({ text }) => text.includes('PROT:STAT?')).length
    expect(asked()).toBe(2)
    w.run(60_000_000)
    expect(asked()).toBeGreaterThan(3)
    Object.assign(w.faces['plate'] ?? {}, { over_V_on: false })
    w.run(60_000_000, () => w.kinds('line lost').length > 0)
    expect(w.kinds('line lost')).toEqual([
      expect.objectContaining({
        text: expect.stringContaining('its over-voltage protection reads back as switched off') as string,
      }),
    ])
  })

  it('keeps its readings as frequent while it asks for limits and levels again', () => {
    const w = raised(50)
    const before = w.kinds('reading').length
    w.run(4_000_000)
    const without = w.kinds('reading').length - before
    w.run(36_000_000)
    const all = w.kinds('reading').length - before - without
    expect(all / 9).toBeGreaterThan(0.98 * without)
  })

  it('refuses a set-point above the channel without saying it on the line', () => {
    const w = ready()
    expect(w.ask(1, 'BENCH.plate', { do: 'set', volts: 301 })).toMatchObject({
      kind: 'failed',
      code: 'refused',
    })
    expect(w.written.some((write) => write.text.includes('301'))).toBe(false)
  })

  it('fails a setting that the supply refused, and says that it was not done', () => {
    const w = ready()
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 50 })
    w.device.faults({ local: true })
    w.run(200_000)
    const failed = w.ask(3, 'BENCH.plate', { do: 'set', volts: 60 })
    expect(failed).toMatchObject({ kind: 'failed', code: 'read-back differs', outcome: 'not done' })
    expect(failed).toHaveProperty('text', expect.stringContaining('BENCH.plate on port BENCH'))
  })

  it('never says a raise twice when the read-back does not come', () => {
    const w = raised(50)
    w.written.length = 0
    w.give({ kind: 'request', t_us: w.t_us, id: 9, channel: 'BENCH.plate', do: 'set', volts: 60 })
    w.run(1_000_000, () => w.written.some((write) => write.text.includes(':VOLT 60')))
    w.device.faults({ silent: true })
    w.run(5_000_000, () => w.kinds('failed').length > 0)
    const [failed] = w.kinds('failed')
    expect(failed).toMatchObject({ kind: 'failed', id: 9, outcome: 'unknown' })
    expect(w.written.filter((write) => write.text.includes(':VOLT 60')).length).toBe(1)
  })

  it('reads back first when the reply to a raise was lost, and finds that it was done', () => {
    const w = raised(50)
    w.give({ kind: 'request', t_us: w.t_us, id: 9, channel: 'BENCH.plate', do: 'set', volts: 60 })
    w.run(1_000_000, () => w.written.some((write) => write.text.includes(':VOLT 60')))
    w.device.faults({ silent: true })
    w.run(100_000)
    w.device.faults({})
    w.run(3_000_000, () => w.kinds('done').some((event) => event.kind === 'done' && event.id === 9))
    expect(w.kinds('done')).toContainEqual({ kind: 'done', id: 9 })
    expect(w.written.filter((write) => write.text.includes(':VOLT 60')).length).toBe(1)
  })

  it('asks nothing after a missed reply until the line was silent and the identity came', () => {
    const w = raised(50)
    w.device.faults({ late_s: 0.35 })
    const from = w.written.length
    w.run(600_000)
    w.device.faults({})
    w.run(3_000_000)
    const later = w.written.slice(from).map((write) => write.text)
    const missed = later.findIndex((text) => text.includes('*IDN?'))
    expect(missed).toBeGreaterThan(0)
    expect(w.state.kept.faults.late_reply).toBeGreaterThan(0)
    for (const event of w.kinds('reading')) {
      if (event.kind !== 'reading' || event.channel !== 'BENCH.plate') continue
      // A volt reading that answered a question for amps would be 50 A.
      if (event.quantity === 'A') expect(event.value.n / 10 ** event.value.k).toBeLessThan(1)
    }
  })

  it('never takes an answer for that of the question before, whatever the supply is late by', () => {
    for (let late_s = 0.2; late_s < 0.9; late_s += 0.02) {
      const w = raised(50)
      // Volts and amps of both channels are told apart by their values alone.
      w.fixed = { plate: { V: 0.31, A: 0.41 }, bias: { V: 0.2, A: 0.05 } }
      w.run(300_000)
      w.events.length = 0
      w.device.faults({ late_s })
      w.run(1_000_000)
      w.device.faults({ late_s: 0.15 })
      w.run(3_000_000)
      w.device.faults({})
      w.run(1_000_000)
      for (const event of w.kinds('reading')) {
        if (event.kind !== 'reading') continue
        const value = event.value.n / 10 ** event.value.k
        const truth = w.fixed[event.channel.slice(6)]?.[event.quantity]
        expect(value, `${event.channel} ${event.quantity}, ${late_s} s late`).toBe(truth)
      }
      expect(w.kinds('reading').length).toBeGreaterThan(8)
    }
  })

  it('says once that the line is lost when nobody answers, after a fresh connection did not help', () => {
    const w = raised(50)
    w.device.faults({ silent: true })
    w.run(30_000_000)
    expect(w.kinds('line lost')).toHaveLength(1)
    expect(w.reopens.length).toBeGreaterThanOrEqual(3)
    expect(w.ask(7, 'BENCH.plate', { do: 'set', volts: 60 })).toMatchObject({
      kind: 'failed',
      outcome: 'not done',
    })
  })

  it('says that a port which never opens is lost, and goes on trying', () => {
    const w = world()
    w.joined = false
    w.give({ kind: 'closed', t_us: 0, text: 'no such port' })
    w.run(10_000_000)
    expect(w.kinds('line lost')).toHaveLength(1)
    expect(w.kinds('line lost')[0]).toHaveProperty('text', expect.stringContaining('no port'))
    w.joined = true
    w.run(10_000_000, () => w.kinds('reading').length > 0)
    expect(w.kinds('reading').length).toBeGreaterThan(0)
    // Lost once, it is not raised again before a new run.
    expect(w.ask(1, 'BENCH.plate', { do: 'set', volts: 1 })).toMatchObject({
      kind: 'failed',
      outcome: 'not done',
    })
  })

  it('does not count the end of a connection that it gave up itself', () => {
    const w = raised(50)
    for (let i = 0; i < 4; i++) {
      w.give({ kind: 'closed', t_us: w.t_us, text: 'hung up' })
      w.give({ kind: 'closed', t_us: w.t_us, text: 'the same once more' })
      w.run(2_000_000)
    }
    expect(w.kinds('line lost')).toEqual([])
  })

  it('refuses another supply on the port and sends it no setting', () => {
    const w = world()
    w.device.faults({ wrong_identity: true })
    w.open()
    w.run(5_000_000)
    expect(w.kinds('line lost')[0]).toHaveProperty('text', expect.stringContaining('another supply answers'))
    expect(w.written.some((write) => write.text.includes('OUTP'))).toBe(false)
  })

  it('reports what it finds on and leaves it so: the order over all ports is not its to decide', () => {
    const w = world({}, { plate: 10_000 })
    Object.assign(w.faces['plate'] ?? {}, { on: true, set_V: 200, limit_A: 0.1, measured_V: 200 })
    Object.assign(w.faces['bias'] ?? {}, { on: true, set_V: 30, limit_A: 0.1, measured_V: 30 })
    w.open()
    w.run(3_000_000)
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.plate', on: true })
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.bias', on: true })
    expect(w.written.some((write) => write.text.includes('OUTP OFF'))).toBe(false)
    expect(w.kinds('line lost')).toEqual([])
  })

  it('comes back after a lost connection and fails what was under way', () => {
    const w = raised(50)
    w.give({ kind: 'request', t_us: w.t_us, id: 9, channel: 'BENCH.plate', do: 'set', volts: 60 })
    w.give({ kind: 'closed', t_us: w.t_us, text: 'hung up' })
    expect(w.kinds('failed').at(-1)).toMatchObject({ id: 9, code: 'closed' })
    w.events.length = 0
    w.run(3_000_000, () => w.kinds('reading').length > 0)
    expect(w.kinds('reading').length).toBeGreaterThan(0)
    expect(w.kinds('line lost')).toEqual([])
    // Outputs may be on for a reason: looked at, not switched off.
    expect(w.faces['plate']?.on).toBe(true)
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.plate', on: true })
  })

  it('calls the line untrustworthy when a supply comes back with other settings', () => {
    const w = raised(50)
    w.give({ kind: 'closed', t_us: w.t_us, text: 'hung up' })
    Object.assign(w.faces['plate'] ?? {}, { limit_A: 0.5 })
    w.run(3_000_000)
    expect(w.kinds('line lost')[0]).toHaveProperty(
      'text',
      expect.stringContaining('current limit reads back as 0.5 A'),
    )
  })

  it('tells of a protection that fired, once', () => {
    const w = raised(50)
    Object.assign(w.faces['plate'] ?? {}, { tripped: 'over-voltage' })
    w.run(5_000_000)
    expect(w.kinds('protection')).toEqual([
      { kind: 'protection', channel: 'BENCH.plate', which: 'over-voltage' },
    ])
    expect(w.written.some((write) => write.text.includes('CLE'))).toBe(false)
  })

  it('takes every channel to zero with its current limit at the minimum', () => {
    const w = raised(50)
    expect(w.ask(9, 'BENCH.plate', { do: 'zero' })).toEqual({ kind: 'done', id: 9 })
    expect(w.faces['plate']).toMatchObject({ set_V: 0, limit_A: 0 })
  })

  it('slows its rounds of readings when told, and keeps requests prompt', () => {
    const w = raised(50)
    w.give({ kind: 'pace', t_us: w.t_us, poll_us: 1_000_000 })
    w.events.length = 0
    w.run(10_000_000)
    expect(w.kinds('reading').length).toBeLessThanOrEqual(4 * 11)
    expect(w.kinds('reading').length).toBeGreaterThanOrEqual(4 * 9)
    const asked_us = w.t_us
    w.ask(9, 'BENCH.plate', { do: 'set', volts: 51 })
    expect(w.t_us - asked_us).toBeLessThan(400_000)
  })

  it('speaks to supplies that acknowledge and glue units to numbers', () => {
    const dialect = { ...fullDialect, acknowledges: 'OK', unit_in_reply: true, terminator: '\r\n' as const }
    const other = supplyOf(dialect, channels)
    const w = new LineWorld(lineConfigOf('BENCH', other), other)
    w.open()
    expect(w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })).toMatchObject({
      kind: 'done',
    })
    expect(w.ask(2, 'BENCH.plate', { do: 'set', volts: 50 })).toMatchObject({ kind: 'done' })
    expect(w.ask(3, 'BENCH.plate', { do: 'on' })).toMatchObject({ kind: 'done' })
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.events.length = 0
    w.run(3_000_000)
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.plate', on: false })
    expect(w.kinds('reading').length).toBeGreaterThan(8)
    expect(w.device.abuses()).toEqual([])
  })

  it('feeds a dead-man only while replies are fresh', () => {
    const dialect = {
      ...fullDialect,
      dead_man: {
        arm: [':SYST:WATC ON'],
        feed: ':SYST:WATC:FEED',
        after_s: 2,
        per: 'supply',
        ask_armed: null,
        ask_expired: null,
      },
    } as const
    const other = supplyOf(dialect, channels)
    const w = new LineWorld(lineConfigOf('BENCH', other), other)
    w.open()
    w.run(3_000_000)
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 50 })
    w.ask(3, 'BENCH.plate', { do: 'on' })
    w.run(10_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    w.device.faults({ silent: true })
    w.run(10_000_000)
    expect(w.faces['plate']?.on).toBe(false)
  })
})

describe('the urgent OFF', () => {
  it('is written at once with a bare terminator first, whatever is in flight', () => {
    const w = raised(100)
    w.give({ kind: 'request', t_us: w.t_us, id: 9, channel: 'BENCH.plate', do: 'set', volts: 110 })
    w.written.length = 0
    const outputs = w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    expect(outputs.find((output) => output.kind === 'write')).toEqual({
      kind: 'write',
      urgent: true,
      // Somebody may have taken the panel: without the remote word before it this supply would ignore OFF.
      text: `\n:SYST:REM\n${offText(fullDialect, 1)}`,
    })
    expect(w.kinds('failed')).toMatchObject([{ id: 9 }])
  })

  it('is repeated in a burst, then until the output reads back off, and leaves other channels alone', () => {
    const w = raised(100)
    w.deaf = true
    const from_us = w.t_us
    w.written.length = 0
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(160_000)
    expect(w.written.filter((write) => write.urgent).map((write) => write.t_us - from_us)).toEqual([
      0, 50_000, 150_000,
    ])
    w.run(20_000_000)
    expect(w.written.filter((write) => write.urgent).length).toBeGreaterThan(20)
    w.deaf = false
    w.events.length = 0
    w.run(5_000_000, () => w.kinds('output').length > 0)
    expect(w.faces['plate']?.on).toBe(false)
    expect(w.written.some((write) => write.urgent && write.text.includes('NSEL 2'))).toBe(false)
    w.run(2_000_000)
    expect(w.kinds('reading').length).toBeGreaterThan(8)
    const sent = w.written.filter((write) => write.urgent).length
    w.run(5_000_000)
    expect(w.written.filter((write) => write.urgent).length).toBe(sent)
  })

  it('confirms within a quarter of a second on a supply that answers', () => {
    const w = raised(100)
    w.events.length = 0
    const from_us = w.t_us
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(2_000_000, () => w.kinds('output').some((event) => event.kind === 'output' && !event.on))
    expect(w.t_us - from_us).toBeLessThan(250_000)
  })

  it('that comes while who is there is being asked leaves that its answer, and asks again', () => {
    const w = raised(100)
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    expect(w.run(1_000_000, () => w.state.flight?.move.text.includes('*IDN?') === true)).toBe(true)
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.bias'] })
    expect(w.state.unproved).toBe(true)
    w.written.length = 0
    w.run(1_000_000)
    expect(w.written.filter(({ text }) => text.includes('*IDN?')).length).toBe(1)
    expect(w.state.unproved).toBe(false)
    expect(w.state.channels.map(({ output }) => output)).toEqual([false, false])
    expect(healthOf(w.state).faults).toEqual({})
  })

  it('lets no question be asked again before who is there', () => {
    const w = raised(100)
    w.run(3_000_000, () => w.state.flight?.move.text.includes(':OUTP?') === true)
    w.device.faults({ silent: true })
    w.give({ kind: 'text', t_us: w.t_us, text: 'garbled' })
    expect(w.state.link).toBe('quiet')
    w.run(50_000)
    w.device.faults({})
    w.written.length = 0
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(1_000_000)
    expect(w.written.find(({ urgent }) => !urgent)?.text).toContain('*IDN?')
    expect(w.state.channels[0]?.output).toBe(false)
  })

  it('sends OFF first on a fresh connection when one is owed', () => {
    const w = raised(100)
    w.give({ kind: 'closed', t_us: w.t_us, text: 'hung up' })
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.written.length = 0
    w.run(300_000)
    expect(w.written.slice(0, 2).map((write) => write.text)).toEqual([
      '\n',
      `\n:SYST:REM\n${offText(fullDialect, 1)}`,
    ])
  })

  it('lets nothing be raised on this line until a new run, but obeys off and zero', () => {
    const w = raised(100)
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    expect(w.ask(11, 'BENCH.plate', { do: 'on' })).toMatchObject({ kind: 'failed', outcome: 'not done' })
    expect(w.ask(12, 'BENCH.bias', { do: 'set', volts: 1 })).toMatchObject({
      kind: 'failed',
      outcome: 'not done',
    })
    expect(w.ask(13, 'BENCH.bias', { do: 'off' })).toEqual({ kind: 'done', id: 13 })
    expect(w.ask(14, 'BENCH.plate', { do: 'zero' })).toEqual({ kind: 'done', id: 14 })
  })

  it('is said again when an output it had confirmed is found on once more', () => {
    const w = raised(100)
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(3_000_000)
    Object.assign(w.faces['plate'] ?? {}, { on: true })
    w.run(5_000_000)
    expect(w.faces['plate']?.on).toBe(false)
  })
})

describe('a port that cannot be opened', () => {
  it('says what its own trouble says, not that a plug went that never was in', () => {
    const w = world()
    w.joined = false
    w.give({ kind: 'closed', t_us: w.t_us, text: 'no port' })
    w.run(60_000_000)
    expect(w.kinds('line lost')).toMatchObject([{ text: 'port BENCH: it cannot be opened (no port)' }])
  })
})

describe('a meter on a line', () => {
  it('is read round after round and never told anything', () => {
    const config: LineConfig = {
      port: 'METER',
      identity: null,
      dialect: { ...fullDialect, select: null, remote: null },
      reply_us: 200_000,
      channels: [],
      meter: { name: 'METER', measures: 'V', limit: 1000 },
    }
    let state = openLine(config)
    const written: string[] = []
    const values: unknown[] = []
    let t_us = 0
    let answered = 0
    const give = (input: Parameters<typeof lineStep>[1]): void => {
      const step = lineStep(state, input)
      state = step.state
      for (const output of step.outputs) {
        if (output.kind === 'write') written.push(output.text)
        if (output.kind === 'event' && output.event.kind === 'meter') values.push(output.event.value)
      }
    }
    give({ kind: 'opened', t_us })
    for (let i = 0; i < 60; i++) {
      t_us += 20_000
      const last = written.length > answered ? (written.at(-1) ?? '') : ''
      answered = written.length
      if (last === '*IDN?\n') give({ kind: 'text', t_us, text: 'SOME,METER,0,1' })
      else if (last.includes('MEAS:VOLT?')) give({ kind: 'text', t_us, text: '-1.25E+1' })
      give({ kind: 'time', t_us })
    }
    expect(values.length).toBeGreaterThan(10)
    expect(values[0]).toEqual({ n: -125, k: 1 })
    expect(new Set(written)).toEqual(new Set(['\n', '\n*CLS\n', '*IDN?\n', ':MEAS:VOLT?\n']))
  })
})
