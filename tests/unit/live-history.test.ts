import { beforeEach, describe, expect, it } from 'vitest'
import { keep, keepAnew, keepBefore, limitsBefore, seenOf } from '../../src/console/live/history.js'
import { heldAt } from '../../src/console/words/in-force.js'
import type { LiveView } from '../../src/service/api/index.js'

const view = (elapsed_s: number, amps: number): LiveView =>
  ({
    step: 1,
    elapsed_s,
    rails: [{ rail: 'HT', measured_ms: elapsed_s * 1000 + amps * 1e6, amps, volts: 0, limits: null }],
  }) as unknown as LiveView

describe('what a page has seen of a run', () => {
  beforeEach(() => {
    keepAnew(null)
    keepAnew('one')
  })
  it('begins anew when the hook-up is confirmed, however long that took', () => {
    keep(view(310, 0))
    keep(view(320, 0))
    keep(view(0, 0.01))
    keep(view(10, 0.02))
    expect(seenOf('HT')?.t_s).toEqual([0, 10])
    expect(seenOf('HT')?.A).toEqual([0.01, 0.02])
  })

  it('keeps the limits that are in force: wider while it charges, none while its heaters are cold', () => {
    const limits = { lower_A: 1, upper_A: 2, trip_A: 3, ceiling_A: 4 }
    const with_ = (elapsed_s: number, more: object): LiveView => {
      const one = view(elapsed_s, 0.01)
      return { ...one, rails: one.rails.map((rail) => ({ ...rail, limits, ...more })) } as unknown as LiveView
    }
    keep(with_(1, { soft_start: true }))
    keep(with_(2, { charging_A: 0.5 }))
    keep(with_(3, {}))
    expect(seenOf('HT')?.trip_A).toEqual([null, 3.5, 3])
    expect(seenOf('HT')?.upper_A).toEqual([null, 2, 2])
  })

  it('has of before it looked what was measured, and what was in force at each moment once that is told', () => {
    const now = { lower_A: 1, upper_A: 2, trip_A: 3, ceiling_A: 4 }
    const first = view(30, 0.01)
    keep({ ...first, rails: first.rails.map((rail) => ({ ...rail, limits: now })) } as unknown as LiveView)
    keepBefore('HT', [
      [10, 0.1],
      [20, 0.2],
      [25, 0.3],
      [35, 9],
    ])
    expect(seenOf('HT')?.A).toEqual([0.1, 0.2, 0.3, 0.01])
    expect(seenOf('HT')?.trip_A).toEqual([null, null, null, 3])
    const held = heldAt(
      [
        {
          rail: 'HT',
          t_s: [0, 15, 24],
          lower_A: [null, 4, null],
          upper_A: [null, 6, null],
          trip_A: [null, 7, 7],
          ceiling_A: [null, 8, 8],
        },
      ],
      'HT',
    )
    limitsBefore('HT', 30, held)
    expect(seenOf('HT')?.trip_A).toEqual([null, 7, null, 3])
    expect(seenOf('HT')?.lower_A).toEqual([null, 4, null, 1])
    expect(heldAt([], 'HT')(1)).toBeNull()
  })
})
