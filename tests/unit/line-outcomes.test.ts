import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import { lineConfigOf, type LineConfig } from '../../src/line/index.js'
import { HandLine } from '../helpers/hand-line.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/*
 * What comes of a request. "Not done" lets a run go on from where it was, "unknown" has it read back first; OFF and zero are said
 * again, everything else never; and a supply that does not obey where nobody asked for anything may raise nothing any more.
 */

const network = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true } as const
const channels = { plate: channelOf(1), bias: channelOf(2) }
const configOf = (words: Partial<Dialect> = {}): LineConfig =>
  lineConfigOf('BENCH', supplyOf({ ...fullDialect, ...words }, channels, { line: network }))
const opened = (words: Partial<Dialect> = {}): HandLine => new HandLine(configOf(words)).open()
const plate = 'BENCH.plate'
const count = (line: HandLine, words: string): number => line.written(words).length
const text = (line: HandLine, id: number): string => {
  const came = line.came(id)
  return came?.kind === 'failed' ? came.text : ''
}

/** What this question is answered; all others rightly. */
function answering(line: HandLine, question: string, said: string | null): HandLine {
  line.answer = (_, asked) => (asked.includes(question) ? said : undefined)
  return line
}
/** With a limit, a level and 50 V set and read back. */
function set(words: Partial<Dialect> = {}): HandLine {
  const line = opened(words)
  expect(line.ask(plate, { do: 'limits', limit_A: 0.05, over_voltage_V: 70 })?.kind).toBe('done')
  expect(line.ask(plate, { do: 'set', volts: 50 })?.kind).toBe('done')
  return line.afresh()
}

describe('a read-back that does not come', () => {
  it('is asked for twice, who is there in between, and the set-point then may have been done', () => {
    const line = answering(set(), 'NSEL 1;:VOLT?', null)
    expect(line.ask(plate, { do: 'set', volts: 60 })).toMatchObject({
      kind: 'failed',
      code: 'no reply',
      outcome: 'unknown',
      text: expect.stringMatching(
        /no reply to ":INST:NSEL 1;:VOLT\?" in time\. It says nothing:.* It may have happened/,
      ) as string,
    })
    expect(count(line, 'NSEL 1;:VOLT?')).toBe(2)
    expect(count(line, '*IDN?')).toBe(1)
    expect(count(line, ':VOLT 60')).toBe(1)
    expect(line.kinds('failed')[0]?.text).not.toContain('It does not hold what it is told')
  })

  it('that cannot be read is asked for three times', () => {
    const line = answering(set(), 'NSEL 1;:VOLT?', 'x')
    expect(line.ask(plate, { do: 'set', volts: 60 })).toMatchObject({
      kind: 'failed',
      code: 'bad reply',
      outcome: 'unknown',
      text: expect.stringContaining('It answers in other words than its dialect says') as string,
    })
    expect(count(line, 'NSEL 1;:VOLT?')).toBe(3)
    expect(count(line, ':VOLT 60')).toBe(1)
    expect(line.kinds('failed')[0]?.text).not.toContain('It does not hold what it is told')
  })

  it('leaves limits that were sent and read back as perhaps done where only the supply’s last word stays away', () => {
    for (const over_voltage_V of [null, 70]) {
      const line = answering(opened(), 'SYST:ERR?', null)
      expect(line.ask(plate, { do: 'limits', limit_A: 0.05, over_voltage_V })).toMatchObject({
        kind: 'failed',
        code: 'no reply',
        outcome: 'unknown',
      })
    }
  })

  it('before anything was sent leaves the request not done', () => {
    const line = answering(set(), ':VOLT:PROT?', null)
    expect(line.ask(plate, { do: 'on' })).toMatchObject({ code: 'no reply', outcome: 'not done' })
    expect(count(line, ':OUTP ON')).toBe(0)
  })

  it('of one question leaves the next one its own two times', () => {
    const line = set()
    let n = 0
    // Each is missed once.
    line.answer = (_, asked) => (/NSEL 1;:(VOLT|CURR)/.test(asked) && n++ % 2 === 0 ? null : undefined)
    expect(line.ask(plate, { do: 'on' })?.kind).toBe('done')
    expect(line.faults.no_reply).toBe(3)
  })
})

describe('a set command whose acknowledgement does not come', () => {
  it('is settled by its read-back and never said again', () => {
    const line = opened({ acknowledges: 'OK' })
    const id = line.request(plate, { do: 'set', volts: 60 })
    line.asked(':VOLT 60').pass(200_000)
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)?.kind).toBe('done')
    expect(count(line, ':VOLT 60')).toBe(1)
  })

  it('is not taken for done: the read-back that says otherwise counts', () => {
    const line = set({ acknowledges: 'OK' })
    const id = line.request(plate, { do: 'set', volts: 60 })
    line.asked(':VOLT 60').pass(200_000)
    expect(line.came(id)).toBeUndefined()
    answering(line, 'NSEL 1;:VOLT?', '50.00').until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)).toMatchObject({ code: 'read-back differs', outcome: 'not done' })
  })

  it('or is spoilt on its way is settled all the same', () => {
    const line = opened({ acknowledges: 'OK' })
    const id = line.request(plate, { do: 'off' })
    line.asked(':OUTP OFF').give({ kind: 'discarded', bytes: 2, why: 'a remnant' })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)?.kind).toBe('done')
    expect(line.faults).toMatchObject({ line_noise: 1 })
  })

  it.each([
    [':VOLT 60', { do: 'set', volts: 60 }],
    [':OUTP ON', { do: 'on' }],
  ] as const)('or is thrown away on its way is settled too, and %s not said a second time', (words, body) => {
    const line = opened({ acknowledges: 'OK' })
    line.ask(plate, { do: 'limits', limit_A: 0.1, over_voltage_V: 120 })
    line.ask(plate, { do: 'set', volts: 10 })
    const id = line.request(plate, body)
    line.asked(words).give({ kind: 'discarded', bytes: 400, why: 'a line without an end', overlong: true })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)?.kind).toBe('done')
    expect(count(line, words)).toBe(1)
  })
})

describe('a read-back that says otherwise', () => {
  it('by what stood before says not done; by anything else that it may have happened', () => {
    const before = answering(set(), 'NSEL 1;:VOLT?', '50.00')
    expect(before.ask(plate, { do: 'set', volts: 60 })).toMatchObject({
      kind: 'failed',
      code: 'read-back differs',
      outcome: 'not done',
    })
    expect(count(before, ':VOLT 60')).toBe(1)
    expect(count(before, 'NSEL 1;:VOLT?')).toBe(1)
    const other = answering(set(), 'NSEL 1;:VOLT?', '55.00')
    expect(other.ask(plate, { do: 'set', volts: 60 })).toMatchObject({ outcome: 'unknown' })
    expect(other.state.channels[0]?.set_V).toBeNull()
  })

  it('of the second of two levels leaves the first one done, so that all may have happened', () => {
    const line = answering(set(), 'NSEL 1;:VOLT:PROT?', '70.00')
    expect(line.ask(plate, { do: 'limits', limit_A: 0.1, over_voltage_V: 90 })).toMatchObject({
      code: 'read-back differs',
      outcome: 'unknown',
    })
    const first = answering(set(), 'NSEL 1;:CURR?', '0.0500')
    expect(first.ask(plate, { do: 'limits', limit_A: 0.1, over_voltage_V: 90 })).toMatchObject({
      code: 'read-back differs',
      outcome: 'not done',
    })
  })

  it('when ON is to be said keeps it from being said, whichever of the settings it is', () => {
    for (const [question, said] of [
      ['NSEL 1;:VOLT?', '55.00'],
      ['NSEL 1;:CURR?', '0.4000'],
      ['NSEL 1;:VOLT:PROT?', '250.00'],
    ] as const) {
      const line = answering(set(), question, said)
      expect(line.ask(plate, { do: 'on' }), question).toMatchObject({
        kind: 'failed',
        code: 'read-back differs',
        outcome: 'not done',
      })
      expect(count(line, ':OUTP ON')).toBe(0)
    }
  })

  it('after ON leaves it perhaps on, and ON is not said again', () => {
    const line = answering(set(), 'NSEL 1;:OUTP?', '0')
    expect(line.ask(plate, { do: 'on' })).toMatchObject({ code: 'read-back differs', outcome: 'unknown' })
    expect(count(line, ':OUTP ON')).toBe(1)
  })

  it('is told with what it means and what to do', () => {
    const line = answering(set(), 'NSEL 1;:VOLT?', '50.00')
    const id = line.request(plate, { do: 'set', volts: 60 })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(text(line, id)).toBe(
      'BENCH.plate on port BENCH, "set": its set-point reads back as 50 V, after sending 60 V. It does not hold what it is told: see whether somebody has its panel, and whether its digits and resolution in the bench file are its own. It was not done.',
    )
  })
})

describe('the errors that a supply has queued', () => {
  it('are read until none is left, and the first of them is the reason', () => {
    const line = set()
    const queue = ['-221,"Settings conflict"', '-113,"Undefined header"']
    line.answer = (_, asked) =>
      asked.includes('NSEL 1;:VOLT?') ? '50.00' : asked.includes('SYST:ERR?') ? queue.shift() : undefined
    const id = line.request(plate, { do: 'set', volts: 60 })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(count(line, 'SYST:ERR?')).toBe(3)
    expect(text(line, id)).toBe(
      'BENCH.plate on port BENCH, "set": its set-point reads back as 50 V, after sending 60 V; the supply says -221 "Settings conflict": another of its settings stands in the way: a protection level, or its dead-man. It was not done.',
    )
    expect(line.faults).toMatchObject({ read_back_differs: 1, supply_error: 2 })
  })

  it('that never end are left after ten', () => {
    const line = set()
    line.answer = (_, asked) =>
      asked.includes('NSEL 1;:VOLT?') ? '50.00' : asked.includes('SYST:ERR?') ? '-113,"x"' : undefined
    const id = line.request(plate, { do: 'set', volts: 60 })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(count(line, 'SYST:ERR?')).toBe(11)
    expect(text(line, id).match(/-113/g)).toHaveLength(1)
  })

  it('refuse limits although these read back as sent', () => {
    const line = opened()
    let asked = 0
    line.answer = (_, words) =>
      words.includes('SYST:ERR?') && asked++ === 0 ? '-222,"Data out of range"' : undefined
    const id = line.request(plate, { do: 'limits', limit_A: 0.05, over_voltage_V: 70 })
    line.until('an outcome', () => line.came(id) !== undefined)
    expect(line.came(id)).toMatchObject({ code: 'refused', outcome: 'unknown' })
    expect(text(line, id)).toContain(
      'setting the limits: the supply says -222 "Data out of range": beyond what',
    )
    expect(text(line, id)).not.toContain('It does not hold what it is told')
    expect(line.faults).toEqual({ supply_error: 1 })
  })

  it('cannot be asked of a supply without words for it: the request fails at once', () => {
    const line = answering(set({ error_query: null }), 'NSEL 1;:VOLT?', '50.00')
    expect(line.ask(plate, { do: 'set', volts: 60 })).toMatchObject({ code: 'read-back differs' })
    expect(count(line, 'SYST:ERR?')).toBe(0)
  })
})

describe('OFF', () => {
  it('that reads back as on is said four times before it fails, with what to do', () => {
    const line = answering(set(), 'NSEL 1;:OUTP?', '1')
    const came = line.ask(plate, { do: 'off' })
    expect(came).toMatchObject({ kind: 'failed', code: 'read-back differs', outcome: 'unknown' })
    expect(came).toHaveProperty('text', expect.stringContaining('its output reads back as on'))
    expect(count(line, 'NSEL 1;:OUTP OFF')).toBe(4)
    expect(count(line, 'NSEL 2;:OUTP OFF')).toBe(0)
  })

  it('obeyed at the second time is done, and said no more', () => {
    const line = set()
    let asked = 0
    line.answer = (_, words) => (words.includes('NSEL 1;:OUTP?') && asked++ === 0 ? '1' : undefined)
    expect(line.ask(plate, { do: 'off' })?.kind).toBe('done')
    expect(count(line, ':OUTP OFF')).toBe(2)
    expect(line.kinds('output').at(-1)).toMatchObject({ channel: plate, on: false })
  })

  it.each([
    [null, 'no reply'],
    ['x', 'bad reply'],
  ] as const)(
    'whose read-back stays away or cannot be read (%s) fails once it was said four times',
    (said, code) => {
      const line = answering(set(), 'NSEL 1;:OUTP?', said)
      expect(line.ask(plate, { do: 'off' })).toMatchObject({ kind: 'failed', code, outcome: 'unknown' })
      expect(count(line, 'NSEL 1;:OUTP OFF')).toBe(4)
    },
  )

  it('that is not read back is said again with every two questions missed', () => {
    const line = answering(set(), 'NSEL 1;:OUTP?', null)
    // A line that never answers this is opened afresh in between.
    const id = line.request(plate, { do: 'off' })
    line.until('an outcome or another connection', () => {
      if (line.state.link === 'closed') line.give({ kind: 'opened' })
      return line.came(id) !== undefined || count(line, 'NSEL 1;:OUTP OFF') > 2
    })
    expect(count(line, 'NSEL 1;:OUTP OFF')).toBeGreaterThan(1)
  })
})

describe('zero', () => {
  it('whose current limit does not follow says that again, three times, and not its volts', () => {
    const line = answering(set(), 'NSEL 1;:CURR?', '0.0500')
    expect(line.ask(plate, { do: 'zero' })).toMatchObject({ kind: 'failed', code: 'read-back differs' })
    expect(count(line, 'NSEL 1;:CURR 0')).toBe(4)
    expect(count(line, 'NSEL 1;:VOLT 0')).toBe(1)
  })

  it('whose volts do not follow says those again, and its current limit not before', () => {
    const line = answering(set(), 'NSEL 1;:VOLT?', '50.00')
    expect(line.ask(plate, { do: 'zero' })).toMatchObject({ kind: 'failed', code: 'read-back differs' })
    expect(count(line, 'NSEL 1;:VOLT 0')).toBe(4)
    expect(count(line, 'NSEL 1;:CURR 0')).toBe(0)
  })
})

describe('a supply that does not obey where nobody asked for anything', () => {
  const lost = (line: HandLine) => line.kinds('line lost').map((event) => event.text)

  it('by a refusal as it opens may raise nothing; the rest of its opening goes on', () => {
    const line = new HandLine(configOf({ acknowledges: 'OK', at_open: [':SYST:DEL 0', ':SYST:PON OFF'] }))
    line.answer = (_, asked) => (asked === ':SYST:DEL 0' ? 'ERR' : undefined)
    line.open()
    expect(lost(line)).toEqual(['port BENCH: the supply says "ERR" instead of "OK"'])
    expect(count(line, ':SYST:DEL 0')).toBe(1)
    expect(count(line, ':SYST:PON OFF')).toBe(1)
    expect(line.state).toMatchObject({ made_safe: true, lost: true, urgent: null })
    expect(line.ask(plate, { do: 'set', volts: 1 })).toMatchObject({ kind: 'failed', code: 'refused' })
    expect(line.ask(plate, { do: 'off' })?.kind).toBe('done')
  })

  it('by other settings on a later connection is lost at the first that differs, and looked at to the end', () => {
    const line = answering(set(), 'NSEL 1;:CURR?', '0.4000').give({ kind: 'opened' })
    line.until('ready', () => line.state.link === 'ready')
    expect(lost(line)).toEqual(['port BENCH: its current limit reads back as 0.4 A, was set to 0.05 A'])
    expect(count(line, 'NSEL 1;:CURR?')).toBe(1)
    expect(count(line, 'NSEL 1;:VOLT:PROT?')).toBe(1)
    // Its output was seen to be off: there is nothing to switch off.
    expect(line.state).toMatchObject({ made_safe: true, urgent: null })
  })

  const dead_man = {
    arm: ['DM {s}', 'DM ON'],
    feed: 'DM FEED',
    after_s: 2,
    per: 'supply',
    ask_armed: 'DM?',
    ask_expired: null,
  } as const

  it('by a dead-man that does not arm is told so four times over, then lost', () => {
    const line = answering(new HandLine(configOf({ dead_man })), 'DM?', '0').open()
    expect(count(line, 'DM ON')).toBe(4)
    // Its time goes with it: armed alone it would have that of before.
    expect(lost(line)).toHaveLength(1)
    expect(lost(line)[0]).toContain('its dead-man does not read back as armed')
    expect(line.state.made_safe).toBe(true)
  })

  it('by one that does not arm again, once readings come on a later connection, likewise', () => {
    const line = opened({ dead_man })
    line.until('readings', () => line.kinds('reading').length > 8)
    answering(line, 'DM?', '0').give({ kind: 'opened' }).afresh()
    line.until('the line is lost', () => line.state.lost)
    expect(count(line, 'DM ON')).toBe(4)
    expect(lost(line)[0]).toContain('its dead-man does not read back as armed')
    expect(line.state.made_safe).toBe(true)
    expect(line.ask(plate, { do: 'set', volts: 1 })).toMatchObject({ kind: 'failed', code: 'refused' })
  })

  it('in something that has nothing to do with its dead-man leaves that armed, and does not arm it anew', () => {
    const line = opened({ dead_man, error_query: null })
    answering(line, 'NSEL 1;:VOLT?', '50.00').afresh()
    expect(line.ask(plate, { do: 'set', volts: 60 })).toMatchObject({ code: 'read-back differs' })
    expect(line.state.unarmed).toBe(false)
    line.until('it is fed', () => count(line, 'DM FEED') > 0)
    expect(count(line, 'DM ON')).toBe(0)
  })

  it('where a question of arming it gets no answer has it armed again', () => {
    const line = opened({ dead_man })
    line.until('readings', () => line.kinds('reading').length > 8)
    answering(line, 'DM?', null).give({ kind: 'opened' }).afresh()
    line.until('two questions missed', () => count(line, 'DM?') === 2 && line.state.unarmed)
    line.answer = () => undefined
    line.until('armed', () => count(line, 'DM ON') === 2 && !line.state.unarmed)
    expect(lost(line)).toEqual([])
  })
})

describe('a limit that stands otherwise than it was set, found in its turn', () => {
  /** Its plate on, and its current limit answered with these in their order, then rightly. */
  function on(...limits: string[]): HandLine {
    const line = set()
    expect(line.ask(plate, { do: 'on' })?.kind).toBe('done')
    line.answer = (_, asked) =>
      asked.includes('NSEL 1;:OUTP?') ? '1' : asked.includes('NSEL 1;:CURR?') ? limits.shift() : undefined
    line.afresh().give({ kind: 'pace', poll_us: 200_000 })
    return line.until('both were said', () => limits.length === 0)
  }
  const lost = (line: HandLine) => line.kinds('line lost').length

  it('is asked again at once, and twice so has the line switch off and nothing else', () => {
    const line = on('0.4000', '0.4000')
    expect([count(line, 'NSEL 1;:CURR?'), lost(line), line.state.made_safe]).toEqual([2, 1, true])
    const [first, second] = line.written('NSEL 1;:CURR?').map(({ t_us }) => t_us)
    expect((second ?? 0) - (first ?? 0)).toBe(10_000)
    expect(line.ask(plate, { do: 'set', volts: 1 })).toMatchObject({ kind: 'failed', code: 'refused' })
  })

  it('once only was a garbled digit', () => {
    const line = on('0.4000', '0.0500')
    expect([count(line, 'NSEL 1;:CURR?'), lost(line), line.state.made_safe]).toEqual([2, 0, false])
  })
})

describe('a meter on a line of its own', () => {
  it('whose answer cannot be read twice has the line prove itself, like any other question', () => {
    const meter = { name: 'M', measures: 'V', limit: 1000 } as const
    const line = new HandLine({ ...configOf(), channels: [], meter, inputs: [] }).open()
    answering(line, 'MEAS:VOLT?', 'x').asked('MEAS:VOLT?')
    line.says('x').asked('MEAS:VOLT?').says('x')
    expect(line.state).toMatchObject({ link: 'quiet', quiet_then: 'identify' })
    expect(line.faults).toMatchObject({ asked_again: 1, resynchronised: 1 })
  })
})

describe('a read-only channel beside the outputs', () => {
  const lid = { name: 'lid', measures: 'contact', limit: 1, ask: 'LID?', every_us: 100_000 } as const
  const watched = (): HandLine => new HandLine({ ...configOf(), inputs: [lid] }).open()

  it('that does not answer, or not so that it can be read, is not asked at once again: its turn comes, more rarely', () => {
    for (const said of [null, 'x']) {
      const line = answering(watched(), 'LID?', said).afresh()
      line.until('four questions', () => count(line, 'LID?') === 4)
      const times = line.written('LID?').map(({ t_us }) => t_us)
      const gaps = times.slice(1).map((at, n) => at - (times[n] ?? 0))
      // Twice as long each time, and the round that is under way by then.
      expect(gaps[0]).toBeGreaterThanOrEqual(200_000)
      expect(gaps[1]).toBeGreaterThanOrEqual(400_000)
      expect(gaps[2]).toBeGreaterThanOrEqual(800_000)
      expect(line.kinds('line lost')).toEqual([])
    }
  })

  it('that fails leaves the readings of the outputs as they were', () => {
    const line = answering(watched(), 'LID?', 'x').afresh()
    line.until('readings', () => line.kinds('reading').length > 20)
    expect(line.kinds('line lost')).toEqual([])
    expect(line.outputs.some(({ output }) => output.kind === 'reopen')).toBe(false)
  })
})
