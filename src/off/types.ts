import type { RailName, RailRole } from '../equipment/index.js'
import type { OffChannel } from '../plan/index.js'

/**
 * Everything off, in order, and confirmed by measurement: one pure machine with two callers. A run's sequencer and
 * `safe-off` (also the supervisor that has taken over, and the clearing of an orphan) feed it what is read and carry out
 * what it says.
 */

export interface Sample {
  readonly value: number
  readonly t_us: number
}

/** A rail as the off plan knows it. */
export interface OffRail {
  readonly name: RailName
  readonly role: RailRole
  readonly class: 'programmed' | 'watched' | 'hand'
  readonly channels: readonly OffChannel[]
  /** Meters on a line that show a watched rail. */
  readonly volts_meter: string | null
  readonly amps_meter: string | null
  readonly resolution_V: number
  /** A current up to this counts as none. */
  readonly no_A: number
  readonly expected_fall: { readonly ohm: number; readonly F: number } | null
  /** How old its readings may be, s, by what reads them; null = the off plan's own figure. */
  readonly stale_s: number | null
}

export interface OffStart {
  readonly t_us: number
  readonly how: 'urgent' | 'run down'
  /** A plate, screen or drive rail may have stood above the touch limit. */
  readonly ht_was_up: boolean
  /** Whether any output may be on; `unknown` until the supplies have been heard. */
  readonly live: 'yes' | 'no' | 'unknown'
  readonly outputs: Readonly<Record<string, 'on' | 'off' | 'unknown'>>
  /** Rails' volts as last read: where their fall begins. */
  readonly volts: Readonly<Record<string, Sample>>
  readonly knobs: Readonly<Record<string, Knob>>
  /** Somebody can be asked what the rails on knobs read. */
  readonly asks: boolean
  /** Rails by hand are called out as soon as they must go down; otherwise the question for them is enough. */
  readonly calls_hands: boolean
  /** Read back what is on before anything is told. */
  readonly look_first: boolean
}
export type Knob = 'up' | 'down' | 'unknown'

export type OffInput = { readonly t_us: number } & (
  | { readonly kind: 'tick' }
  | {
      readonly kind: 'reading'
      readonly channel: string
      readonly quantity: 'V' | 'A'
      readonly value: number
    }
  | { readonly kind: 'meter'; readonly meter: string; readonly value: number }
  | { readonly kind: 'output'; readonly channel: string; readonly on: boolean }
  /** Something on this port could not be believed: what it answered just before may have been the answer to another question. */
  | { readonly kind: 'doubt'; readonly port: string }
  /** A person typed what a rail by hand reads; null = the question ran out. */
  | { readonly kind: 'said'; readonly rail: string; readonly volts: number | null }
  /** The run-down becomes the urgent OFF. */
  | { readonly kind: 'urgent' }
)

export type OffAct =
  /** Beside every queue, until read back as off. */
  | { readonly do: 'urgent off'; readonly channels: readonly string[] }
  /** Orderly, read back. */
  | { readonly do: 'off' | 'zero'; readonly channel: string }
  | {
      readonly do: 'record'
      readonly rail: string | null
      readonly text: string
      readonly data: Readonly<Record<string, unknown>>
    }
  /** `turn_down`: it is about a knob that only a person can turn. */
  | {
      readonly do: 'alarm'
      readonly rail: string | null
      readonly text: string
      readonly turn_down: boolean
    }
  | { readonly do: 'end'; readonly result: OffResult }

export interface OffResult {
  readonly outputs_off: 'confirmed' | 'not confirmed'
  /** How each programmed and watched rail stands, in words: confirmed how, or what was last read back. */
  readonly rails: Readonly<
    Record<string, { readonly confirmed: boolean; readonly volts: number | null; readonly how: string }>
  >
  readonly hand_rails: Readonly<Record<string, number | 'not confirmed by you'>>
  readonly bias_released_by: string | null
}

/** What is known of one rail while it goes off. */
export interface RailOff {
  /** When OFF was decided: first, and when what had been confirmed was taken back and told again. */
  readonly first_us: number | null
  readonly given_us: number | null
  readonly V: Sample | null
  /** Where the fall began: the last volts before the output was read back as off. */
  readonly from: Sample | null
  /** Since when every output is read back as off; watched and hand rails: since when they are known to be down. */
  readonly down_us: number | null
  /** Samples in a row: no current, a current, below the release volts, below what counts as off. */
  readonly quiet: number
  readonly loud: number
  readonly low: number
  readonly gone: number
  /** Volts of the last 20 s, two a second. */
  readonly fall: readonly Sample[]
  /** The lowest that its volts stood at for three of these; null where they have not been read that often. */
  readonly lowest_V: number | null
  readonly confirmed_us: number | null
  readonly retracted: number
  readonly escalations: number
  readonly escalated_us: number | null
  readonly alarmed_us: number | null
}

/** All that the machine knows. Plain JSON. */
export interface OffState {
  readonly how: 'urgent' | 'run down'
  readonly t_us: number
  /** When going off began: the first OFF. */
  readonly since_us: number
  /** Since when it has been fed without a gap: a computer that slept has tried nothing meanwhile. */
  readonly awake_us: number
  /** Time since the first OFF in which somebody listened: of a gap no more counts than a reading may be old. */
  readonly heard_us: number
  /** While outputs are read back before anything is told: until then at the latest. */
  readonly looking_until_us: number | null
  /** HT and others wait for the screens of a run-down to read back as off. */
  readonly ht_waits: boolean
  readonly ht_was_up: boolean
  readonly live: 'yes' | 'no' | 'unknown'
  readonly outputs: Readonly<Record<string, 'on' | 'off' | 'unknown'>>
  readonly readings: Readonly<Record<string, Sample>>
  readonly rails: Readonly<Record<string, RailOff>>
  readonly confirmed: Readonly<Record<string, string | null>>
  readonly knobs: Readonly<Record<string, Knob>>
  readonly knob_alarms: readonly string[]
  readonly asks: boolean
  readonly calls_hands: boolean
  readonly hand: Readonly<Record<string, number | 'not confirmed by you'>>
  readonly said_us: Readonly<Record<string, number>>
  readonly found_on: readonly string[]
  readonly heaters_off_us: number | null
  readonly bias_released_by: string | null
  readonly result: OffResult | null
}

/** A copy to work on, and what it gives out. */
export interface Draft {
  readonly s: { -readonly [K in keyof OffState]: OffState[K] }
  readonly rails: readonly OffRail[]
  readonly out: OffAct[]
}
