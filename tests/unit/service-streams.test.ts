import { afterEach, describe, expect, it, vi } from 'vitest'
import type { EventData, Snapshot } from '../../src/service/api/index.js'
import { Streams, type Viewer } from '../../src/service/streams.js'

const snapshot = (word: string | null): Snapshot =>
  ({ phase: 'cautions', cautions: { text: 'read', word } }) as unknown as Snapshot

function watching(streams: Streams, here: boolean, word = here) {
  const got: string[] = []
  const raw = {
    write: (bytes: Uint8Array) => got.push(Buffer.from(bytes).toString()) > 0,
    on: () => raw,
    end: () => raw,
    destroy: () => raw,
    writableLength: 0,
  }
  streams.add({ raw, here, word, browser: null } as unknown as Viewer, snapshot(null))
  return got
}

describe('the streams of who watches', () => {
  afterEach(() => {
    vi.useRealTimers()
  })
  it('are two hundred of other machines at most, which never crowd out the bench’s own, nor those it', () => {
    const streams = new Streams(() => ({ now_ms: 0, phase: 'none', viewers: 0 }))
    for (let i = 0; i < 200; i++) {
      expect(streams.hasRoom(false), String(i)).toBe(true)
      watching(streams, false)
    }
    expect(streams.hasRoom(false)).toBe(false)
    for (let i = 0; i < 56; i++) {
      expect(streams.hasRoom(true), String(i)).toBe(true)
      watching(streams, true)
    }
    expect(streams.hasRoom(true)).toBe(false)
    expect(streams.refused).toBe(2)
    expect(streams.count).toBe(streams.most)
    streams.end('over')
  })

  it('carry the word of the cautions to a page in a browser at the bench, and to nobody else', () => {
    const streams = new Streams(() => ({ now_ms: 0, phase: 'none', viewers: 0 }))
    const [page, script, phone] = [
      watching(streams, true),
      watching(streams, true, false),
      watching(streams, false),
    ]
    streams.sendBoth('snapshot', snapshot('lantern'), snapshot(null))
    expect(page.join('')).toContain('lantern')
    for (const each of [script, phone]) {
      expect(each.length).toBe(2)
      expect(each.join('')).not.toContain('lantern')
    }
    streams.end('over')
  })

  it('get figures some at a time, so that a crowd is no burst beside a run, and what happened right behind them', () => {
    vi.useFakeTimers()
    const streams = new Streams(() => ({ now_ms: 0, phase: 'none', viewers: 0 }))
    const crowd = Array.from({ length: 40 }, () => watching(streams, false))
    const have = (word: string): number => crowd.filter((got) => got.join('').includes(word)).length
    const figures = (name: string) => ({ now_ms: 0, view: name }) as unknown as EventData<'view'>

    streams.send('view', figures('first'))
    vi.advanceTimersByTime(1)
    expect(have('first')).toBe(16)
    vi.advanceTimersByTime(10)
    expect(have('first')).toBe(32)
    streams.send('view', figures('second'))
    streams.send('message', { now_ms: 0, message: 'alarm' } as unknown as EventData<'message'>)
    expect([have('first'), have('second'), have('alarm')]).toEqual([40, 40, 40])
    for (const got of crowd)
      expect(got.slice(1).map((text) => /first|second|alarm/.exec(text)?.[0])).toEqual([
        'first',
        'second',
        'alarm',
      ])
    // Nothing is sent twice.
    vi.advanceTimersByTime(100)
    expect(crowd.every((got) => got.length === 4)).toBe(true)
    streams.end('over')
  })
})
