import { describe, expect, it } from 'vitest'
import { stepNumbered } from '../../src/plan/index.js'
import { brisk, demo, told } from './demo.js'

const slow = demo()
const receiver = demo(undefined, brisk)

describe('a healthy Tern Rock receiver', () => {
  // As it ships once, and with the short holds of the rest of this file as four other sets.
  it.each([
    [1953, slow],
    [2, receiver],
    [3, receiver],
    [4, receiver],
    [5, receiver],
  ])('completes with outputs confirmed off, seed %i', (seed, course) => {
    const { ending } = told(course, [], seed)
    expect(ending.outcome).toBe('completed')
    expect(ending.reason).toBeNull()
    expect(ending.outputs_off).toBe('confirmed')
    expect(ending.steps_done).toBe(course.plan.steps.length)
    // Nothing but "marginal" may be said of a healthy set: one current in twenty lies outside a 5-95 % band.
    for (const warning of ending.warnings) expect(warning).toMatch(/marginal/)
    expect(ending.stored_charge['reservoir']).toMatchObject({ meter: 'reservoir meter' })
  })
})

describe('a set or bench with a fault, in the middle of the ramp', () => {
  it('trips on a reservoir that shorts at 60 % of the ramp, and names rail, step, measured and limit', () => {
    const run = told(receiver, ['C1a:short@HT>150V'])
    const { reason } = run.ending
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.outputs_off).toBe('confirmed')
    expect(reason?.rail).toBe('HT')
    expect(stepNumbered(receiver.plan, reason?.step ?? null)?.rail).toBe('HT')
    expect(['over-trip', 'over-ceiling', 'current-limit']).toContain(reason?.code)
    expect(reason?.measured ?? 0).toBeGreaterThan(0.98 * (reason?.limit ?? Infinity))
    expect(reason?.text).toMatch(/999 of 1000|ceiling|limit/)
    expect(run.highest('high.out.V')).toBeLessThan(170)
  })

  it('trips as heaters lost when a heater opens with HT on, and HT never rises further', () => {
    const run = told(receiver, ['V8:heater-open@HT>120V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.code).toBe('heater-lost')
    expect(run.ending.reason?.rail).toBe('heaters')
    expect(run.ending.outputs_off).toBe('confirmed')
    expect(run.highest('high.out.V')).toBeLessThan(155)
  })

  it('trips on bias lost with HT on, by the meter at the grid return or the preload gone', () => {
    const run = told(receiver, ['bias:bias-lost@HT>120V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.code).toBe('bias-low')
    expect(run.highest('high.out.V')).toBeLessThan(155)
  })

  it('stops on a gassy output tube by current that should not be there', () => {
    const run = told(receiver, ['V8:gassy@HT>200V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(['over-trip', 'over-ceiling', 'rising', 'current-limit']).toContain(run.ending.reason?.code)
    expect(run.ending.reason?.rail).toBe('HT')
    expect(run.ending.outputs_off).toBe('confirmed')
  })

  it('trips when the protection of a supply fires, and never clears it', () => {
    const run = told(receiver, ['high:trips@HT>100V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.code).toBe('protection')
    expect(run.ending.outputs_off).toBe('confirmed')
  })

  it('notices a missing output tube by its heater, and a careful person stops before any HT', () => {
    const run = told(receiver, ['V8:missing'])
    expect(run.said('prompt').join(' ')).toMatch(/heaters.*(weak|less)/)
    expect(run.ending.outcome).toBe('stopped')
    expect(run.highest('high.out.V')).toBeLessThan(6)
    expect(run.ending.outputs_off).toBe('confirmed')
  })
})

describe('leads that are wrong from the start', () => {
  it.each([
    ['HT and bias swapped', 'HT:swapped=bias'],
    ['HT and heaters swapped', 'HT:swapped=heaters'],
    ['heaters and bias swapped', 'heaters:swapped=bias'],
    ['HT reversed', 'HT:reversed'],
    ['bias reversed', 'bias:reversed'],
    ['heaters reversed', 'heaters:reversed'],
    ['an HT lead fallen off', 'HT:lead-off'],
    ['a bias lead fallen off', 'bias:bias-lost'],
    ['a heater lead fallen off', 'heaters:lead-off'],
  ])('are stopped by the hook-up check below 5 V: %s', (_what, text) => {
    const run = told(receiver, [text])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.code).toBe('hook-up')
    for (const stream of ['high.out.V', 'low.heaters.V', 'low.bias.V']) {
      expect(run.highest(stream)).toBeLessThan(5.3)
    }
  })
})

describe('a rig that breaks', () => {
  it('with HT that ignores OFF: bias stays on, the alarm sounds, off is not confirmed', () => {
    const run = told(receiver, ['high.out:ignores-off@HT>150V'])
    expect(run.ending.outputs_off).toBe('not confirmed')
    expect(run.said('alarm').join(' ')).toMatch(/mains/)
    expect(run.ending.details['bias_released_by']).toBeNull()
    expect(run.ending.details['off']).toMatchObject({
      HT: { confirmed: false },
      bias: { confirmed: false },
      heaters: { confirmed: true },
    })
  })

  it('finds HT that ignores OFF from the start at 5 V', () => {
    const run = told(receiver, ['high.out:ignores-off'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.outputs_off).toBe('not confirmed')
    expect(run.highest('high.out.V')).toBeLessThan(5.3)
  })

  it.each([
    ['silent', 'line.high:silent@HT>150V'],
    ['garbled', 'line.high:garbled@HT>150V'],
    ['late by two seconds', 'line.low:late=2s@HT>150V'],
  ])('fails on a line that goes %s, and HT does not rise further', (_what, text) => {
    const run = told(receiver, [text])
    expect(run.ending.outcome).toBe('failed')
    expect(run.highest('high.out.V')).toBeLessThan(160)
  })

  it('reports a port that never answers, with nothing energised', () => {
    const run = told(receiver, ['line.low:silent'])
    expect(run.reachable).toBe(false)
    expect(run.ending.outcome).toBe('failed')
    expect(run.ending.reason?.text).toMatch(/Nothing was energised/)
    expect(run.highest('high.out.V')).toBeLessThan(1)
  })

  it('stops when a question runs out unanswered', () => {
    const run = told(receiver, [], 1, () => null)
    expect(run.ending.outcome).toBe('stopped')
    expect(run.ending.reason?.code).toBe('prompt-timeout')
    expect(run.ending.outputs_off).toBe('confirmed')
  })
})

describe('two channels in series onto HT', () => {
  const stacked = demo((bench) => {
    const high = bench.supplies['high']
    const out = high?.channels['out']
    if (high === undefined || out === undefined) throw new Error('demo bench changed')
    const half = { ...out, max_V: 210 }
    const dialect = bench.supplies['low']?.dialect ?? high.dialect
    return {
      ...bench,
      supplies: {
        ...bench.supplies,
        high: {
          ...high,
          dialect,
          channels: { upper: { ...half, number: 1 }, lower: { ...half, number: 2 } },
        },
      },
      stacks: [{ rail: 'HT', channels: ['high.upper', 'high.lower'] }],
    }
  }, brisk)

  it('complete when healthy, and share the volts', () => {
    const run = told(stacked, [])
    expect(run.ending.outcome).toBe('completed')
    expect(run.highest('high.upper.V')).toBeCloseTo(125, -1)
    expect(run.highest('high.lower.V')).toBeCloseTo(125, -1)
  })

  it('trip when one of them drops out', () => {
    const run = told(stacked, ['HT:drop-out@HT>150V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.rail).toBe('HT')
    expect(run.highest('high.upper.V')).toBeLessThan(90)
  })
})
