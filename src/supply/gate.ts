import type { ConnectionHandlers } from './types.js'

/** The longest line a supply may send: an identity of 72 characters is the longest real one; the rest is room. */
export const longest_line = 256

/**
 * Bytes into lines, in latin1, which keeps all eight bits apart. The library's own line parser has no length limit and would
 * keep a fragment for ever. Only whole lines pass; CR, LF and CR LF all end one. One gate per connection: a remnant never
 * meets the next connection's first reply.
 */
export class Gate {
  private readonly held = Buffer.alloc(longest_line)
  private length = 0
  private dropped = 0

  constructor(private readonly to: Pick<ConnectionHandlers, 'text' | 'discarded'>) {}

  take(chunk: Uint8Array): void {
    for (const byte of chunk) {
      if (byte === 0x0a || byte === 0x0d) this.end()
      else if (this.dropped > 0 || this.length === longest_line) this.drop()
      else this.held[this.length++] = byte
    }
    // Told as it comes: a flood without an end must not wait for one.
    if (this.dropped > longest_line) {
      this.to.discarded(this.dropped - 1, `a line longer than ${longest_line} characters`)
      this.dropped = 1
    }
  }

  /** The connection is over: what was not a whole line is no reply. */
  finish(): void {
    const rest = this.length + this.dropped
    this.length = 0
    this.dropped = 0
    if (rest > 0) this.to.discarded(rest, 'an unfinished line')
  }

  private end(): void {
    if (this.dropped > 0) {
      this.to.discarded(this.dropped, `a line longer than ${longest_line} characters`)
      this.dropped = 0
    } else if (this.length > 0) {
      this.to.text(this.held.toString('latin1', 0, this.length))
    }
    this.length = 0
  }

  private drop(): void {
    this.dropped += this.length + 1
    this.length = 0
  }
}
