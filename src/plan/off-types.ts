import type { RailName, RailRole } from '../equipment/index.js'

/** All that is needed to put everything off without the set's file. Held by the supervisor, written beside the run file. */
export interface OffPlan {
  readonly format: 'slowglow off 1'
  /** In the order of the urgent OFF: drive, screen, HT now; heaters and bias by rule. */
  readonly channels: readonly OffChannel[]
  /** Rails of the set that no channel feeds. Null = made without the set's file: there may be some, HT among them. */
  readonly knobs: readonly OffKnob[] | null
  readonly heaters_off_after_s: number
  /** A reading older than twice this says nothing about now. */
  readonly stale_s: number
  readonly bias_release: {
    readonly below_V: number
    readonly discharge_s: number | null
    readonly cathodes_cold_s: number
    readonly only_wire_between: boolean
  }
}
export interface OffChannel {
  readonly channel: string
  readonly port: string
  readonly rail: RailName
  readonly role: RailRole
  readonly off_order: number
  /** Complete text sent, with its leading and trailing terminators. */
  readonly off_text: string
  readonly expected_fall: { readonly ohm: number; readonly F: number } | null
  readonly resolution_V: number
  readonly resolution_A: number
  /** What it may read with nothing flowing, A: the fixed part of its stated accuracy. */
  readonly zero_A: number
  /** As the plan's, for this channel's own supply. Absent: the plan's. */
  readonly stale_s?: number
}
/** A rail on somebody's knob: slowglow can only ask, alarm, and read what a meter on a line shows. */
export interface OffKnob {
  readonly rail: RailName
  readonly role: RailRole
  readonly class: 'watched' | 'hand'
  /** Meters on a line at this rail; null for hand rails, and for a meter that a person reads. */
  readonly volts_meter: string | null
  readonly amps_meter: string | null
  /** What that ammeter may read with nothing flowing, A. */
  readonly no_A: number
  /** As the plan's, for its own meters. Absent: the plan's. */
  readonly stale_s?: number
}
