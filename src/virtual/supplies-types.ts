import type { Chance } from '../chance/index.js'
import type { Meter, Supply } from '../bench/index.js'
import type { OutputFace } from './types.js'

/**
 * A virtual instrument on a port. It parses text as a real one does and knows only the faces of its outputs: what is set
 * it writes there, what is measured it reads there. Whoever owns the world brings the faces up to `t_us` before calling.
 */
export interface VirtualInstrument {
  /** Text arriving, in any chunks; a message is acted on when its terminator arrives. */
  receive(text: string, t_us: number): void
  /** Reply text due by now; empties what it returns. */
  take(t_us: number): string
  /** When the next reply text is due; null = nothing pending. */
  next_us(): number | null
  /** Faults of the line, all of which may be on together; given anew each time, so leaving one out ends it. */
  faults(faults: LineFaults): void
  /** Somebody works its front panel: it is local until it is told to be remote again, where it has a word for that. */
  panel?(): void
  /** Text no correct driver may send, in words; tests assert that it stays empty. */
  abuses(): readonly string[]
}

export interface LineFaults {
  /** Nothing comes back; what arrives is still acted on, as with a broken receive wire. */
  readonly silent?: boolean
  /** Bits flip in what comes back. */
  readonly garbled?: boolean
  /** Replies go on for ever instead of ending. */
  readonly endless?: boolean
  /** Bytes of any kind come back in place of a reply. */
  readonly noise?: boolean
  /** What is said comes back before its reply. */
  readonly echo?: boolean
  /** Each reply comes when the next question is answered. */
  readonly behind?: boolean
  /** Replies come this much later. */
  readonly late_s?: number
  /** Another identity is answered: a different supply on this port. */
  readonly wrong_identity?: boolean
  /** Set commands are ignored and -201 is queued, as when somebody took the front panel. */
  readonly local?: boolean
}

export interface VirtualSupplyOptions {
  readonly name: string
  readonly supply: Supply
  /** By channel name; the same objects the world moves. */
  readonly outputs: Readonly<Record<string, OutputFace>>
  /** Read-only channels beside them: the question and what it is answered now, null = nothing. */
  readonly inputs?: readonly { readonly ask: string; readonly text: () => string | null }[]
  /** For what a garbled line flips. */
  readonly chance: Chance
}

export interface VirtualMeterOptions {
  readonly name: string
  readonly meter: Meter
  /** What the meter shows now, offset and noise already in it; volts or amps. Null = it says nothing. */
  readonly shows: () => number | null
  /** The same as it prints it to a question of its own. */
  readonly text?: () => string | null
  readonly chance: Chance
}
