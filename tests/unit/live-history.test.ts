import { beforeEach, describe, expect, it } from 'vitest'
import { keep, keepAnew, seenOf } from '../../src/console/live/history.js'
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
})
