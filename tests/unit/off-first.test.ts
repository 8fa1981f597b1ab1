import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { offFirst } from '../../src/controller/off-first.js'

beforeEach(() => void vi.useFakeTimers())
afterEach(() => void vi.useRealTimers())

describe('an input that OFF was sent for at first look', () => {
  it('is taken a moment later with what was written, and all that came meanwhile behind it, once and in its order', () => {
    const looked: string[] = []
    const taken: (readonly [string, string | null])[] = []
    const feed = offFirst<string, string>(
      (input) => {
        looked.push(input)
        return input === 'over' ? 'OFF' : null
      },
      (input, given) => {
        taken.push([input, given])
        if (input === 'tick') feed('what the tick brought')
      },
    )
    feed('reading')
    expect(taken).toEqual([['reading', null]])
    for (const input of ['over', 'over', 'tick', 'reading']) feed(input)
    expect(taken).toHaveLength(1)
    vi.runAllTimers()
    expect(taken.slice(1)).toEqual([
      ['over', 'OFF'],
      ['over', null],
      ['tick', null],
      ['reading', null],
      ['what the tick brought', null],
    ])
    // Nothing is looked at while an OFF has the machine: the run it ends needs no other.
    expect(looked).toEqual(['reading', 'over'])
    feed('reading')
    expect(taken.at(-1)).toEqual(['reading', null])
  })
})
