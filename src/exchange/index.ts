/**
 * The words that sequencer and line exchange: types, and what a reading is. Neither room knows the other.
 */
import type { Decimal } from './decimal.js'
import type { LineFault } from './health.js'

export { decimal, type Decimal, decimalValue, most_n } from './decimal.js'
export {
  faultsInWords,
  healthInWords,
  type LineFault,
  lineFaults,
  type LineHealth,
  lineHealthShape,
  type Rung,
  rungs,
} from './health.js'

/** What a line says to the sequencer. */
export type LineEvent =
  | {
      readonly kind: 'reading'
      readonly channel: string
      readonly quantity: 'V' | 'A'
      readonly value: Decimal
    }
  | { readonly kind: 'meter'; readonly meter: string; readonly value: Decimal }
  | {
      readonly kind: 'regulation'
      readonly channel: string
      readonly mode: 'voltage' | 'current' | 'unknown'
    }
  /** Outcome of a line request. `unknown`: it may have happened. */
  | { readonly kind: 'done'; readonly id: number }
  | {
      readonly kind: 'failed'
      readonly id: number
      readonly code: LineFailure
      readonly text: string
      readonly outcome: 'not done' | 'unknown'
    }
  | { readonly kind: 'output'; readonly channel: string; readonly on: boolean }
  | { readonly kind: 'protection'; readonly channel: string; readonly which: Protection }
  /** A question went wrong and recovery has begun: only to name why readings do not come, should they stay away. */
  | { readonly kind: 'line trouble'; readonly port: string; readonly fault: LineFault; readonly text: string }
  /** The line itself is gone or untrustworthy. */
  | { readonly kind: 'line lost'; readonly port: string; readonly text: string }

/** What in a supply switches off by itself and says so. */
export type Protection = 'over-voltage' | 'over-current' | 'over-temperature' | 'dead-man'

export type LineFailure =
  | 'no reply'
  | 'bad reply'
  | 'read-back differs'
  | 'refused'
  | 'wrong supply'
  | 'closed'

export type LineRequestBody =
  /**
   * Current limit and over-voltage level, both set and read back. The over-current level goes with the current limit, just above
   * it, unless it is told here: only a proof that it trips does that.
   */
  | {
      readonly do: 'limits'
      readonly limit_A: number
      readonly over_voltage_V: number | null
      readonly over_current_A?: number
    }
  /** Set-point, set and read back. */
  | { readonly do: 'set'; readonly volts: number }
  | { readonly do: 'on' }
  /** Orderly OFF: read back. */
  | { readonly do: 'off' }
  /** Set-point to zero, then current limit to minimum. */
  | { readonly do: 'zero' }
  /**
   * The supply's dead-man is not fed for this long, so that it is seen to fire: only its proof asks for that. Where the run goes on
   * with it afterwards it is armed again once that time is over.
   */
  | { readonly do: 'starve'; readonly for_s: number; readonly arm_again?: true }
  /** The whole supply's panel: taken, in that its word to be remote is said again; or given back, every output confirmed off. */
  | { readonly do: 'panel'; readonly to: 'computer' | 'person' }
  /** The dead-man of the whole supply is put to rest and read back: only when every output is confirmed off. */
  | { readonly do: 'disarm' }
