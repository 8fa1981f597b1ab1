import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
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
