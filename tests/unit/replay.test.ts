import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { exactText, otherText } from '../../src/cli/replay-text.js'
import { replayExactly, replayWith } from '../../src/replay/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'
import { brisk, demo, told } from '../faults/demo.js'

const healthy = demo((bench) => bench, brisk)
const { entries: bare, ending } = told(healthy, [])
const entries: readonly RunEntry[] = [
  ...streamsOf(healthy.plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
  ...bare,
]
const withHT = (plan: Plan, factor: number): Plan => ({
  ...plan,
  steps: plan.steps.map((step) => {
    const own = step.limits['HT']
    if (own === undefined) return step
    const { expected_A, trip_A, ceiling_A } = own
    const limits = { ...own, trip_A: factor * trip_A, ceiling_A: factor * ceiling_A, expected_A }
    return { ...step, limits: { ...step.limits, HT: limits } }
  }),
})

describe('a replay of a healthy run', () => {
  it('comes out decision for decision, the ending too', () => {
    expect(ending.outcome).toBe('completed')
    const result = replayExactly(healthy.plan, entries, 'rehearsal')
    expect(result).toMatchObject({ difference: null, gap: null })
    expect(result.same).toBeGreaterThan(300)
  })

  it('notices a reading that was changed afterwards, where it first matters', () => {
    const high = highHT(entries)
    const { difference } = replayExactly(healthy.plan, high, 'rehearsal')
    expect(difference?.now).toMatch(/^urgent off/)
    // The reading that would have tripped let nothing out in the run, or its next raise.
    expect(difference?.recorded ?? 'set').toMatch(/^set/)
  })

  it('notices a decision that was changed afterwards', () => {
    const at = entries.findIndex((entry) => entry.entry === 'event' && entry.event.what === 'asked')
    const altered = entries.map((entry, i) =>
      i === at && entry.entry === 'event'
        ? { ...entry, event: { ...entry.event, data: { ...entry.event.data, volts: 1 } } }
        : entry,
    )
    expect(replayExactly(healthy.plan, altered, 'rehearsal').difference).not.toBeNull()
  })

  it('of a record that ends before its last decisions says so, and how many are missing', () => {
    const versions = { recorded: 'x', now: 'x' }
    const off = entries.findIndex((entry) => entry.entry === 'event' && entry.event.what === 'asked')
    const cut = replayExactly(healthy.plan, entries.slice(0, off), 'rehearsal')
    expect(cut).toMatchObject({
      difference: null,
      gap: expect.stringMatching(/^The record ends here, /) as string,
    })
    expect(cut.ends_early).toBeGreaterThan(0)
    expect(exactText(cut, 'a', versions)).toContain('followed only in part')
    const open = replayExactly(healthy.plan, entries.slice(0, -1), 'rehearsal')
    expect(open.gap ?? '').toMatch(/^The record ends here, one decision before it would.*the run ends/)
    const fed = entries.findIndex((entry, i) => i > off + 200 && entry.entry === 'tick')
    const quiet = replayExactly(healthy.plan, entries.slice(0, fed), 'rehearsal')
    expect(quiet).toMatchObject({
      ends_early: 0,
      gap: expect.stringContaining('without an ending') as string,
    })
    expect(replayWith(healthy.plan, entries.slice(0, off)).ends_early).toBeGreaterThan(0)
    expect(replayWith(healthy.plan, entries.slice(0, fed)).ends_early).toBe(0)
  })

  it('says that it cannot follow what was dropped or written by another hand', () => {
    const cut = entries.findIndex((entry) => entry.entry === 'event' && entry.event.what === 'asked')
    const event = { t_us: 0, from: 'controller', what: 'dropped', text: '12 entries were dropped.' } as const
    const more = { rail: null, step: null, intent: null, data: {}, durable: true }
    const dropped: RunEntry[] = [...entries.slice(0, cut), { entry: 'event', event: { ...event, ...more } }]
    expect(replayExactly(healthy.plan, dropped, 'rehearsal').gap).toContain('12 entries were dropped')
    const strange: RunEntry = {
      entry: 'event',
      event: { ...event, ...more, what: 'fed', data: { kind: 'x' } },
    }
    expect(replayExactly(healthy.plan, [strange], 'rehearsal').gap).toContain('does not read')
    expect(replayWith(healthy.plan, [strange]).gap).toContain('does not read')
  })
})

describe('a replay in words', () => {
  it('says by how much in the unit of the limit', () => {
    const over = (unit: string, measured: number, limit: number): string =>
      otherText(
        {
          ...{ fed: 9, gap: null, ends_early: null },
          difference: {
            ...{ t_us: 12e6, step: 3, recorded: null, now: 'trip' },
            reason: { code: 'x', rail: null, step: 3, measured, limit, unit, text: 'too much.' },
          },
        },
        'a',
        'p.yaml',
      )
    expect(over('°C', 75, 70)).toContain('at 12.0 s, step 3, 5 °C beyond the limit')
    expect(over('A', 0.0304, 0.03)).toContain('400 µA beyond the limit')
    expect(over('V/s', 3, 1)).toContain('2 V/s beyond')
    expect(over('%·s', 14, 10)).toContain('4 %·s beyond')
    expect(over('s', 4, 4)).toContain('0 s at the limit')
  })
})

describe('a run judged by other limits', () => {
  it('goes the same way by its own', () => {
    expect(replayWith(healthy.plan, entries)).toMatchObject({ difference: null, gap: null })
  })

  it('would have tripped under tighter ones: when, in which step, by how much', () => {
    const { difference } = replayWith(withHT(healthy.plan, 0.5), entries)
    // The reading that would have tripped let nothing out in the run, or its next raise.
    expect(difference?.recorded ?? 'set').toMatch(/^set/)
    expect(difference?.reason).toMatchObject({ rail: 'HT', unit: 'A' })
    expect(difference?.reason?.measured ?? 0).toBeGreaterThan(difference?.reason?.limit ?? Infinity)
    expect(difference?.step).toBeGreaterThan(1)
  })

  it('is told where a run that tripped would have gone on under wider ones', () => {
    const tight = { ...healthy, plan: withHT(healthy.plan, 0.5) }
    const tripped = told(tight, [])
    expect(tripped.ending.outcome).toBe('tripped')
    const { difference } = replayWith(healthy.plan, [
      ...entries.filter(({ entry }) => entry === 'stream'),
      ...tripped.entries,
    ])
    expect(difference?.now ?? 'set').toMatch(/^set/)
    expect(difference?.recorded).toMatch(/^(trip|asked|urgent off|off)/)
  })
})

/** One reading of HT's current, late in the run, a hundred times as large. */
function highHT(all: readonly RunEntry[]): RunEntry[] {
  const id = streamsOf(healthy.plan).find(({ rail, unit }) => rail === 'HT' && unit === 'A')?.id
  const at = all.findLastIndex((entry) => entry.entry === 'reading' && entry.stream === id && entry.n > 500)
  return all.map((entry, i) =>
    i === at && entry.entry === 'reading' ? { ...entry, n: entry.n * 100 } : entry,
  )
}
