import type { Line } from '../bench/index.js'

/** A line that can be opened. A line of the virtual bench is turned into one of these by whoever starts the virtual bench. */
export type PortLine = Exclude<Line, { kind: 'virtual' }>

export type TroubleKind =
  | 'missing port'
  | 'busy'
  | 'no permission'
  | 'not a terminal'
  | 'refused'
  | 'gone'
  | 'stuck'
  | 'other'

/** Why a connection ended or could not be made: where, what it means, what to do. */
export interface Trouble {
  readonly kind: TroubleKind
  readonly text: string
}

export interface ConnectionHandlers {
  /** Ready to write. Comes at most once. */
  opened(): void
  /** A whole line, latin1, without its terminator; never longer than the gate allows. */
  text(text: string): void
  /** Bytes the gate threw away, and why. */
  discarded(bytes: number, why: string): void
  /** The connection is over, or was never made. Comes at most once, and not after `close()` was called. */
  closed(trouble: Trouble): void
}

/** One connection, used once: after it is over a fresh one is made. */
export interface Connection {
  readonly isOpen: boolean
  /**
   * Writes at once or not at all: a closed connection drops the text and says so by `false`. `urgent`: past whatever still
   * waits here to be written; it may then be on the line twice. No handler is called from inside it.
   */
  write(text: string, urgent?: boolean): boolean
  /** Gives the port back; resolves when another connection can have it. */
  close(): Promise<void>
}

export interface OpenOptions {
  /** `false`: open although another program holds the lock. Only for switching off. */
  readonly lock?: boolean
  /** A write not taken by the system within this is a stuck line. Milliseconds; 500 unless given. */
  readonly write_within_ms?: number
  /** A network connection not made within this is refused. Milliseconds; 3000 unless given. */
  readonly open_within_ms?: number
}

/** A second way to the supply, held from the start for the OFF that must not wait; it is never read. */
export interface SpareLine {
  readonly state: 'opening' | 'ready' | Trouble
  /** Hands the text to the system before returning; `false` where it could not be taken whole. */
  writeNow(text: string): boolean
  close(): void
}
