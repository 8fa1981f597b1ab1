import { describe, expect, it } from 'vitest'
import { plainScpi } from '../../src/bench/index.js'
import { ampsIn, healthOf, parseMeter } from '../../src/line/index.js'
import { climb, count, replied, shown, tellHealth, wellAgain } from '../../src/line/health.js'
import { meterValue } from '../../src/line/meter-value.js'
import type { Move } from '../../src/line/moves.js'
import { type Draft, failRequests, type Request, setChannel, write } from '../../src/line/state.js'
import { configWith, lineAt } from '../helpers/line-draft.js'

/* What a line keeps of what it said and heard, and what it tells of it to others. */

const config = configWith()
const told = ({ outputs }: Draft) => outputs.filter(({ kind }) => kind === 'health' || kind === 'rung')

describe('the memory of what was said, by which an echo is known', () => {
  it.each([
    ['LF', '\n'],
    ['CR', '\r'],
    ['CR LF', '\r\n'],
  ])('holds whole lines that end with %s: the last of them, and no half of one', (_, end) => {
    const d = lineAt(config)
    const all: string[] = []
    for (let i = 0; i < 60; i++) {
      all.push(`:VOLT ${100 + i}.00`)
      write(d, `${all.at(-1) ?? ''}${end}`)
      expect(d.said.length).toBeLessThanOrEqual(400)
      const kept = d.said.split(/[\r\n]+/).filter((line) => line !== '')
      expect(kept).toEqual(all.slice(-kept.length))
      expect(kept.length).toBeGreaterThanOrEqual(Math.min(i + 1, 25))
    }
  })

  it('is bounded by the longest burst, however long one line is', () => {
    const d = lineAt(config)
    write(d, `${'X'.repeat(500)}\n`)
    expect(d.said.trim()).toBe('')
    write(d, 'X'.repeat(500))
    expect(d.said).toBe('')
  })
})

describe('a request that is given up', () => {
  const request = (id: number): Request => ({
    ...{ kind: 'request', t_us: 0, id, channel: 'BENCH.plate', do: 'set', volts: 60 },
  })
  const outcomes = (said: boolean, which: (request: Request) => boolean) => {
    const work = { why: 'request', request: request(1), moves: [], at: 0, missed: 0, again: 0, said } as const
    const d = lineAt(config, { work, waiting: [request(2), request(3)] })
    failRequests(d, 'closed', 'the plug went', which)
    const failed = d.outputs.flatMap((output) =>
      output.kind === 'event' && output.event.kind === 'failed' ? [output.event] : [],
    )
    return { d, failed }
  }

  it('may have happened where its command had gone out, and has not where it waited', () => {
    const { d, failed } = outcomes(true, () => true)
    expect(failed.map(({ id, outcome }) => [id, outcome])).toEqual([
      ...[
        [1, 'unknown'],
        [2, 'not done'],
        [3, 'not done'],
      ],
    ])
    expect(failed[0]?.text).toBe(
      'BENCH.plate on port BENCH, "set": the plug went. It may have happened: read back before deciding.',
    )
    expect(failed[1]?.text).toMatch(/It was not done\.$/)
    expect([d.work, d.waiting]).toEqual([null, []])
    expect(outcomes(false, () => true).failed[0]?.outcome).toBe('not done')
  })

  it('is only the one that is meant', () => {
    const { d, failed } = outcomes(true, ({ id }) => id === 2)
    expect(failed.map(({ id }) => id)).toEqual([2])
    expect([d.work?.request?.id, d.waiting.map(({ id }) => id)]).toEqual([1, [3]])
  })
})

describe('what is known of a channel', () => {
  it('changes for that channel alone, and one that is not there changes nothing', () => {
    const d = lineAt(config, {}, { output: true, set_V: 50 }, { output: true, set_V: 40 })
    const { channels } = d
    setChannel(d, 1, { output: false })
    expect(d.channels).toMatchObject([
      { output: true, set_V: 50 },
      { output: false, set_V: 40 },
    ])
    // A state that somebody else holds stays as it was.
    expect(channels[1]?.output).toBe(true)
    setChannel(d, 7, { output: false })
    expect(d.channels).toHaveLength(2)
  })
})

describe('the health of a line', () => {
  it('names its slowest reply and how often it is read', () => {
    const d = lineAt(config)
    expect(healthOf(d)).toMatchObject({ replies: 0, worst_reply_s: null, polled_Hz: null })
    for (const took_us of [20_000, 150_000, 30_000]) replied(d, d.t_us - took_us)
    expect(healthOf({ ...d, rounds: 30, rounds_us: 6e6 })).toMatchObject({
      ...{ replies: 3, worst_reply_s: 0.15, polled_Hz: 5 },
    })
  })

  it('is told where something changed, and once a second at most', () => {
    const d = lineAt(config)
    tellHealth(d)
    expect(told(d)).toEqual([])
    for (const [after_us, times] of [
      [0, 1],
      [900_000, 1],
      [1_000_000, 2],
    ] as const) {
      d.t_us = 100e6 + after_us
      count(d, 'no_reply')
      tellHealth(d)
      expect(told(d)).toHaveLength(times)
    }
    expect(told(d).at(-1)).toMatchObject({ health: { faults: { no_reply: 3 } } })
    d.t_us += 5e6
    tellHealth(d)
    expect(told(d)).toHaveLength(2)
  })

  it('tells a rung once in ten seconds, each for itself, and that it is well again after more than a question asked twice', () => {
    const d = lineAt(config)
    climb(d, 'ask again', 'why')
    wellAgain(d)
    expect(told(d)).toEqual([{ kind: 'rung', rung: 'ask again', text: 'port BENCH: why' }])
    d.t_us += 9_900_000
    climb(d, 'ask again', 'why')
    climb(d, 'resynchronise', 'why')
    expect(told(d)).toHaveLength(2)
    d.t_us += 200_000
    climb(d, 'ask again', 'why')
    wellAgain(d)
    wellAgain(d)
    const rungs = told(d).map((output) => output.kind === 'rung' && output.rung)
    expect(rungs).toEqual(['ask again', 'resynchronise', 'ask again', 'answers again'])
    expect(told(d).at(-1)).toHaveProperty('text', 'port BENCH: it answers again')
  })

  it('tells a rung anew when ten seconds are over, and that it is well again once for each time it was not', () => {
    const d = lineAt(config)
    climb(d, 'reopen', 'why')
    d.t_us += 10_000_000
    climb(d, 'reopen', 'why')
    expect(told(d)).toHaveLength(2)
    wellAgain(d)
    // Each good answer of the hours after it would tell it again.
    d.t_us += 60_000_000
    wellAgain(d)
    expect(told(d)).toHaveLength(3)
  })

  it('shows what came short and printable', () => {
    expect(shown(' 12\x00\xb5V\r')).toBe('12??V')
    expect([shown('x'.repeat(40)), shown('x'.repeat(41))]).toEqual(['x'.repeat(40), `${'x'.repeat(39)}…`])
  })
})

describe('the current that a text tells before the line has made anything of it', () => {
  const asking = (want: object, more: object = {}, channel = 0): Pick<Draft, 'flight'> => ({
    flight: {
      ...{ asked_us: 99.9e6, deadline_us: 100.1e6 },
      move: { kind: 'ask', text: '?', channel, want, slow_us: 0, around: null, ...more } as Move,
    },
  })
  const amps = { is: 'reading', quantity: 'A' }
  const first = (text: string, more: Partial<Draft>): ReturnType<typeof ampsIn> =>
    ampsIn({ ...lineAt(config, more), outputs: [] }, text)

  it('is that of the channel which was asked', () => {
    expect(first('0.045', asking(amps))).toEqual({ channel: 'BENCH.plate', amps: 0.045 })
    expect(first('0.045', asking(amps, {}, 1))).toEqual({ channel: 'BENCH.bias', amps: 0.045 })
  })

  it('is none where it may be something else: another question, none, a line that is not ready', () => {
    expect(first('0.045', asking({ is: 'reading', quantity: 'V' }))).toBeNull()
    expect(
      first('0.045', asking({ is: 'setting', which: 'limit_A', sent: 0, within: 0, check: false })),
    ).toBeNull()
    expect(first('0.045', asking(amps, { kind: 'tell' }))).toBeNull()
    expect(first('0.045', asking(amps, { around: 'A {x}' }))).toBeNull()
    expect(first('0.045', { flight: null })).toBeNull()
    for (const link of ['quiet', 'identify', 'opening', 'closed'] as const)
      expect(first('0.045', { ...asking(amps), link })).toBeNull()
    expect(first('0.9', asking(amps))).toBeNull()
    expect(first('0.2', asking(amps, {}, 1))).toBeNull()
  })
})

describe('what a meter says, read outside of a line', () => {
  const meter = (change: object) =>
    ({ measures: 'V', ask: null, answer: null, closed_is: 1, ...change }) as Parameters<typeof parseMeter>[1]
  const words = { ...plainScpi, answers: { measure_amps: 'AMP {x}', measure_volts: 'VOLT {x}' } }

  it('has around it what the supply says around volts, or around amps, by what it measures', () => {
    expect(parseMeter(words, meter({}), 'VOLT 12.5')).toEqual({ n: 125, k: 1 })
    expect(parseMeter(words, meter({ measures: 'A' }), 'AMP 0.5')).toEqual({ n: 5, k: 1 })
    expect(parseMeter(words, meter({ measures: 'A' }), 'VOLT 0.5')).toBeNull()
    expect(parseMeter(words, meter({}), 'AMP 0.5')).toBeNull()
  })

  it('has around it what is stated where it is asked in words of its own', () => {
    expect(parseMeter(words, meter({ ask: 'READ?', answer: '<{x}>' }), '<-3.5>')).toEqual({ n: -35, k: 1 })
    expect(parseMeter(words, meter({ ask: 'READ?', answer: '<{x}>' }), 'VOLT 3.5')).toBeNull()
    expect(parseMeter(words, meter({ ask: 'READ?' }), '3.5')).toEqual({ n: 35, k: 1 })
  })

  it('is 1 for a closed contact whichever way it answers, and a temperature may have its unit behind it', () => {
    const contact = (closed_is: 0 | 1, text: string) =>
      parseMeter(plainScpi, meter({ measures: 'contact', closed_is }), text)?.n
    expect([contact(1, '1'), contact(1, '0'), contact(0, '1'), contact(0, '0')]).toEqual([1, 0, 0, 1])
    expect(contact(1, '2')).toBeUndefined()
    // Where nobody said which way, 1 is closed.
    expect(meterValue({ measures: 'contact' }, '1', false)).toEqual({ n: 1, k: 0 })
    expect(meterValue({ measures: 'contact' }, '0', false)).toEqual({ n: 0, k: 0 })
    const glued = { ...plainScpi, unit_in_reply: true }
    expect(parseMeter(glued, meter({ measures: '°C', ask: 'T?' }), '41.5C')).toEqual({ n: 415, k: 1 })
    expect(parseMeter(glued, meter({}), '41.5V')).toEqual({ n: 415, k: 1 })
    expect(parseMeter(plainScpi, meter({}), '41.5V')).toBeNull()
  })
})
