import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import { lineConfigOf, openLine } from '../../src/line/index.js'
import { draftOf } from '../../src/line/draft.js'
import { judge, type Verdict } from '../../src/line/judge.js'
import type { Want } from '../../src/line/moves.js'
import { setChannel, type Draft } from '../../src/line/state.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/* One reply at a time, to each kind of question: whether it is believed, what it is called, and what it tells. */

const name = 'BENCH.plate'
function asked(
  want: Want,
  said: string,
  before: (d: Draft) => void = () => undefined,
  words: Partial<Dialect> = {},
) {
  const supply = supplyOf({ ...fullDialect, ...words }, { plate: channelOf(1) })
  const d = draftOf(openLine(lineConfigOf('BENCH', supply)))
  before(d)
  const verdict: Verdict = judge(
    d,
    { kind: 'ask', text: '?', channel: 0, want, slow_us: 0, around: null },
    said,
  )
  const events = d.outputs.flatMap((output) => (output.kind === 'event' ? [output.event] : []))
  return { verdict, events, channel: d.channels[0] }
}

const questions = {
  'a reading': { is: 'reading', quantity: 'V' },
  'a setting': { is: 'setting', which: 'set_V', sent: 60, within: 0.006, check: false },
  'a guard': { is: 'guard', which: 'over_V', check: false },
  'an output': { is: 'output', on: null },
  'a regulation': { is: 'regulation', mask: 1, cv_mask: 2 },
  'a protection by its word': { is: 'tripped', which: 'over-voltage', mask: null },
  'a protection by its bit': { is: 'tripped', which: 'over-voltage', mask: 16 },
  'an armed dead-man': { is: 'armed', armed: true },
  'the time of a dead-man': { is: 'dead-man time', sent_s: 2 },
  errors: { is: 'errors' },
} as const satisfies Record<string, Want>

const meter = { is: 'meter', meter: { name: 'M1', measures: 'V', limit: 1000 } } as const satisfies Want

describe('a reply that cannot be an answer', () => {
  it.each(Object.entries(questions))('to %s is none, tells nothing and changes nothing', (_, want) => {
    const before = asked(want, '').channel
    for (const said of ['', 'x', '1.2.3', '"', '2', '-3,', '99999', '0x10']) {
      if (said === '2' && !['output', 'guard', 'armed'].includes(want.is)) continue
      if (said === '99999' && ['errors', 'dead-man time', 'setting'].includes(want.is)) continue
      const { verdict, events, channel } = asked(want, said)
      expect(verdict.is, said).toBe('bad')
      expect(events, said).toEqual([])
      expect(channel).toEqual(before)
    }
  })

  it('is called noise, a number out of range, or one that cannot be read, and shown', () => {
    const bad = (said: string) => asked(questions['a reading'], said).verdict
    expect(bad('\u00a51')).toEqual({ is: 'bad', fault: 'line_noise', why: 'line noise ("?1")' })
    expect(bad('9.9E37')).toMatchObject({ fault: 'out_of_range', why: 'a number out of range ("9.9E37")' })
    expect(bad('9000')).toMatchObject({ fault: 'out_of_range', why: 'a number out of range ("9000")' })
    expect(bad('ON')).toMatchObject({ fault: 'unparsable', why: 'a reply that cannot be read ("ON")' })
    expect(bad(' 9000 ')).toMatchObject({ fault: 'out_of_range' })
    expect(asked(questions['a setting'], '9.9E37').verdict).toMatchObject({ fault: 'out_of_range' })
    expect(asked(meter, '-1000.1').verdict).toMatchObject({ fault: 'out_of_range' })
    // A number is no answer to a question that wants none.
    expect(asked(questions['an output'], '9000').verdict).toMatchObject({ fault: 'unparsable' })
  })
})

describe('a reading', () => {
  it('is believed up to a fifth and ten digits above what its channel can give, either sign, and no further', () => {
    const of = (said: string, quantity: 'V' | 'A') => asked({ is: 'reading', quantity }, said).verdict.is
    expect([of('360.09', 'V'), of('-360.09', 'V'), of('360.11', 'V')]).toEqual(['good', 'good', 'bad'])
    expect([of('360.1', 'V'), of('-360.1', 'V')]).toEqual(['good', 'good'])
    expect([of('0.6009', 'A'), of('-0.6009', 'A'), of('0.6011', 'A')]).toEqual(['good', 'good', 'bad'])
  })

  it('of volts is none of the current: what was read of that, and when, stays', () => {
    const read = (quantity: 'V' | 'A') =>
      asked({ is: 'reading', quantity }, '0.25', (d) => {
        setChannel(d, 0, { amps: 0.04, read_us: 7 })
        d.t_us = 9
      }).channel
    expect(read('V')).toMatchObject({ amps: 0.04, read_us: 7 })
    expect(read('A')).toMatchObject({ amps: 0.25, read_us: 9 })
  })
})

describe('what a meter shows', () => {
  it('is believed up to its limit, either sign, and no further', () => {
    const { verdict, events } = asked(meter, '-999.9')
    expect([verdict.is, events]).toEqual([
      'good',
      [{ kind: 'meter', meter: 'M1', value: { n: -9999, k: 1 } }],
    ])
    for (const said of ['1000.1', '-1000.1'])
      expect(asked(meter, said)).toMatchObject({ verdict: { is: 'bad' }, events: [] })
  })
})

describe('an output', () => {
  it('is told as it reads back, and differs where it was to be otherwise', () => {
    const on = asked({ is: 'output', on: false }, '1')
    expect(on.verdict).toEqual({ is: 'differs', unchanged: false, why: 'its output reads back as on' })
    expect(on.events).toEqual([{ kind: 'output', channel: name, on: true }])
    expect(asked({ is: 'output', on: true }, '0').verdict).toMatchObject({
      why: 'its output reads back as off',
    })
    for (const wanted of [null, true])
      expect(asked({ is: 'output', on: wanted }, 'ON').verdict.is).toBe('good')
  })
})

describe('what holds the current', () => {
  it('is one bit, two bits that agree, or unknown where both or neither stand', () => {
    const mode = (bits: string, cv_mask: number | null) =>
      asked({ is: 'regulation', mask: 1, cv_mask }, bits).events.map((event) =>
        event.kind === 'regulation' ? event.mode : event.kind,
      )
    expect(['0', '1', '2', '3'].map((bits) => mode(bits, 2)[0])).toEqual([
      'unknown',
      'current',
      'voltage',
      'unknown',
    ])
    expect(['0', '1', '2'].map((bits) => mode(bits, null)[0])).toEqual(['voltage', 'current', 'voltage'])
  })
})

describe('protections', () => {
  const had = (d: Draft): void => {
    setChannel(d, 0, { tripped: ['over-current', 'over-voltage'] })
  }
  it('that fired are told once, and one that is cleared at its panel leaves the others as they are', () => {
    const fired = asked(questions['a protection by its bit'], '24')
    expect(fired.events).toEqual([{ kind: 'protection', channel: name, which: 'over-voltage' }])
    expect(fired.channel?.tripped).toEqual(['over-voltage'])
    expect(asked(questions['a protection by its bit'], '8').channel?.tripped).toEqual([])
    const again = asked(questions['a protection by its word'], '1', had)
    expect([again.events, again.channel?.tripped]).toEqual([[], ['over-current', 'over-voltage']])
    const cleared = asked(questions['a protection by its word'], '0', had)
    expect([cleared.events, cleared.channel?.tripped]).toEqual([[], ['over-current']])
  })

  it('that are switched off are named by what they guard; whether that is asked again decides whether it counts as unchanged', () => {
    expect(asked({ is: 'guard', which: 'over_V', check: false }, '1').verdict.is).toBe('good')
    expect(asked({ is: 'guard', which: 'over_V', check: false }, '0').verdict).toEqual({
      is: 'differs',
      unchanged: false,
      why: 'its over-voltage protection reads back as switched off, and was switched on',
    })
    expect(asked({ is: 'guard', which: 'over_A', check: true }, '0').verdict).toEqual({
      is: 'differs',
      unchanged: true,
      why: 'its over-current protection reads back as switched off, and was switched on',
    })
  })
})

describe('a dead-man', () => {
  it('is armed or at rest as it was to be; else nothing is as before', () => {
    const of = (armed: boolean, said: string) => asked({ is: 'armed', armed }, said).verdict
    expect([of(true, '1').is, of(false, '0').is]).toEqual(['good', 'good'])
    expect(of(true, '0')).toMatchObject({ is: 'differs', unchanged: false })
    expect(of(true, '0')).toHaveProperty(
      'why',
      expect.stringMatching(/^its dead-man does not read back as armed/),
    )
    expect(of(false, '1')).toMatchObject({ unchanged: false, why: 'its dead-man still reads back as armed' })
  })

  it('has its time to half of a tenth of a second', () => {
    const of = (said: string) => asked({ is: 'dead-man time', sent_s: 2 }, said).verdict
    expect([of('2.05').is, of('1.95').is, of('2').is]).toEqual(['good', 'good', 'good'])
    expect(of('2.051')).toMatchObject({ is: 'differs', unchanged: false })
    expect(of('1.949')).toHaveProperty(
      'why',
      expect.stringContaining('reads back as 1.949 s, after sending 2 s'),
    )
  })
})

describe('a setting', () => {
  const was = (set_V: number | null) => (d: Draft) => {
    setChannel(d, 0, { set_V })
  }
  const of = (said: string, before: number | null, check = false) =>
    asked({ is: 'setting', which: 'set_V', sent: 60, within: 0.006 + 1e-9, check }, said, was(before))

  it('is what was sent where it reads back within half a digit', () => {
    const { verdict, channel } = of('60.006', null)
    expect([verdict.is, channel?.set_V]).toEqual(['good', 60])
    expect(of('60.007', null).verdict.is).toBe('differs')
  })

  it('that did not take is still what it was; one that came to something else is not known', () => {
    expect(of('50', 50)).toMatchObject({
      verdict: { is: 'differs', unchanged: true },
      channel: { set_V: 50 },
    })
    expect(of('55', 50)).toMatchObject({
      verdict: { is: 'differs', unchanged: false },
      channel: { set_V: null },
    })
    expect(of('0', null)).toMatchObject({ verdict: { unchanged: false }, channel: { set_V: null } })
    expect(of('55', null)).toMatchObject({ verdict: { unchanged: false }, channel: { set_V: null } })
  })

  it('asked again later and found otherwise was changed by somebody: not known any more, and said so', () => {
    const { verdict, channel } = of('50', 50, true)
    expect(verdict).toEqual({
      is: 'differs',
      unchanged: true,
      why: 'its set-point reads back as 50 V, was set to 60 V',
    })
    expect(channel?.set_V).toBeNull()
  })
})

describe('a current where the supply cannot say what holds it', () => {
  const at = (amps: string, known: Parameters<typeof setChannel>[2]) =>
    asked(
      { is: 'reading', quantity: 'A' },
      amps,
      (d) => {
        setChannel(d, 0, known)
      },
      { ask_cc: null },
    ).events.map((event) => (event.kind === 'regulation' ? event.mode : event.kind))

  it('is at its limit within 1 % of it or two resolutions, and that is told before the reading', () => {
    const on = { limit_A: 0.1, output: true }
    expect(at('0.0990', on)).toEqual(['current', 'reading'])
    expect(at('0.0989', on)).toEqual(['voltage', 'reading'])
    const low = { limit_A: 0.005, output: true }
    expect([at('0.0049', low)[0], at('0.0047', low)[0]]).toEqual(['current', 'voltage'])
  })

  it('says nothing of an output that is off, whose limit is not known, or that was so before', () => {
    expect(at('0.1', { limit_A: 0.1, output: false })).toEqual(['reading'])
    expect(at('0.1', { limit_A: null, output: true })).toEqual(['reading'])
    expect(at('0.1', { limit_A: 0.1, output: true, regulation: 'current' })).toEqual(['reading'])
    expect(asked({ is: 'reading', quantity: 'A' }, '0.1').events).toHaveLength(1)
    // One that can say it is asked.
    const says = (d: Draft): void => {
      setChannel(d, 0, { limit_A: 0.1, output: true })
    }
    expect(asked({ is: 'reading', quantity: 'A' }, '0.1', says).events).toHaveLength(1)
  })
})

describe('what a supply answers to a command', () => {
  it('is no error, or an error with its number and words, which is a refusal', () => {
    expect(asked(questions.errors, '0,"No error"').verdict.is).toBe('good')
    const { verdict } = asked(questions.errors, '-222,"Data out of range"')
    expect(verdict).toHaveProperty('why', expect.stringMatching(/^the supply says -222 "Data out of range"/))
    expect(verdict.is).toBe('refused')
  })

  it('is told with its number alone where nothing more is known of that', () => {
    expect(asked({ is: 'errors' }, '-350,"Queue overflow"').verdict).toEqual({
      ...{ is: 'refused', why: 'the supply says -350 "Queue overflow"' },
    })
  })

  it('is the word it acknowledges by, or a refusal in its own words', () => {
    const of = (said: string) =>
      asked({ is: 'acknowledgement' }, said, () => undefined, { acknowledges: 'OK' }).verdict
    expect([of('OK').is, of(' OK ').is]).toEqual(['good', 'good'])
    expect(of('ERR 7')).toEqual({ is: 'refused', why: 'the supply says "ERR 7"' })
  })

  it('is nothing where its identity was asked, and anything where the answer no longer matters', () => {
    expect(asked({ is: 'identity' }, 'TEST BENCH').verdict.is).toBe('bad')
    expect(asked({ is: 'anything' }, '').verdict.is).toBe('good')
  })
})
