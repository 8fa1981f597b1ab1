import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import type { LineRequestBody } from '../../src/exchange/index.js'
import { isStill, movesFor, plainTell, type Settings, settingsStill } from '../../src/line/moves.js'
import { configWith, textsOf } from '../helpers/line-draft.js'

/* What a request is made of: which words go to the supply, in which order, and what each answer is held against. */

type Body = Exclude<LineRequestBody, { do: 'disarm' }>
const levels: Partial<Dialect> = {
  set_over_amps: ':CURR:PROT {a}',
  ask_over_amps: ':CURR:PROT?',
  over_amps_on: ':CURR:PROT:STAT ON',
  ask_over_amps_on: ':CURR:PROT:STAT?',
  ask_over_volts_on: ':VOLT:PROT:STAT?',
}
const unknown: Settings = { set_V: null, limit_A: null, over_V: null, over_A: null }

function built(body: Body, words: Partial<Dialect> = {}, known: Partial<Settings> = {}, index = 0) {
  return movesFor(configWith({ select: null, ...words }), index, body, { ...unknown, ...known })
}
function said(...of: Parameters<typeof built>): readonly string[] {
  const made = built(...of)
  return made.ok ? textsOf(made.moves) : [made.why]
}
const limits = (limit_A: number, more: Partial<Extract<Body, { do: 'limits' }>> = {}): Body => ({
  ...{ do: 'limits', limit_A, over_voltage_V: null },
  ...more,
})

describe('limits', () => {
  it('are set and read back one after another, the protection switched on and asked, and errors read last', () => {
    expect(said(limits(0.05, { over_voltage_V: 120 }), levels, { over_A: 0.01 })).toEqual([
      ':CURR:PROT 0.0552',
      ':CURR:PROT?',
      ':CURR 0.0500',
      ':CURR?',
      ':CURR:PROT:STAT ON',
      ':CURR:PROT:STAT?',
      ':VOLT:PROT 120.00',
      ':VOLT:PROT?',
      ':VOLT:PROT:STAT ON',
      ':VOLT:PROT:STAT?',
      ':SYST:ERR?',
    ])
  })

  it('leave no moment with the over-current level below the limit: it goes up before it and comes down after it', () => {
    const order = (over_A: number | null): readonly string[] =>
      said(limits(0.05), levels, { over_A }).filter((text) => /^:CURR(:PROT)? \d/.test(text))
    expect(order(0.02)).toEqual([':CURR:PROT 0.0552', ':CURR 0.0500'])
    expect(order(0.3)).toEqual([':CURR 0.0500', ':CURR:PROT 0.0552'])
    // Not known what it is: as high as it goes, first.
    expect(order(null)).toEqual([':CURR:PROT 0.6000', ':CURR 0.0500', ':CURR:PROT 0.0552'])
  })

  it('set no over-current level higher than a supply takes', () => {
    expect(said(limits(0.5), { ...levels, error_query: null }, { over_A: 0.6 })).toContain(
      ':CURR:PROT 0.5502',
    )
    const near = configWith({ ...levels, select: null }, {}, { max_A: 0.5, resolution_A: 0.1 })
    const made = movesFor(near, 0, limits(0.5), { ...unknown, over_A: 0.6 })
    expect(made.ok && textsOf(made.moves)).toContain(':CURR:PROT 0.6000')
  })

  it('with an over-current level of their own, which a proof asks for, set the limit first', () => {
    expect(said(limits(0.05, { over_current_A: 0.02 }), { ...levels, error_query: null })).toEqual([
      ':CURR 0.0500',
      ':CURR?',
      ':CURR:PROT 0.0200',
      ':CURR:PROT?',
      ':CURR:PROT:STAT ON',
      ':CURR:PROT:STAT?',
    ])
    expect(said(limits(0.05, { over_current_A: 0.02 }))).toEqual([
      'its dialect has no words for an over-current level',
    ])
  })

  it('say nothing that the supply has no words for', () => {
    const plain = { over_volts_on: null, error_query: null, ask_over_volts: null }
    expect(said(limits(0.05, { over_voltage_V: 120 }), plain)).toEqual([
      ':CURR 0.0500',
      ':CURR?',
      ':VOLT:PROT 120.00',
    ])
    const unswitched = { ...levels, over_amps_on: null, ask_over_amps_on: null, error_query: null }
    expect(said(limits(0.05), unswitched, { over_A: 0.3 })).toEqual([
      ':CURR 0.0500',
      ':CURR?',
      ':CURR:PROT 0.0552',
      ':CURR:PROT?',
    ])
    expect(said(limits(0.05, { over_voltage_V: 120 }), { set_over_volts: null })).toEqual([
      'its dialect has no words for an over-voltage level',
    ])
  })

  it('above what the channel can, in volts or in amps, are refused whole; its level may lie a fifth above', () => {
    expect(said(limits(0.51))).toEqual(['0.51 A is outside 0 … 0.5 A of this channel'])
    expect(said(limits(0.5))[0]).toBe(':CURR 0.5000')
    expect(said(limits(-0.01))).toEqual(['-0.01 A is outside 0 … 0.5 A of this channel'])
    expect(said(limits(0.05, { over_voltage_V: 360 }))).toContain(':VOLT:PROT 360.00')
    expect(said(limits(0.05, { over_voltage_V: 361 }))).toEqual([
      '361 V is outside 0 … 360 V of this channel',
    ])
    expect(said({ do: 'set', volts: 301 })).toEqual(['301 V is outside 0 … 300 V of this channel'])
    expect(said({ do: 'set', volts: 300 })).toEqual([':VOLT 300.00', ':VOLT?'])
  })

  it('read back as set within half a resolution and half a digit, and no further', () => {
    const wants = (body: Body, plate = {}) => {
      const made = movesFor(configWith({}, {}, plate), 0, body, unknown)
      const moves = made.ok ? made.moves : []
      return moves.flatMap((move) => (move.kind === 'ask' && move.want.is === 'setting' ? [move.want] : []))
    }
    const [volts] = wants({ do: 'set', volts: 12.345 })
    expect(volts).toMatchObject({ which: 'set_V', sent: 12.34, check: false })
    expect(volts?.within).toBeCloseTo(0.01, 6)
    // Just as far off is still within, whatever the binary form of the difference loses or gains.
    for (const sent of [12.34, 100.07, 299.99])
      expect(Number((sent + 0.01).toFixed(2)) - sent, String(sent)).toBeLessThanOrEqual(volts?.within ?? 0)
    const [amps] = wants(limits(0.05))
    expect(amps?.within).toBeCloseTo(0.0001, 8)
    const [coarse] = wants({ do: 'set', volts: 12 }, { resolution_V: 0.5, set_digits_V: 0 })
    expect(coarse?.within).toBeCloseTo(0.75, 6)
  })
})

describe('ON', () => {
  const on = { do: 'on' } as const

  it('asks once more what stands before it, then switches, sees it on, and reads the errors', () => {
    expect(said(on, levels, { set_V: 50, limit_A: 0.05, over_V: 70, over_A: 0.06 })).toEqual([
      ':VOLT?',
      ':CURR?',
      ':VOLT:PROT?',
      ':CURR:PROT?',
      ':VOLT:PROT:STAT?',
      ':CURR:PROT:STAT?',
      ':OUTP ON',
      ':OUTP?',
      ':SYST:ERR?',
    ])
    const made = built(on, {}, { set_V: 50, limit_A: 0.05 })
    expect(made.ok && made.moves.find(({ text }) => text.includes('OUTP?'))).toMatchObject({
      want: { is: 'output', on: true },
    })
  })

  it('is refused where its set-point or its current limit is not known: either could be anything', () => {
    for (const known of [{ set_V: 50 }, { limit_A: 0.05 }, {}]) {
      expect(built(on, {}, { ...known, over_V: 70 })).toEqual({
        ok: false,
        why: 'its set-point and current limit have not been set and read back on this connection',
      })
    }
  })
})

describe('OFF and zero', () => {
  it('OFF goes out before anything is asked, then who is there, then whether it is off', () => {
    const made = built({ do: 'off' })
    expect(made.ok && textsOf(made.moves)).toEqual([':OUTP OFF', '*IDN?', ':OUTP?'])
    expect(made.ok && made.moves.at(-1)).toMatchObject({ want: { is: 'output', on: false } })
  })

  it('zero takes volts down before the limit, each to the lowest that the supply can be set to', () => {
    expect(said({ do: 'zero' })).toEqual([':VOLT 0.00', ':VOLT?', ':CURR 0.0000', ':CURR?'])
    const config = configWith({ select: null }, {}, { min_V: 1, min_A: 0.002 })
    const made = movesFor(config, 0, { do: 'zero' }, unknown)
    expect(made.ok && textsOf(made.moves)).toEqual([':VOLT 1.00', ':VOLT?', ':CURR 0.0020', ':CURR?'])
    const [channel] = config.channels
    if (channel === undefined) throw new Error('no channel')
    const bare = movesFor({ ...config, channels: [{ ...channel, min_V: -1 }] }, 0, { do: 'zero' }, unknown)
    expect(bare).toMatchObject({ ok: false, why: expect.stringContaining('-1 V is outside') as string })
    const other = movesFor({ ...config, channels: [{ ...channel, min_A: 9 }] }, 0, { do: 'zero' }, unknown)
    expect(other).toMatchObject({ ok: false, why: expect.stringContaining('9 A is outside') as string })
  })
})

describe('the panel', () => {
  it('is taken with the word to be remote and given back with the word to be local, each once', () => {
    const words = { remote: ':SYST:REM', local: ':SYST:LOC' }
    expect(said({ do: 'panel', to: 'computer' }, words)).toEqual([':SYST:REM'])
    expect(said({ do: 'panel', to: 'person' }, words)).toEqual([':SYST:LOC'])
    for (const to of ['computer', 'person'] as const)
      expect(built({ do: 'panel', to }, { remote: null, local: null })).toEqual({ ok: true, moves: [] })
  })

  it('and its like are set commands, whose acknowledgement is waited for where the supply gives one', () => {
    expect(plainTell(configWith(), ':SYST:REM')).toEqual({
      ...{ kind: 'tell', channel: 0, slow_us: 0 },
      text: ':SYST:REM\n',
    })
  })
})

describe('a request that cannot be', () => {
  const bodies: readonly Body[] = [
    ...[limits(0.05), { do: 'set', volts: 1 } as const, { do: 'on' } as const, { do: 'off' } as const],
    ...[{ do: 'zero' } as const, { do: 'starve', for_s: 1 } as const],
  ]
  it.each(bodies.map((body) => [body.do, body] as const))(
    '%s says nothing to a channel that is not there',
    (_, body) => {
      expect(built(body, levels, {}, 7)).toEqual({ ok: false, why: 'there is no such channel' })
    },
  )

  it('a dead-man is starved only where the supply has one, and that takes no words', () => {
    const starve = { do: 'starve', for_s: 3 } as const
    expect(said(starve)).toEqual(['its dialect has no words for a dead-man'])
    const dead_man = {
      arm: [],
      feed: null,
      after_s: 2,
      per: 'supply',
      ask_armed: null,
      ask_expired: null,
    } as const
    expect(built(starve, { dead_man })).toEqual({ ok: true, moves: [] })
  })
})

describe('what must still be so', () => {
  const config = configWith({ ...levels, select: null })
  const known = { set_V: 50, limit_A: 0.05, over_V: 70, over_A: 0.06 }

  it('is asked of each setting that is known, and of each protection whose level is', () => {
    const asked = (change: Partial<Settings>): readonly string[] =>
      textsOf(settingsStill(config, 0, { ...known, ...change }))
    const all = [':VOLT?', ':CURR?', ':VOLT:PROT?', ':CURR:PROT?', ':VOLT:PROT:STAT?', ':CURR:PROT:STAT?']
    expect(asked({})).toEqual(all)
    expect(asked({ over_A: null })).toEqual(all.filter((text) => !text.startsWith(':CURR:PROT')))
    expect(asked({ over_V: null, set_V: null })).toEqual(all.filter((text) => !text.startsWith(':VOLT')))
    expect(settingsStill(config, 7, known)).toEqual([])
  })

  it('is told from what was just set, of which a difference means something else', () => {
    expect(settingsStill(config, 0, known).map(isStill)).toEqual([true, true, true, true, true, true])
    const made = movesFor(config, 0, limits(0.05, { over_voltage_V: 70 }), { ...unknown, ...known })
    expect(made.ok && made.moves.some(isStill)).toBe(false)
  })
})

describe('what a supply is slow at', () => {
  it('is waited for, as long as the longest that is said in those words', () => {
    const slow_s = { on: 0.5, ask_output: 0.25, error_query: 0.125 }
    const made = built({ do: 'on' }, { slow_s }, { set_V: 50, limit_A: 0.05 })
    const slow = made.ok ? made.moves.map(({ text, slow_us }) => [text.trim(), slow_us]) : []
    expect(Object.fromEntries(slow)).toMatchObject({
      ...{ ':VOLT?': 0, ':CURR?': 0, ':OUTP ON': 500_000, ':OUTP?': 250_000, ':SYST:ERR?': 125_000 },
    })
    const shared = {
      ask_output: ':SAME?',
      measure_volts: ':SAME?',
      slow_s: { ask_output: 0.25, measure_volts: 0.5, measure_amps: 0.75 },
    }
    const same = built({ do: 'off' }, shared)
    expect(same.ok && same.moves.map(({ slow_us }) => slow_us)).toEqual([0, 0, 500_000])
  })

  it('and what stands around an answer belongs to the question in those words', () => {
    const answers = { ask_set_volts: 'VSET {x}', ask_output: 'OUT {x}' }
    const made = built({ do: 'on' }, { answers }, { set_V: 50, limit_A: 0.05 })
    const around = made.ok ? made.moves.map((move) => (move.kind === 'ask' ? move.around : '')) : []
    expect(around).toEqual(['VSET {x}', null, '', 'OUT {x}', null])
  })
})
