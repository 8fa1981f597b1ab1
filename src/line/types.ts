import type { Dialect, Measures } from '../bench/index.js'
import type { LineEvent, LineHealth, LineRequestBody, Rung } from '../exchange/index.js'

/**
 * One port as a state machine. It knows the words (dialect) and the rules of the line: one command in flight, a deadline
 * for every reply, set / read back / verify, a ladder of recovery, and the OFF path beside the queue.
 * `step(state, input)` returns the new state and what to write and tell; it never waits and never throws.
 */
export interface LineConfig {
  readonly port: string
  readonly identity: string | null
  readonly dialect: Dialect
  /** Counted from the end of the question on the wire. */
  readonly reply_us: number
  /** How long one byte is on the wire; absent = no time that counts. */
  readonly byte_us?: number
  readonly channels: readonly LineChannel[]
  /** A meter port: only these readings, no outputs. */
  readonly meter: LineMeter | null
  /** Read-only channels beside the outputs, each asked in its own slower turn. */
  readonly inputs?: readonly LineMeter[]
  /** Opened to put outputs off, not to run them: no dead-man is armed. */
  readonly only_off?: boolean
  /** A round of readings starts no sooner than this after the one before; 0 or absent = as fast as the line allows. */
  readonly poll_us?: number
}
/** What is only read. */
export interface LineMeter {
  readonly name: string
  readonly measures: Measures
  /** Replies beyond this, either way, are not believed. */
  readonly limit: number
  /** Its question; absent or null = the dialect's own words for volts or amps. */
  readonly ask?: string | null
  /** What stands around its answer; absent or null = nothing beyond the dialect's own. */
  readonly answer?: string | null
  /** Asked no sooner than this after the time before; absent = in every round. */
  readonly every_us?: number
  /** What a contact answers when closed; 1 unless given. */
  readonly closed_is?: 0 | 1
  /** Asking it keeps a cut-off relay closed: asked only while the loop wants that, and never more rarely. */
  readonly feeds?: true
}
export interface LineChannel {
  readonly channel: string
  readonly number: number
  readonly set_digits_V: number
  readonly set_digits_A: number
  /** Replies beyond these are not believed. */
  readonly max_V: number
  readonly max_A: number
  /** Read-back of a setting must agree within this. */
  readonly resolution_V: number
  readonly resolution_A: number
  readonly over_voltage: boolean
  /** Lowest settable volts and amps: where `zero` goes; 0 unless given. */
  readonly min_V?: number
  readonly min_A?: number
  /** Left unarmed by a dead-man of its own: heaters, and bias, which must outlast HT. */
  readonly unguarded?: boolean
}

export type LineInput =
  | { readonly kind: 'opened'; readonly t_us: number }
  /** `stuck`: given up because a write was not taken in time. */
  | { readonly kind: 'closed'; readonly t_us: number; readonly text: string; readonly stuck?: boolean }
  /** A framed line as latin1 text without its terminator. */
  | { readonly kind: 'text'; readonly t_us: number; readonly text: string }
  /** The gate threw bytes away (over-long line, remnant). */
  | {
      readonly kind: 'discarded'
      readonly t_us: number
      readonly bytes: number
      readonly why: string
      /** A line without an end, not a remnant. */
      readonly overlong?: boolean
    }
  | { readonly kind: 'time'; readonly t_us: number }
  | ({
      readonly kind: 'request'
      readonly t_us: number
      readonly id: number
      readonly channel: string
    } & LineRequestBody)
  /** Whether the cut-off relay at the end of this line is to be fed. */
  | { readonly kind: 'feeds'; readonly t_us: number; readonly on: boolean }
  /** Slows the readings down (a hold of hours) or back to full speed (0). */
  | { readonly kind: 'pace'; readonly t_us: number; readonly poll_us: number }
  /** Beside the queue: written at once, whatever is in flight. */
  | { readonly kind: 'urgent off'; readonly t_us: number; readonly channels: readonly string[] }

export type LineOutput =
  | { readonly kind: 'write'; readonly text: string; readonly urgent: boolean }
  | { readonly kind: 'event'; readonly event: LineEvent }
  /** The shell should close this connection and make a fresh one. */
  | { readonly kind: 'reopen'; readonly text: string }
  /** Counts of line faults changed; told at most once a second. A copy for people and the record, no decision. */
  | { readonly kind: 'health'; readonly health: LineHealth }
  /** A rung of the ladder of recovery was climbed. A copy likewise. */
  | { readonly kind: 'rung'; readonly rung: Rung; readonly text: string }
