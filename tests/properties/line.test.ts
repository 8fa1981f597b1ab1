import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { decimalValue, type LineRequestBody } from '../../src/exchange/index.js'
import {
  fixedPoint,
  lineConfigOf,
  lineStep,
  openLine,
  parseNumber,
  type LineInput,
  type LineOutput,
  type LineState,
} from '../../src/line/index.js'
import { rightAnswer } from '../helpers/hand-line.js'
import { channelOf, firstLookHolds, fullDialect, LineWorld, supplyOf } from '../helpers/line-world.js'

const supply = supplyOf(fullDialect, { plate: channelOf(1), bias: channelOf(2) })
const config = lineConfigOf('BENCH', supply)

const channel = fc.constantFrom('BENCH.plate', 'BENCH.plate', 'BENCH.bias', 'BENCH.nothing')
const volts = fc.oneof(
  { weight: 6, arbitrary: fc.integer({ min: 0, max: 32_000 }).map((n) => n / 100) },
  fc.double(),
)
const amps = fc.integer({ min: 0, max: 6000 }).map((n) => n / 10_000)
const body = fc.oneof(
  fc.record({
    do: fc.constant('limits' as const),
    limit_A: amps,
    over_voltage_V: fc.option(volts),
  }),
  fc.record({ do: fc.constant('set' as const), volts }),
  fc.constantFrom({ do: 'on' as const }, { do: 'off' as const }, { do: 'zero' as const }),
)
const replies = fc.oneof(
  fc.string({ unit: 'binary', maxLength: 40 }),
  fc.constantFrom(
    '0',
    '1',
    'OK',
    '',
    '12.0',
    '9.91E37',
    '-222,"Data out of range"',
    '0,"No error"',
    supply.identity ?? '',
  ),
  fc.double({ noNaN: true }).map(String),
)
type Timed = { after_us: number; what: (t_us: number, id: number, state: LineState) => LineInput }

const input: fc.Arbitrary<Timed> = fc.record({
  after_us: fc.oneof(
    { weight: 5, arbitrary: fc.integer({ min: 0, max: 30_000 }) },
    fc.integer({ min: 0, max: 400_000 }),
  ),
  what: fc.oneof(
    {
      weight: 90,
      arbitrary: fc.constant(
        (t_us: number, _: number, state: LineState): LineInput =>
          state.flight === null
            ? { kind: 'time', t_us: Math.max(t_us, state.quiet_until_us, state.hold_us) }
            : { kind: 'text', t_us, text: rightAnswer(state) ?? '0' },
      ),
    },
    {
      weight: 4,
      arbitrary: replies.map(
        (text) =>
          (t_us: number): LineInput => ({ kind: 'text', t_us, text }),
      ),
    },
    { weight: 20, arbitrary: fc.constant((t_us: number): LineInput => ({ kind: 'time', t_us })) },
    {
      weight: 20,
      arbitrary: fc.tuple(channel, body).map(
        ([name, what]) =>
          (t_us: number, id: number): LineInput => ({ kind: 'request', t_us, id, channel: name, ...what }),
      ),
    },
    { weight: 1, arbitrary: fc.constant((t_us: number): LineInput => ({ kind: 'opened', t_us })) },
    {
      weight: 1,
      arbitrary: fc.constant((t_us: number): LineInput => ({ kind: 'closed', t_us, text: 'gone' })),
    },
    {
      weight: 1,
      arbitrary: fc.constant(
        (t_us: number): LineInput => ({ kind: 'discarded', t_us, bytes: 300, why: 'too long' }),
      ),
    },
    {
      weight: 4,
      arbitrary: fc.constant(
        (t_us: number): LineInput => ({ kind: 'urgent off', t_us, channels: ['BENCH.plate'] }),
      ),
    },
  ),
})

function play(
  inputs: readonly Timed[],
  see: (before: LineState, input: LineInput, outputs: readonly LineOutput[], after: LineState) => void,
): void {
  let state = openLine(config)
  let t_us = 0
  const begin: Timed = { after_us: 0, what: (now) => ({ kind: 'opened', t_us: now }) }
  const settle: Timed = { after_us: 250_000, what: (now) => ({ kind: 'time', t_us: now }) }
  const prompt: Timed = {
    after_us: 20_000,
    what: (now, _, there) => ({ kind: 'text', t_us: now, text: rightAnswer(there) ?? '0' }),
  }
  const say = (what: LineRequestBody): Timed => ({
    after_us: 0,
    what: (now, id) => ({ kind: 'request', t_us: now, id, channel: 'BENCH.plate', ...what }),
  })
  const limits = say({ do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
  const prompts = Array.from({ length: 8 }, () => prompt)
  const opening = [begin, settle, ...prompts, limits, say({ do: 'set', volts: 100 }), ...prompts]
  ;[...opening, ...inputs].forEach(({ after_us, what }, id) => {
    t_us += after_us
    const given = what(t_us, id, state)
    t_us = given.t_us
    const step = lineStep(state, given)
    firstLookHolds(state, given, step.outputs)
    see(state, given, step.outputs, step.state)
    state = step.state
  })
}

describe('whatever comes in', () => {
  it('the line gets as far as switching on, raising and making safe in these tests', () => {
    const seen = { on: 0, raised: 0, urgent: 0, readings: 0, resynchronised: 0 }
    for (const inputs of fc.sample(fc.array(input, { minLength: 100, maxLength: 120 }), {
      numRuns: 200,
      seed: 1,
    })) {
      play(inputs, (_, __, outputs, after) => {
        for (const output of outputs) {
          if (output.kind === 'write' && output.text.includes('OUTP ON')) seen.on += 1
          if (output.kind === 'write' && /:VOLT [1-9]/.test(output.text)) seen.raised += 1
          if (output.kind === 'write' && output.urgent) seen.urgent += 1
          if (output.kind === 'event' && output.event.kind === 'reading') seen.readings += 1
          if ((after.kept.faults.resynchronised ?? 0) > 0) seen.resynchronised += 1
        }
      })
    }
    for (const [what, times] of Object.entries(seen)) expect(times, what).toBeGreaterThan(20)
  })

  it('the line never throws, and the same inputs give the same outputs', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: 100 }), (inputs) => {
        const first: unknown[] = []
        const second: unknown[] = []
        play(inputs, (_, __, outputs) => first.push(outputs))
        play(inputs, (_, __, outputs) => second.push(outputs))
        expect(second).toEqual(first)
      }),
      { numRuns: 300 },
    )
  })

  it('a reading is only ever the text that came, read as a number within the range of its channel', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: 100 }), (inputs) => {
        play(inputs, (_, given, outputs) => {
          for (const output of outputs) {
            if (output.kind !== 'event' || output.event.kind !== 'reading') continue
            expect(given.kind).toBe('text')
            if (given.kind !== 'text') continue
            expect(parseNumber(given.text)).toEqual(output.event.value)
            const most = output.event.quantity === 'V' ? 361 : 0.7
            expect(Math.abs(decimalValue(output.event.value))).toBeLessThanOrEqual(most)
          }
        })
      }),
      { numRuns: 300 },
    )
  })

  it('no question is asked while another waits for its reply', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: 120 }), (inputs) => {
        let deadline_us: number | null = null
        play(inputs, (before, given, outputs) => {
          if (given.kind === 'text' && given.text.trim() !== '') deadline_us = null
          if (given.kind === 'opened' || given.kind === 'closed' || given.kind === 'discarded')
            deadline_us = null
          if (deadline_us !== null && given.t_us >= deadline_us) deadline_us = null
          if (before.flight === null) deadline_us = null
          for (const output of outputs) {
            if (output.kind === 'reopen') deadline_us = null
            if (output.kind !== 'write' || !output.text.includes('?')) continue
            expect(deadline_us).toBeNull()
            expect(output.text.split('?').length).toBe(2)
            deadline_us = given.t_us + config.reply_us
          }
        })
      }),
      { numRuns: 300 },
    )
  })

  it('after an urgent OFF nothing that raises energy is written', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: 120 }), (inputs) => {
        let off = false
        play(inputs, (_, given, outputs) => {
          off ||= given.kind === 'urgent off'
          if (!off) return
          for (const output of outputs) {
            if (output.kind !== 'write') continue
            expect(output.text).not.toMatch(/OUTP ON|:(VOLT|CURR) (?!0\.0+\n)|PROT \d|CLE/)
          }
        })
      }),
      { numRuns: 300 },
    )
  })

  it('every request comes to exactly one outcome, or still waits', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: 120 }), (inputs) => {
        const open = new Set<number>()
        let last = openLine(config)
        play(inputs, (_, given, outputs, after) => {
          if (given.kind === 'request') open.add(given.id)
          for (const output of outputs) {
            if (output.kind !== 'event') continue
            if (output.event.kind !== 'done' && output.event.kind !== 'failed') continue
            expect(open.delete(output.event.id)).toBe(true)
          }
          last = after
        })
        const waiting = [last.work?.request?.id, ...last.waiting.map((request) => request.id)]
        expect(new Set(waiting.filter((id) => id !== undefined))).toEqual(open)
      }),
      { numRuns: 300 },
    )
  })
})

describe('what is said', () => {
  it('a number cut short anywhere is never larger, and is never larger than was asked', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 1000, noNaN: true }),
        fc.integer({ min: 0, max: 5 }),
        (value, digits) => {
          const text = fixedPoint(value, digits) ?? ''
          const whole = Number(text)
          expect(whole).toBeLessThanOrEqual(value + 1e-9)
          expect(value - whole).toBeLessThan(1 / 10 ** digits + 1e-9)
          for (let cut = 1; cut <= text.length; cut++)
            expect(Number(text.slice(0, cut))).toBeLessThanOrEqual(whole)
        },
      ),
    )
  })

  it('any number a supply prints within fifteen digits keeps its value to the last one', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: -999_999_999, max: 999_999_999 }),
        fc.integer({ min: 0, max: 6 }),
        (n, k) => {
          const text = (n / 10 ** k).toFixed(k)
          const read = parseNumber(text)
          expect(read?.k).toBe(k)
          expect(read?.n === n || (n === 0 && read?.n === 0)).toBe(true)
        },
      ),
    )
  })
})

describe('over a garbled or failing line', () => {
  it('a correct supply hears nothing that no correct driver may send, and an urgent OFF gets through in the end', () => {
    const trouble = fc.constantFrom(
      { garbled: true },
      { silent: true },
      { late_s: 0.15 },
      { late_s: 0.5 },
      {},
    )
    fc.assert(
      fc.property(
        fc.array(fc.tuple(trouble, fc.integer({ min: 50, max: 1500 })), { maxLength: 5 }),
        (troubles) => {
          const w = new LineWorld(config, supply)
          w.open()
          w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
          w.ask(2, 'BENCH.plate', { do: 'set', volts: 100 })
          w.ask(3, 'BENCH.plate', { do: 'on' })
          for (const [faults, ms] of troubles) {
            w.device.faults(faults)
            w.run(ms * 1000)
          }
          w.device.faults({})
          w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
          const from = w.events.length
          const confirmed = w.run(20_000_000, () =>
            w.events
              .slice(from)
              .some((event) => event.kind === 'output' && event.channel === 'BENCH.plate' && !event.on),
          )
          expect(confirmed).toBe(true)
          expect(w.faces['plate']?.on).toBe(false)
          // The late answer to one identity question lets the next be asked while the second identity is still on its way.
          const late = troubles.some(([faults]) => 'late_s' in faults)
          expect(w.device.abuses().filter((abuse) => !late || !abuse.includes('before the answer'))).toEqual(
            [],
          )
        },
      ),
      { numRuns: 40 },
    )
  })
})
