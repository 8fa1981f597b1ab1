import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import type { Move } from '../../src/line/moves.js'
import {
  doubtedQuestion,
  dueInput,
  fastMoves,
  inputHeard,
  inputMoves,
  isOutdated,
  mayFeedRelay,
  nextInput,
  slowMoves,
  stillQuestion,
} from '../../src/line/rounds.js'
import type { ChannelState, Draft } from '../../src/line/state.js'
import type { LineMeter } from '../../src/line/types.js'
import { configWith, lineAt, textsOf } from '../helpers/line-draft.js'

/* Which question a line asks next, and which one it no longer asks. */

const words: Partial<Dialect> = {
  ...{ select: null, remote: null },
  ask_over_amps_tripped: ':CURR:PROT:TRIP?',
  ask_over_heat_tripped: { query: ':STAT:QUES?', mask: 16 },
}
const config = configWith(words)

describe('a round of readings', () => {
  it('asks volts and amps of every channel', () => {
    const all = configWith({ select: '{n}', remote: null })
    expect(textsOf(fastMoves(all))).toEqual(['1:MEAS:VOLT?', '1:MEAS:CURR?', '2:MEAS:VOLT?', '2:MEAS:CURR?'])
  })

  it('asks a meter on a line of its own what it measures, in its own words where it has some', () => {
    const asks = (change: Partial<LineMeter>) =>
      fastMoves(
        configWith(
          { ...words, answers: { measure_amps: 'AMP {x}' } },
          { channels: [], meter: { name: 'M', measures: 'V', limit: 1000, ...change } },
        ),
      )
    expect(textsOf(asks({}))).toEqual([':MEAS:VOLT?'])
    expect(asks({ measures: 'A' })).toMatchObject([{ text: ':MEAS:CURR?\n', around: 'AMP {x}' }])
    expect(asks({ ask: 'READ?', measures: 'A' })).toMatchObject([{ text: 'READ?\n', around: null }])
    expect(asks({ ask: 'READ?', answer: 'V={x}' })).toMatchObject([{ text: 'READ?\n', around: 'V={x}' }])
  })
})

describe('what changes seldom', () => {
  it('is asked kind by kind, so that no channel waits for all the questions of another', () => {
    const asked = slowMoves(configWith({ ...words, select: '{n}' }))
    expect(textsOf(asked)).toEqual(
      [':STAT:QUES:COND?', ':OUTP?', ':VOLT:PROT:TRIP?', ':CURR:PROT:TRIP?', ':STAT:QUES?'].flatMap(
        (query) => [`1${query}`, `2${query}`],
      ),
    )
    expect(asked.filter((_, at) => at % 2 === 0).map((move) => move.kind === 'ask' && move.want)).toEqual([
      { is: 'regulation', mask: 1, cv_mask: 2 },
      { is: 'output', on: null },
      { is: 'tripped', which: 'over-voltage', mask: null },
      { is: 'tripped', which: 'over-current', mask: null },
      { is: 'tripped', which: 'over-temperature', mask: 16 },
    ])
  })

  it('is only what the supply can be asked', () => {
    const bare = { ...words, ask_cc: null, ask_over_volts_tripped: null, ask_over_amps_tripped: null }
    expect(textsOf(slowMoves(configWith({ ...bare, ask_over_heat_tripped: null })))).toEqual([
      ':OUTP?',
      ':OUTP?',
    ])
  })
})

describe('a constant current that the amps do not bear out', () => {
  const limiting = (amps: number | null, more: Partial<ChannelState> = {}, d: Partial<Draft> = {}) =>
    doubtedQuestion(
      lineAt(configWith({ select: '{n}' }), d, {}, { regulation: 'current', limit_A: 0.1, amps, ...more }),
    )

  it('is asked again, for its own channel', () => {
    expect(limiting(0.08)).toMatchObject({ text: '2:STAT:QUES:COND?\n', want: { is: 'regulation' } })
  })

  it('is believed where they do, or where nothing is known to hold it against', () => {
    for (const move of [limiting(0.091), limiting(null), limiting(0.08, { limit_A: null })])
      expect(move).toBeNull()
    expect(limiting(0.08, { regulation: 'voltage' })).toBeNull()
  })

  it('is not asked again sooner than a tenth of a second after, so that readings go on', () => {
    expect(limiting(0.08, {}, { doubted_us: 99.95e6 })).toBeNull()
    const d = lineAt(
      configWith(),
      { doubted_us: 99.9e6 },
      { regulation: 'current', limit_A: 0.1, amps: 0.01 },
    )
    expect([doubtedQuestion(d) !== null, doubtedQuestion(d), d.doubted_us]).toEqual([true, null, 100e6])
    const blind = lineAt(
      configWith({ ask_cc: null }),
      {},
      { regulation: 'current', limit_A: 0.1, amps: 0.01 },
    )
    expect(doubtedQuestion(blind)).toBeNull()
  })
})

describe('limits and levels asked again', () => {
  const known = { set_V: 50, limit_A: 0.05, over_V: 70 }
  const turns = slowMoves(config).length
  const at = (more: Partial<Draft> = {}, output: boolean | null = true): Draft =>
    lineAt(config, { slow_at: turns, ...more }, { ...known, output }, known)

  it('are those of what is on, one after another, its set-point not among them', () => {
    const d = at()
    const asked: (Move | null)[] = []
    for (let turn = 1; turn <= 3; turn++) {
      Object.assign(d, { slow_at: turn * turns, t_us: d.t_us + 5_000_000 })
      asked.push(stillQuestion(d))
    }
    expect(textsOf(asked)).toEqual([':CURR?', ':VOLT:PROT?', ':CURR?'])
    expect(stillQuestion(at({}, false))).toBeNull()
    expect(stillQuestion(at({}, null))).toBeNull()
  })

  it('begin with the output that goes on next, where nothing was on when their turn came', () => {
    const d = at({}, false)
    d.channels = d.channels.map((channel) => ({ ...channel, output: false }))
    expect(stillQuestion(d)).toBeNull()
    d.channels = d.channels.map((channel) => ({ ...channel, output: true }))
    expect(stillQuestion(d)?.text.trim()).toBe(':CURR?')
  })

  it('come in the second turn as in any other, on a supply with one status question', () => {
    const only = slowMoves(config).slice(0, 1)
    expect(stillQuestion(at({ slow: only, slow_at: 1 }))).not.toBeNull()
  })

  it('wait until every status question had its turn, and come once then', () => {
    expect(stillQuestion(at({ slow_at: turns + 1 }))).toBeNull()
    const d = at()
    expect(stillQuestion(d)).not.toBeNull()
    d.t_us += 60e6
    expect(stillQuestion(d)).toBeNull()
    d.slow_at += turns
    expect(stillQuestion(d)).not.toBeNull()
  })

  it('come seldom, and no more once the line only switches off', () => {
    const still = { turn: -1, count: 0 }
    expect(stillQuestion(at({ still: { ...still, asked_us: 95.1e6 } }))).toBeNull()
    expect(stillQuestion(at({ still: { ...still, asked_us: 94.9e6 } }))).not.toBeNull()
    expect(stillQuestion(at({ made_safe: true }))).toBeNull()
  })
})

describe('a question of the round that a request has overtaken', () => {
  const asks = (want: Extract<Move, { kind: 'ask' }>['want'], channel = 0): Move => ({
    ...{ kind: 'ask', text: '?', channel, slow_us: 0, around: null },
    want,
  })
  const limit = asks({ is: 'setting', which: 'limit_A', sent: 0.05, within: 0.001, check: true })
  const guard = asks({ is: 'guard', which: 'over_V', check: true })
  const d = (change: Partial<ChannelState>): Draft =>
    lineAt(config, {}, { output: true, limit_A: 0.05, over_V: 70, ...change })

  it('is passed over where another value was set, the level is not known, or the output went off', () => {
    expect([isOutdated(d({}), limit), isOutdated(d({}), guard)]).toEqual([false, false])
    expect(isOutdated(d({ limit_A: 0.06 }), limit)).toBe(true)
    expect(isOutdated(d({ over_V: null }), guard)).toBe(true)
    for (const output of [false, null])
      expect([isOutdated(d({ output }), limit), isOutdated(d({ output }), guard)]).toEqual([true, true])
    expect(isOutdated(d({}), asks({ is: 'guard', which: 'over_V', check: true }, 7))).toBe(true)
  })

  it('is asked all the same where it is no setting: an output that is off is read as well', () => {
    const off = d({ output: false })
    expect(isOutdated(off, asks({ is: 'reading', quantity: 'A' }))).toBe(false)
    expect(isOutdated(off, asks({ is: 'output', on: null }))).toBe(false)
    expect(isOutdated(off, { kind: 'tell', text: '', channel: 0, slow_us: 0 })).toBe(false)
  })
})

describe('read-only channels', () => {
  const lid: LineMeter = { name: 'lid', measures: 'contact', limit: 1, ask: 'LID?', every_us: 1_000_000 }
  const warm: LineMeter = { name: 'case', measures: '°C', limit: 400, ask: 'TEMP?', every_us: 2_000_000 }
  const relay: LineMeter = {
    name: 'relay',
    measures: 'contact',
    limit: 1,
    ask: 'FEED?',
    every_us: 1_000_000,
    feeds: true,
  }
  const beside = (inputs: readonly LineMeter[], more: Partial<Draft> = {}): Draft =>
    lineAt(configWith(words, { inputs }), more)
  const input = (asked_us: number | null, missed = 0) => ({ asked_us, missed })

  it('are due one after another, each in its own time, and asked once then', () => {
    const d = beside([lid, warm], { inputs: [input(99.5e6), input(98.2e6)] })
    expect(nextInput(d)).toEqual({ index: 1, at_us: 100.2e6 })
    expect(dueInput(d)).toBeNull()
    d.t_us = 100.2e6
    expect(dueInput(d)?.text).toBe('TEMP?\n')
    expect(d.inputs).toEqual([input(99.5e6), input(100.2e6)])
    expect(nextInput(d)).toEqual({ index: 0, at_us: 100.5e6 })
  })

  it('that were never asked are due at once, and where there is none nothing is', () => {
    expect(nextInput(beside([lid, warm], { inputs: [input(99.5e6), input(null)] }))).toEqual({
      index: 1,
      at_us: 0,
    })
    // In the order of the bench file where several are due as long.
    expect(nextInput(beside([lid, warm], { inputs: [input(null), input(null)] }))?.index).toBe(0)
    expect(nextInput(beside([]))).toBeNull()
    expect(nextInput(lineAt(config))).toBeNull()
    expect(dueInput(lineAt(config))).toBeNull()
    expect(inputMoves(config)).toEqual([])
  })

  it('that do not answer are asked half as often each time, down to a sixteenth', () => {
    const due = (missed: number): number | undefined =>
      nextInput(beside([lid], { inputs: [input(100e6, missed)] }))?.at_us
    expect([0, 1, 2, 3, 4, 5, 40].map(due)).toEqual([101e6, 102e6, 104e6, 108e6, 116e6, 116e6, 116e6])
  })

  it('count how often in a row they gave no answer, and an answer ends that', () => {
    const d = beside([lid, warm], { inputs: [input(99e6, 1), input(99e6, 2)] })
    inputHeard(d, 'lid', false)
    expect(d.inputs).toEqual([input(99e6, 2), input(99e6, 2)])
    inputHeard(d, 'lid', true)
    expect(d.inputs).toEqual([input(99e6, 0), input(99e6, 2)])
    inputHeard(d, 'no such', false)
    expect(d.inputs).toEqual([input(99e6, 0), input(99e6, 2)])
  })

  describe('one of which keeps a cut-off relay closed', () => {
    const keeping = { starves: false }

    it('counts as closed from the asking of the last question that was answered, by itself only', () => {
      const d = beside([relay, lid], { ...keeping, inputs: [input(99e6), input(99.9e6)], relay_fed_us: 98e6 })
      inputHeard(d, 'relay', false)
      inputHeard(d, 'lid', true)
      expect(d.relay_fed_us).toBe(98e6)
      inputHeard(d, 'relay', true)
      expect(d.relay_fed_us).toBe(99e6)
    })

    it('is asked as often as ever where an answer stays away: silence must not open it', () => {
      const d = beside([relay], { ...keeping, inputs: [input(99.5e6, 3)], relay_fed_us: 98.5e6 })
      expect(nextInput(d)?.at_us).toBe(100.5e6)
    })

    it('is not asked once it may have opened, and the others are', () => {
      const last = (relay_fed_us: number | null, more: Partial<Draft> = {}): number | undefined =>
        nextInput(
          beside([relay, lid], { ...keeping, inputs: [input(98e6), input(99e6)], relay_fed_us, ...more }),
        )?.index
      expect([last(97e6), last(null)]).toEqual([0, 0])
      expect([last(96.9e6), last(99e6, { starves: true })]).toEqual([1, 1])
      const only_off = { ...config, only_off: true }
      expect(mayFeedRelay({ config: only_off, starves: false, relay_fed_us: null, t_us: 0 })).toBe(false)
    })
  })
})
