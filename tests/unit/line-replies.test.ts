import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import { lineConfigOf, lineWakeAt, type LineConfig } from '../../src/line/index.js'
import { HandLine } from '../helpers/hand-line.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/* What comes on a line and is no plain answer: our own words, a refusal, an identity, something that nobody asked for. */

const network = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true } as const
const channels = { plate: channelOf(1), bias: channelOf(2) }
const configOf = (words: Partial<Dialect> = {}): LineConfig =>
  lineConfigOf('BENCH', supplyOf({ ...fullDialect, ...words }, channels, { line: network }))
const identity = configOf().identity ?? ''
const opened = (words: Partial<Dialect> = {}): HandLine => new HandLine(configOf(words)).open()
/** Nothing is asked for ten seconds. */
function resting(words: Partial<Dialect> = {}): HandLine {
  const line = new HandLine({ ...configOf(words), poll_us: 10_000_000 }).open()
  return line.until('a rest', () => line.state.flight === null && (lineWakeAt(line.state) ?? 0) > line.t_us)
}
const plate = 'BENCH.plate'
const words = (line: HandLine): string => line.state.flight?.move.text.trim() ?? ''
const outputs = (line: HandLine) => line.kinds('output').map(({ channel, on }) => [channel, on])

/** One that answers in the words of its set command, and one whose answer could be its question. */
const worded = {
  select: null,
  off: 'OUT 0',
  on: 'OUT 1',
  ask_output: 'OUT?',
  set_volts: 'VSET {v}',
  ask_set_volts: 'VSET?',
  answers: { ask_output: 'OUT {x}', ask_set_volts: 'VSET{x}' },
} as const satisfies Partial<Dialect>
function wordedLine(): HandLine {
  const line = new HandLine(configOf(worded))
  line.answer = ({ flight }, asked) =>
    asked === 'OUT?'
      ? 'OUT 0'
      : asked === 'VSET?' && flight?.move.kind === 'ask' && flight.move.want.is === 'setting'
        ? `VSET ${flight.move.want.sent}`
        : undefined
  return line.open()
}

describe('our own words that come back', () => {
  it('instead of an answer are named, and the question is asked once more', () => {
    const line = opened().asked('MEAS:VOLT?')
    line.afresh().says(words(line))
    expect(line.state).toMatchObject({ flight: null, link: 'quiet', quiet_then: 'go on', echoes: true })
    expect(line.faults).toEqual({ echo: 1, asked_again: 1 })
    expect(line.kinds('line trouble')).toEqual([
      {
        kind: 'line trouble',
        port: 'BENCH',
        fault: 'echo',
        text: 'Port BENCH: only an echo came to ":INST:NSEL 1;:MEAS:VOLT?". It sends back what it is told: switch the echo off at the instrument or at its adapter.',
      },
    ])
  })

  it('where nothing is asked have the line fall silent and prove itself', () => {
    const line = resting()
    const last = line.written().at(-1)?.text ?? ''
    line.afresh().says(last)
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify' })
    expect(line.kinds('line trouble')[0]).toMatchObject({ fault: 'echo' })
    expect(line.kinds('line trouble')[0]?.text).toContain('an echo of our own words comes back (":INST:NSEL')
  })

  it('are only whole lines of what was said: a reading equal to a piece of one is a reading', () => {
    const line = opened()
    line.ask(plate, { do: 'set', volts: 10 })
    line.asked('MEAS:VOLT?').afresh().says('10')
    expect(line.kinds('reading')[0]).toMatchObject({ value: { n: 10, k: 0 } })
    expect(line.faults).toEqual({})
  })

  it('are known by any line of what was said, also by that of a command before the question', () => {
    const line = opened()
    line.request(plate, { do: 'set', volts: 10 })
    line.asked('NSEL 1;:VOLT?').afresh().says(':INST:NSEL 1;:VOLT 10.00')
    expect(line.faults).toEqual({ echo: 1, asked_again: 1 })
    // It was not the question that came back: that this line sends everything back is not said by it.
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'go on', echoes: false })
    // A blank that its dialect has at the end of the words is not what they are known by.
    const spaced = opened({ set_volts: ':VOLT {v} ' })
    spaced.request(plate, { do: 'set', volts: 10 })
    spaced.asked('NSEL 1;:VOLT?').says(':INST:NSEL 1;:VOLT 10.00 ')
    expect(spaced.faults).toEqual({ echo: 1, asked_again: 1 })
  })

  it('where who is there is asked are passed over: the identity behind them counts', () => {
    const line = new HandLine(configOf()).give({ kind: 'opened' }).asked('*IDN?')
    line.says('*CLS')
    expect(line.state).toMatchObject({ link: 'identify', echoes: false })
    line.says('*IDN?')
    expect(line.state).toMatchObject({ link: 'identify', echoes: true })
    line.says(identity)
    expect(line.state.link).toBe('opening')
    expect(line.faults).toEqual({ echo: 2 })
  })

  it('do not end the question whether the output is off, once only OFF goes out: the answer behind them tells', () => {
    const line = opened().give({ kind: 'urgent off', channels: [plate] })
    line.asked(':OUTP?').afresh().says(words(line))
    expect(line.state.flight).not.toBeNull()
    line.says('0')
    expect(outputs(line)).toEqual([[plate, false]])
  })

  it('where nothing is asked any more have also a line that was made safe prove itself', () => {
    const line = resting().give({ kind: 'urgent off', channels: [plate] })
    line.until('off', () => line.state.channels[0]?.output === false)
    line.until('a rest', () => line.state.flight === null && line.state.link === 'ready')
    line.says(line.written().at(-1)?.text ?? '')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify' })
  })

  it('instead of an acknowledgement are a refusal of that command, which is not said again', () => {
    const line = opened({ acknowledges: 'OK' })
    const id = line.request(plate, { do: 'set', volts: 10 })
    line.asked(':VOLT 10').afresh().says(words(line))
    expect(line.state.flight?.move.text).toContain('SYST:ERR?')
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)).toMatchObject({ kind: 'failed', code: 'refused', outcome: 'unknown' })
    expect(line.came(id)).toHaveProperty(
      'text',
      expect.stringContaining('the supply says ":INST:NSEL 1;:VOLT 10.00" instead of "OK"'),
    )
    line.pass(3_000_000)
    expect(line.written(':VOLT 10')).toEqual([])
  })
})

describe('an answer in the words of the set command', () => {
  it('is believed on a line that sends nothing back', () => {
    const line = wordedLine()
    expect(line.ask(plate, { do: 'set', volts: 10 })?.kind).toBe('done')
    line
      .give({ kind: 'urgent off', channels: [plate] })
      .asked('OUT?')
      .afresh()
      .says('OUT 0')
    expect(outputs(line)).toEqual([[plate, false]])
    expect(line.faults).toEqual({})
  })

  it('is not believed where a question came back before: it may be our own OFF', () => {
    const line = wordedLine().asked('MEAS:VOLT?').says(':MEAS:VOLT?')
    expect(line.state.echoes).toBe(true)
    line
      .give({ kind: 'urgent off', channels: [plate] })
      .asked('OUT?')
      .afresh()
      .says('OUT 0')
    expect(outputs(line)).toEqual([])
    line.says('OUT 1')
    expect(outputs(line)).toEqual([[plate, true]])
  })

  it('is not believed where it is the question itself, which shows that this line sends everything back', () => {
    const line = wordedLine()
    line.request(plate, { do: 'set', volts: 10 })
    line.asked('VSET?').says('VSET?')
    expect(line.faults).toMatchObject({ echo: 1 })
    expect(line.state.echoes).toBe(true)
  })

  it('is none of another question: what is in the words of another command was said by us', () => {
    const line = wordedLine()
    line.ask(plate, { do: 'set', volts: 10 })
    line.afresh().asked('OUT?').says('VSET 10.00')
    expect(line.faults).toEqual({ echo: 1, asked_again: 1 })
    expect(outputs(line)).toEqual([])
  })

  it('is no identity', () => {
    const line = wordedLine()
    line.ask(plate, { do: 'off' })
    line.give({ kind: 'opened' }).asked('*IDN?').says('OUT 0', 'OUT 0')
    expect(line.state.link).toBe('identify')
    expect(line.faults).toMatchObject({ echo: 2 })
    line.says(identity)
    expect(line.state).toMatchObject({ link: 'opening', lost: false })
  })

  it('is asked for afresh on a line that proves itself: who sends nothing back then is believed again', () => {
    const line = wordedLine().asked('MEAS:VOLT?').says(':MEAS:VOLT?')
    line.give({ kind: 'opened' }).until('ready', () => line.state.link === 'ready')
    expect(line.state.echoes).toBe(false)
  })
})

describe('a line in which the supply says that something is wrong', () => {
  const erring = { error_lines: ['ERR 7'] } as const

  it('instead of an acknowledgement refuses that command at once', () => {
    const line = opened({ ...erring, acknowledges: 'OK', error_query: null })
    const id = line.request(plate, { do: 'set', volts: 10 })
    line.asked(':VOLT 10').says('ERR 7')
    expect(line.came(id)).toMatchObject({ kind: 'failed', code: 'refused', outcome: 'unknown' })
    expect(line.came(id)).toHaveProperty(
      'text',
      'BENCH.plate on port BENCH, "set": the supply says "ERR 7" instead of "OK". It may have happened: read back before deciding.',
    )
    expect(line.faults).toEqual({ supply_error: 1 })
  })

  it('before an answer is about the command before: the answer is still to come, and this is its reason', () => {
    const line = opened({ ...erring, error_query: null })
    const id = line.request(plate, { do: 'set', volts: 10 })
    line.asked('NSEL 1;:VOLT?').says('ERR 7')
    expect(line.state.flight).not.toBeNull()
    line.says('50.00')
    const came = line.came(id)
    expect(came).toMatchObject({ kind: 'failed', code: 'read-back differs' })
    expect(came).toHaveProperty(
      'text',
      expect.stringContaining('after sending 10 V; the supply says "ERR 7"'),
    )
    // Its own reason says more than what such a difference means in general.
    expect(came).toHaveProperty('text', expect.not.stringContaining('It does not hold what it is told'))
    expect(line.faults).toEqual({ supply_error: 1, read_back_differs: 1 })
  })

  it('is no reason of a request that comes later', () => {
    const line = opened({ ...erring, error_query: null })
      .asked('MEAS:VOLT?')
      .says('ERR 7', '0.25')
    const id = line.request(plate, { do: 'set', volts: 10 })
    line.asked('NSEL 1;:VOLT?').says('50.00')
    expect(line.came(id)).toHaveProperty('text', expect.not.stringContaining('ERR 7'))
    expect(line.came(id)).toHaveProperty('text', expect.stringContaining('It does not hold what it is told'))
  })

  it('unasked is counted and disturbs nothing', () => {
    const line = resting(erring).says('ERR 7')
    expect(line.state.link).toBe('ready')
    expect(line.faults).toEqual({ supply_error: 1 })
  })
})

describe('an acknowledgement', () => {
  const line = (): HandLine => resting({ acknowledges: 'OK' })

  it('that nobody waits for disturbs nothing: an urgent OFF has them come when they like', () => {
    const idle = line().says('OK')
    expect([idle.state.link, idle.faults]).toEqual(['ready', {}])
    const asked = opened({ acknowledges: 'OK' }).asked('MEAS:VOLT?').says('OK')
    expect(asked.state.flight).not.toBeNull()
    const silent = line().says('7.00')
    const until_us = silent.state.quiet_until_us
    expect(silent.faults).toEqual({ unasked_reply: 1, resynchronised: 1 })
    silent.says('OK')
    expect([silent.state.quiet_until_us, silent.faults]).toEqual([
      until_us,
      { unasked_reply: 1, resynchronised: 1 },
    ])
    const spaced = opened({ acknowledges: 'OK' })
    const id = spaced.request(plate, { do: 'set', volts: 10 })
    spaced.asked(':VOLT 10').says(' OK \r')
    spaced.until('an outcome', () => spaced.came(id) !== undefined)
    expect([spaced.came(id)?.kind, spaced.faults]).toEqual(['done', {}])
    const who = new HandLine(configOf({ acknowledges: 'OK' })).give({ kind: 'opened' }).asked('*IDN?')
    expect(who.says('OK', 'OK').state).toMatchObject({ link: 'identify', candidate: null })
  })
})

describe('words that nobody asked for', () => {
  it('have the line fall silent and prove itself, and are shown', () => {
    const line = resting().afresh().says('7.00')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify' })
    expect(line.kinds('line trouble')).toEqual([
      {
        kind: 'line trouble',
        port: 'BENCH',
        fault: 'unasked_reply',
        text: expect.stringMatching(
          /^Port BENCH: "7\.00" came, and nothing was asked\. Something talks/,
        ) as string,
      },
    ])
  })

  it('are none where nothing stands in the line', () => {
    const line = resting().says('', ' ', '\r')
    expect([line.state.link, line.faults]).toEqual(['ready', {}])
  })
})

describe('a bad answer', () => {
  it('is asked for once more after a short silence; a second has the line prove itself first', () => {
    const line = opened().asked('MEAS:VOLT?').says('x')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'go on' })
    line.asked('MEAS:VOLT?').says('x')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify' })
    expect(line.faults).toEqual({ unparsable: 2, asked_again: 1, resynchronised: 1 })
  })
})

describe('an identity', () => {
  it('in place of a reading is an answer to a question of before: the reading is still to come', () => {
    const line = opened().asked('MEAS:VOLT?').afresh().says(identity)
    expect(line.state.flight).not.toBeNull()
    expect(line.faults).toEqual({ stale_reply: 1 })
    line.says('12.5')
    expect(line.kinds('reading')).toHaveLength(1)
  })

  it('asked for after an urgent OFF proves who answers, and only then is "off" believed', () => {
    const line = opened()
      .give({ kind: 'urgent off', channels: [plate] })
      .asked('*IDN?')
    expect(line.state.unproved).toBe(true)
    expect(outputs(line.afresh())).toEqual([])
    line.says(identity)
    expect(line.state.unproved).toBe(false)
    line.until('off', () => outputs(line).length > 0)
    expect(outputs(line)).toEqual([[plate, false]])
  })
})

describe('who is there', () => {
  const asked = (): HandLine => new HandLine(configOf()).give({ kind: 'opened' }).asked('*IDN?')

  it.each(['0,"No error"', '-113,"Undefined header"', 'ON', 'OFF', '1.2E+1', '12.5', '?', '1;2'])(
    'is not told by "%s", which answers a question of before, however often it comes',
    (text) => {
      const line = asked().says(text, text)
      expect(line.state).toMatchObject({ link: 'identify', candidate: null, lost: false })
      expect(line.faults).toEqual({ stale_reply: 2 })
      line.says(identity)
      expect(line.state.link).toBe('opening')
    },
  )

  it.each(['AB\xb1\xae', '\xb1AB', 'A\xb1B'])('is not told by noise, wherever it stands: "%s"', (text) => {
    const line = asked().says(text, text)
    expect(line.state).toMatchObject({ link: 'identify', candidate: null })
    expect(line.faults).toEqual({ line_noise: 2 })
  })

  it('is told with blanks round it as without', () => {
    expect(asked().says(` ${identity} \r`).state).toMatchObject({ link: 'opening', lost: false })
  })

  it('and stays unanswered is told by what came in its place', () => {
    const trouble = (text: string) => asked().says(text).pass(200_000).kinds('line trouble')
    expect(trouble('12.5')).toMatchObject([{ fault: 'stale_reply' }])
    expect(trouble('12.5')[0]?.text).toContain(
      '"12.5" where its identity was asked for: a reply to a question of before. Its replies come after their time',
    )
    expect(trouble('\xb1')).toMatchObject([{ fault: 'line_noise' }])
    expect(trouble('\xb1')[0]?.text).toContain(
      'line noise ("?") where its identity was asked for. No instrument',
    )
  })

  it('heard otherwise once may be garbled, and is asked again', () => {
    const line = asked().says('TEST BANCH,TWO CHANNELS,0,1.0')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify', lost: false })
    line
      .asked('*IDN?')
      .says(identity)
      .until('ready', () => line.state.link === 'ready')
    expect(line.state).toMatchObject({ lost: false, made_safe: false, candidate: null })
  })

  it('told late, in the silence before it is asked again, is one answer less to wait for behind the next', () => {
    const line = asked().pass(200_000).says(identity)
    expect(line.state).toMatchObject({ link: 'quiet', identities_due: 0 })
    expect(line.faults).toEqual({ no_reply: 1, late_reply: 1 })
    line.asked('*IDN?').says(identity)
    expect(line.state.link).toBe('opening')
    // Anything else that comes late is none of those that are still to come.
    expect(asked().pass(200_000).says('12.5').state.identities_due).toBe(1)
    // Nobody knows of one that was told though not asked for: there are never fewer than none to come.
    const more = asked().pass(200_000).says(identity, identity).asked('*IDN?')
    expect(more.state.identities_due).toBe(1)
  })

  it('heard twice where none is known is who is there from then on', () => {
    const line = new HandLine({ ...configOf(), identity: null }).give({ kind: 'opened' })
    line.asked('*IDN?').says('SOME,SUPPLY')
    expect(line.state.identity).toBeNull()
    line.asked('*IDN?').says('OTHER,SUPPLY')
    expect(line.state.identity).toBeNull()
    line.asked('*IDN?').says('OTHER,SUPPLY')
    expect(line.state.identity).toBe('OTHER,SUPPLY')
    expect(line.state.lost).toBe(false)
  })

  it('heard twice and another one loses the line, with where to look, and is asked again every two seconds', () => {
    // Long after it was opened.
    const line = opened()
    line.until('five seconds', () => line.t_us > 5_000_000).asked('MEAS:VOLT?')
    const id = line.request(plate, { do: 'set', volts: 10 })
    const off = line.request(plate, { do: 'off' })
    line.pass(200_000).asked('*IDN?').says('OTHER,SUPPLY').asked('*IDN?').says('OTHER,SUPPLY')
    const why = `another supply answers: "OTHER,SUPPLY" where "${identity}" was expected. Look where the plug of this line sits`
    expect(line.kinds('line lost')).toMatchObject([
      { text: expect.stringContaining(`port BENCH: ${why}`) as string },
    ])
    expect(line.came(id)).toMatchObject({ kind: 'failed', code: 'wrong supply', outcome: 'not done' })
    expect(line.came(off)).toMatchObject({ kind: 'failed', code: 'wrong supply', outcome: 'not done' })
    expect(line.came(id)).toHaveProperty('text', expect.stringContaining(why))
    expect(line.state).toMatchObject({ lost: true, made_safe: true, candidate: null })
    const from_us = line.t_us
    line.afresh().pass(2_500_000)
    expect(line.written('*IDN?').map(({ t_us }) => t_us - from_us)).toEqual([2_000_000])
  })

  it('is the right one again some time: its outputs are looked at, and nothing is raised', () => {
    const line = opened().asked('MEAS:VOLT?')
    line.pass(200_000).asked('*IDN?').says('OTHER,SUPPLY').asked('*IDN?').says('OTHER,SUPPLY')
    line.afresh().until('a reading', () => line.kinds('reading').length > 0)
    expect(line.ask(plate, { do: 'set', volts: 10 })).toMatchObject({ kind: 'failed', code: 'refused' })
    expect(line.ask(plate, { do: 'off' })?.kind).toBe('done')
  })
})
