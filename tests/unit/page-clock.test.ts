import { effect } from '@preact/signals'
import { describe, expect, it } from 'vitest'
import { freshness } from '../../src/console/live/freshness.js'

/** A page whose two clocks are moved by hand, and a service that speaks by its own. */
function page() {
  const clock = { count_ms: 10_000, wall_ms: 1_700_000_000_000, service_ms: 500 }
  const told = freshness({ count_ms: () => clock.count_ms, wall_ms: () => clock.wall_ms })
  return {
    told,
    is: () => told.connection.peek(),
    /** Time goes on everywhere. */
    goes: (ms: number): void => {
      clock.count_ms += ms
      clock.wall_ms += ms
      clock.service_ms += ms
      told.look()
    },
    /** This computer sleeps; nothing is looked at. */
    sleeps: (ms: number, counting = false): void => {
      clock.wall_ms += ms
      clock.service_ms += ms
      if (counting) clock.count_ms += ms
    },
    /** Somebody, or the network, sets the clock on the wall. */
    wallIsSet: (ms: number): void => {
      clock.wall_ms += ms
    },
    hears: (late_ms = 0): void => {
      told.heard(clock.service_ms - late_ms, 'first life')
    },
  }
}

describe('what a page shows as of now', () => {
  it('is what was said within a second, and nothing before a word has come', () => {
    const { is, goes, hears } = page()
    expect(is()).toBe('waiting')
    goes(1600)
    expect(is()).toBe('stale')
    hears()
    expect(is()).toBe('live')
    goes(800)
    expect(is()).toBe('live')
    goes(200)
    expect(is()).toBe('stale')
    hears()
    expect(is()).toBe('live')
  })

  it('is nothing that waited in a line that stood still, though it comes now', () => {
    const { is, goes, hears } = page()
    hears()
    goes(5000)
    hears(4000)
    expect(is()).toBe('stale')
    hears(20)
    expect(is()).toBe('live')
  })

  it.each([
    ['stood still', false],
    ['counted on', true],
  ])('is nothing from before a sleep in which the clock %s, from the first look on', (_, counting) => {
    const { told, is, goes, sleeps, hears } = page()
    hears()
    goes(100)
    const seen: string[] = []
    effect(() => {
      seen.push(told.connection.value)
    })
    sleeps(3_600_000, counting)
    told.look()
    expect(seen).toEqual(['live', 'stale'])
    // A word of now, on a line of now.
    hears()
    expect(is()).toBe('live')
    goes(950)
    expect(is()).toBe('stale')
  })

  it('tells of each sleep in the moment it is looked at, so that what waits in the old line is not heard first', () => {
    const { told, sleeps, goes } = page()
    let opened = 0
    effect(() => {
      opened += Number(told.sleeps.value >= 0)
    })
    goes(100)
    expect(opened).toBe(1)
    sleeps(500)
    told.look()
    expect(opened).toBe(2)
    sleeps(86_400_000)
    told.look()
    expect(opened).toBe(3)
  })

  it('goes by no clock on the wall that is set right by a little, nor by one that is set back', () => {
    const { told, is, goes, hears, wallIsSet } = page()
    hears()
    for (const ms of [30, -30, -3_600_000]) {
      wallIsSet(ms)
      told.look()
      goes(100)
      hears()
      expect(is()).toBe('live')
    }
    expect(told.sleeps.peek()).toBe(0)
  })
})
