import { describe, expect, it } from 'vitest'
import type { Snapshot } from '../../src/service/api/index.js'
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
})
