import { describe, expect, it } from 'vitest'
import { lineConfigOf, type LineConfig } from '../../src/line/index.js'
import { HandLine } from '../helpers/hand-line.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/*
 * The ladder of recovery, rung by rung and at its times: a late reply must never answer the next question, an OFF must outlive
 * every rung, and nothing half done may be said a second time.
 */

const network = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true } as const
const supply = supplyOf(fullDialect, { plate: channelOf(1), bias: channelOf(2) }, { line: network })
const config: LineConfig = { ...lineConfigOf('BENCH', supply), reply_us: 1_000_000 }
const opened = (change: Partial<LineConfig> = {}): HandLine => new HandLine({ ...config, ...change }).open()
const identity = supply.identity ?? ''

describe('the silence before anything is asked again', () => {
  it('is 0.2 s before who is there is asked, and 0.1 s before a question asked once more', () => {
    const line = opened().asked('MEAS:VOLT?')
    line.afresh().pass(1_000_000)
    expect(line.state.link).toBe('quiet')
    const missed_us = line.t_us
    line.pass(300_000)
    expect(line.written().map(({ t_us, text }) => [t_us - missed_us, text])).toEqual([
      [200_000, '\n:SYST:REM\n*CLS\n'],
      [200_000, '*IDN?\n'],
    ])

    const bad = opened().asked('MEAS:VOLT?').says('x').afresh()
    const heard_us = bad.t_us
    bad.pass(300_000)
    expect(bad.written().map(({ t_us, text }) => [t_us - heard_us, text])).toEqual([
      [100_000, ':INST:NSEL 1;:MEAS:VOLT?\n'],
    ])
  })

  it('is no longer than a reply may take, on a supply that is quick', () => {
    for (const spoil of [(line: HandLine) => line.says('x'), (line: HandLine) => line.pass(30_000)]) {
      const line = spoil(opened({ reply_us: 30_000 }).asked('MEAS:VOLT?')).afresh()
      const from_us = line.t_us
      line.pass(300_000)
      expect(line.written()[0]?.t_us).toBe(from_us + 30_000)
    }
  })

  it('begins anew with everything that still comes, and who is there is asked behind it', () => {
    const line = opened().asked('MEAS:VOLT?').says('x').afresh()
    line.pass(90_000).says('1.00')
    const late_us = line.t_us
    line.pass(300_000)
    expect(line.faults).toMatchObject({ late_reply: 1 })
    expect(line.written()[0]).toEqual({ t_us: late_us + 200_000, text: '\n:SYST:REM\n*CLS\n' })
  })

  it('while a connection is looked at for the first time leaves it not ready: all of it is looked at first', () => {
    const line = new HandLine(config).give({ kind: 'opened' }).asked('NSEL 1;:OUTP?')
    line.says('x').pass(100_000)
    expect(line.state.link).toBe('opening')
    line.says('0').asked('NSEL 2;:OUTP?')
    expect(line.state).toMatchObject({ link: 'opening', been_ready: false })
    line.says('0')
    expect(line.state).toMatchObject({ link: 'ready', been_ready: true })
  })

  it('is not waited for without end: two seconds of talk, and nobody has answered', () => {
    const line = new HandLine(config).give({ kind: 'opened' })
    for (let n = 0; n < 19; n++) line.pass(99_000).says('7.00')
    expect(line.kinds('line trouble')).toEqual([])
    line.pass(99_000).says('7.00')
    expect(line.t_us).toBe(2_000_000)
    expect(line.kinds('line trouble')).toEqual([
      {
        kind: 'line trouble',
        port: 'BENCH',
        fault: 'unasked_reply',
        text: expect.stringContaining(
          'bytes keep coming that nobody asked for. Something talks on',
        ) as string,
      },
    ])
    expect(line.written('*IDN?')).toEqual([])
  })

  it('that was kept to its end is enough, though it ends with those two seconds or was looked at only later', () => {
    const line = new HandLine(config).give({ kind: 'opened' })
    for (let n = 0; n < 9; n++) line.pass(199_000).says('7.00')
    expect([line.t_us, line.written('*IDN?')]).toEqual([1_800_000, []])
    line.pass(200_000)
    expect([line.written('*IDN?').length, line.kinds('line trouble')]).toEqual([1, []])
    const late = new HandLine(config).give({ kind: 'opened' })
    late.t_us = 10_000_000
    late.give({ kind: 'time' })
    expect([late.written('*IDN?').length, late.kinds('line trouble')]).toEqual([1, []])
  })

  it('that is not kept once it could be opened is told as that, and not as what kept it from being opened', () => {
    const line = new HandLine(config).give({ kind: 'closed', text: 'no such port' }).give({ kind: 'opened' })
    for (let n = 0; n < 20; n++) line.pass(99_000).says('7.00')
    expect(line.kinds('line trouble')).toMatchObject([{ fault: 'unasked_reply' }])
  })

  it('that is never kept on a connection made anew is told with what became of the one before', () => {
    const line = opened().give({ kind: 'closed', text: 'unplugged' }).give({ kind: 'opened' })
    line.afresh()
    for (let n = 0; n < 20; n++) line.pass(99_000).says('7.00')
    expect(line.kinds('line trouble')).toEqual([
      {
        kind: 'line trouble',
        port: 'BENCH',
        fault: 'connection_lost',
        text: expect.stringMatching(
          /^Port BENCH: the connection closed \(unplugged\)\. Its connection went: look at the plug/,
        ) as string,
      },
    ])
  })

  it('is kept after an identity that was asked for more than once, until no other can come', () => {
    const line = new HandLine(config).give({ kind: 'opened' }).asked('*IDN?')
    // Its deadline, a second silence, and the question again: two identities are due.
    line.pass(1_000_000).asked('*IDN?').afresh().says(identity)
    const heard_us = line.t_us
    expect(line.state.link).toBe('quiet')
    line.pass(1_499_000)
    expect(line.written()).toEqual([])
    line.pass(1000)
    expect(line.written()[0]).toEqual({ t_us: heard_us + 1_500_000, text: ':INST:NSEL 1;:OUTP?\n' })
  })
})

describe('a question that keeps failing', () => {
  it('is asked again, then after who is there, then on a fresh connection', () => {
    const line = opened()
    line.answer = (_, asked) => (asked.includes('MEAS') ? 'x' : undefined)
    line.afresh().until('a fresh connection', () => line.state.link === 'closed')
    expect(line.rungs().map(([rung]) => rung)).toEqual(['ask again', 'resynchronise', 'reopen'])
    expect(line.faults).toMatchObject({ unparsable: 6, asked_again: 2, resynchronised: 3 })
    expect(line.outputs.filter(({ output }) => output.kind === 'reopen').map(({ output }) => output)).toEqual(
      [
        {
          kind: 'reopen',
          text: expect.stringMatching(
            /^port BENCH: its replies keep failing \(last: .*\); opening it afresh$/,
          ) as string,
        },
      ],
    )
    expect(line.rungs().at(-1)?.[1]).toMatch(
      /^port BENCH: its replies keep failing \(last: a reply that cannot be read \("x"\) to .*\); opening it afresh$/,
    )
  })

  it('is troubled no more once it was answered: the ladder begins at its foot', () => {
    const line = opened()
    let bad = 0
    line.answer = (_, asked) => (asked.includes('MEAS') && bad++ % 4 < 3 ? 'x' : undefined)
    line.afresh().until('many troubles', () => bad > 40)
    expect(line.kinds('line lost')).toEqual([])
    expect(line.outputs.some(({ output }) => output.kind === 'reopen')).toBe(false)
  })
})

describe('a supply where nobody answers', () => {
  const silent = (line: HandLine): HandLine => {
    line.answer = () => null
    return line
  }
  const asksUntilReopen = (line: HandLine): number => {
    line.until('a fresh connection', () => line.state.link === 'closed')
    return line.written('*IDN?').length
  }

  it('has five questions who is there as it opens, for one that resets then, and two later', () => {
    const fresh = silent(new HandLine(config)).give({ kind: 'opened' })
    expect(asksUntilReopen(fresh)).toBe(5)
    const before = opened()
    before.until('a reading', () => before.kinds('reading').length > 0)
    expect(asksUntilReopen(silent(before.afresh()))).toBe(2)
  })

  it('is opened afresh three times, then lost: requests fail, it is told once, and the ladder is climbed for ever', () => {
    const line = opened()
    silent(line)
    const id = line.request('BENCH.plate', { do: 'set', volts: 10 })
    for (let n = 1; n <= 3; n++) {
      line.until('a fresh connection', () => line.state.link === 'closed')
      expect(line.state.lost, String(n)).toBe(n === 3)
      if (n < 3) line.give({ kind: 'opened' })
    }
    expect(line.came(id)).toMatchObject({ kind: 'failed' })
    expect(line.state.made_safe).toBe(true)
    const lost = line.kinds('line lost')
    expect(lost).toEqual([
      {
        kind: 'line lost',
        port: 'BENCH',
        text: 'port BENCH: nobody answers. It says nothing: look at its mains, its plug and its cable, and whether its interface is switched on at this speed.',
      },
    ])
    expect(line.rungs().map(([rung]) => rung)).toContain('give up')
    for (let n = 0; n < 4; n++) {
      line.give({ kind: 'opened' }).until('a fresh connection', () => line.state.link === 'closed')
    }
    expect(line.kinds('line lost')).toEqual(lost)
    expect(line.faults.given_up).toBe(1)
  })

  it('keeps silence for a whole second once it is lost', () => {
    const line = opened()
    silent(line)
    for (let n = 1; n <= 3; n++) {
      line.until('a fresh connection', () => line.state.link === 'closed')
      line.give({ kind: 'opened' })
    }
    line.afresh()
    const from_us = line.t_us
    line.pass(2_000_000)
    expect(line.written('*IDN?')[0]?.t_us).toBe(from_us + 1_000_000)
  })

  it('says what the trouble was, not only that nobody answers', () => {
    const line = opened().asked('MEAS:VOLT?')
    line.afresh().pass(1_000_000)
    expect(line.kinds('line trouble')).toEqual([
      {
        kind: 'line trouble',
        port: 'BENCH',
        fault: 'no_reply',
        text: 'Port BENCH: no reply to ":INST:NSEL 1;:MEAS:VOLT?" in time. It says nothing: look at its mains, its plug and its cable, and whether its interface is switched on at this speed.',
      },
    ])
    expect(line.rungs()).toEqual([
      [
        'resynchronise',
        'port BENCH: no reply to ":INST:NSEL 1;:MEAS:VOLT?" in time; silence and identity first, then the question again',
      ],
    ])
  })
})

describe('a connection that closes', () => {
  const reopens = (line: HandLine) =>
    line.outputs.flatMap(({ t_us, output }) => (output.kind === 'reopen' ? [[t_us, output.text]] : []))

  it('is opened again after 0.1 s; asked for again where the answer stays away for 5 s; and where it cannot be, after 1 s', () => {
    const line = opened()
    line.afresh().give({ kind: 'closed', text: 'unplugged' })
    const closed_us = line.t_us
    line.pass(5_200_000)
    const text = 'port BENCH: opening it again'
    expect(reopens(line)).toEqual([
      [closed_us + 100_000, text],
      [closed_us + 5_100_000, text],
    ])
    line.afresh().give({ kind: 'closed', text: 'no such port' })
    const refused_us = line.t_us
    line.pass(1_000_000)
    expect(reopens(line)).toEqual([[refused_us + 1_000_000, text]])
  })

  it('on a line that is lost is opened again after a second: there is no hurry any more', () => {
    const line = opened()
    line.answer = () => null
    for (let n = 1; n <= 3; n++) {
      line.until('a fresh connection', () => line.state.link === 'closed')
      line.give({ kind: 'opened' })
    }
    line.afresh().give({ kind: 'closed', text: 'unplugged' })
    const closed_us = line.t_us
    line.pass(1_000_000)
    expect(reopens(line)).toEqual([[closed_us + 1_000_000, 'port BENCH: opening it again']])
  })

  it('that could be made only when asked for again is counted as opened again', () => {
    const line = new HandLine(config).give({ kind: 'closed', text: 'no such port' })
    line.pass(1_000_000).give({ kind: 'opened' })
    expect(line.faults).toEqual({ reopened: 1 })
    expect(new HandLine(config).give({ kind: 'opened' }).faults).toEqual({})
  })

  it('is told as a rung of the ladder', () => {
    const line = opened()
    line.afresh().give({ kind: 'closed', text: 'unplugged' }).pass(100_000)
    expect(line.rungs()).toEqual([['reopen', 'port BENCH: opening it again']])
  })

  it('counts once, and as a write that was not taken only where that was so', () => {
    const line = opened().give({ kind: 'closed', text: 'unplugged' }).give({ kind: 'closed', text: 'again' })
    expect(line.faults).toEqual({ connection_lost: 1 })
    line.give({ kind: 'opened' }).give({ kind: 'closed', text: 'a write was not taken', stuck: true })
    expect(line.faults).toEqual({ connection_lost: 2, reopened: 1, write_failed: 1 })
    const never = new HandLine(config).give({ kind: 'closed', text: 'no such port' })
    expect(never.faults).toEqual({})
  })

  it('fails the set-point half done as perhaps done, those behind it as not done, and leaves OFF and zero', () => {
    const line = opened()
    const half = line.request('BENCH.plate', { do: 'set', volts: 10 })
    line.asked('NSEL 1;:VOLT?')
    const off = line.request('BENCH.plate', { do: 'off' })
    const behind = line.request('BENCH.bias', { do: 'set', volts: 10 })
    const zero = line.request('BENCH.bias', { do: 'zero' })
    line.afresh().give({ kind: 'closed', text: 'unplugged' })
    expect(line.kinds('failed')).toMatchObject([
      { id: half, code: 'closed', outcome: 'unknown' },
      { id: behind, code: 'closed', outcome: 'not done' },
    ])
    for (const { text } of line.kinds('failed')) expect(text).toContain('the connection closed (unplugged)')
    line.give({ kind: 'opened' }).until('zero', () => line.came(zero)?.kind === 'done')
    expect(line.came(off)?.kind).toBe('done')
    expect(line.written(':VOLT 10')).toEqual([])
  })

  it('loses what was known of its outputs', () => {
    const line = opened()
    expect(line.state.channels.map(({ output }) => output)).toEqual([false, false])
    line.give({ kind: 'closed', text: 'unplugged' })
    expect(line.state.channels.map(({ output }) => output)).toEqual([null, null])
  })

  it('with OFF under way has it begun anew, before what came behind it', () => {
    const line = opened()
    const first = line.request('BENCH.plate', { do: 'off' })
    line.until('OFF is read back', () => line.state.work?.request?.id === first && line.state.work.at === 2)
    const second = line.request('BENCH.bias', { do: 'off' })
    line.give({ kind: 'closed', text: 'unplugged' }).afresh().give({ kind: 'opened' })
    line.until('both', () => line.came(second) !== undefined)
    expect(line.came(first)?.kind).toBe('done')
    // Both at once as it opens, and each in its turn, to be read back.
    expect(line.written('OUTP OFF').map(({ text }) => text)).toEqual([
      ':INST:NSEL 1;:OUTP OFF\n',
      ':INST:NSEL 2;:OUTP OFF\n',
      ':INST:NSEL 1;:OUTP OFF\n',
      ':INST:NSEL 2;:OUTP OFF\n',
    ])
  })

  it('with OFF waiting says it before it looks: what it asks then may never be answered', () => {
    const line = opened()
    line.give({ kind: 'closed', text: 'unplugged' })
    line.request('BENCH.bias', { do: 'off' })
    line.afresh().give({ kind: 'opened' })
    line.until('asks what is on', () => line.written('OUTP?').length > 0)
    expect(line.written('OUTP OFF').map(({ text }) => text)).toEqual([':INST:NSEL 2;:OUTP OFF\n'])
  })

  it('again and again, and cannot be opened, is lost as what it is', () => {
    const line = opened()
    line.give({ kind: 'closed', text: 'unplugged' })
    for (let n = 0; n < 3; n++) line.pass(1_000_000).give({ kind: 'closed', text: 'no such port' })
    expect(line.kinds('line lost')).toEqual([
      { kind: 'line lost', port: 'BENCH', text: 'port BENCH: it cannot be opened (no such port)' },
    ])
    const dropped = opened()
    for (let n = 0; n < 3; n++) {
      dropped.give({ kind: 'closed', text: 'unplugged' }).pass(100_000)
      expect(dropped.state.lost).toBe(false)
      dropped.give({ kind: 'opened' })
    }
    dropped.give({ kind: 'closed', text: 'unplugged' })
    expect(dropped.kinds('line lost')[0]?.text).toBe(
      'port BENCH: the connection closed (unplugged). Its connection went: look at the plug of its adapter or of its network cable.',
    )
  })
})

describe('a connection given up by the line itself', () => {
  it('fails only what was half done on it: OFF behind that is said on the next', () => {
    const line = opened()
    const half = line.request('BENCH.plate', { do: 'set', volts: 10 })
    line.asked('NSEL 1;:VOLT?')
    const off = line.request('BENCH.plate', { do: 'off' })
    // The shell opens another connection while this one is still thought to be open.
    line.afresh().give({ kind: 'opened' })
    expect(line.kinds('failed')).toMatchObject([{ id: half, code: 'closed', outcome: 'unknown' }])
    expect(line.kinds('failed')[0]?.text).toContain('the connection had to be given up')
    line.until('OFF', () => line.came(off)?.kind === 'done')
    expect(line.written(':VOLT 10')).toEqual([])
  })
})
