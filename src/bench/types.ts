import type { RailName, RailRole, NodeName } from '../equipment/index.js'
import type { AlertTarget } from './alert-types.js'

/** What can be asked; the keys of a dialect whose words have an answer. */
export type Question =
  | 'ask_set_volts'
  | 'ask_set_amps'
  | 'ask_over_volts'
  | 'ask_over_amps'
  | 'ask_over_volts_on'
  | 'ask_over_amps_on'
  | 'ask_output'
  | 'measure_volts'
  | 'measure_amps'
  | 'ask_over_volts_tripped'
  | 'ask_over_amps_tripped'
  | 'ask_over_heat_tripped'
  | 'ask_cc'
  | 'error_query'
/** What is told without an answer (but for an acknowledgement, where there is one). */
export type Telling =
  | 'set_volts'
  | 'set_amps'
  | 'set_over_volts'
  | 'over_volts_on'
  | 'set_over_amps'
  | 'over_amps_on'
  | 'on'
  | 'off'

/** A question answered by a status register: some bits of it count, the others are somebody else's. */
export interface Bits {
  readonly query: string
  readonly mask: number
}

/** A timer in the supply that switches off by itself when nobody feeds it. */
export interface DeadMan {
  /** Sent in this order to arm it. `{s}` is its time in seconds. */
  readonly arm: readonly string[]
  /** Feeds it; null = every message it understands does. */
  readonly feed: string | null
  readonly after_s: number
  /** One timer for all outputs, or one each: then its words are channel commands, and heaters and bias are left unarmed. */
  readonly per: 'supply' | 'output'
  /** Puts it to rest at the end of a run, in this order; empty = it cannot be. */
  readonly disarm?: readonly string[]
  /** Answers its time in seconds; null or absent = cannot be asked. */
  readonly ask_time?: string | null
  /** Answers 1 while it is armed; null = cannot be asked. */
  readonly ask_armed: string | null
  /** Answers 1 once it has switched off; null = cannot be asked. */
  readonly ask_expired: string | null
}

/** How a supply's words are said on the line. `{v}` `{a}` are fixed-point numbers, `{n}` the channel number. */
export interface Dialect {
  readonly name: string
  /** Sent before every channel command in the same message, or null: `:INST:NSEL {n};` */
  readonly select: string | null
  readonly identify: string
  readonly clear: string
  /** Sent before anything else on every connection: without it settings are refused. */
  readonly remote: string | null
  /** Gives the panel back once every output is confirmed off; null = it has no such word, or needs none. */
  readonly local: string | null
  /** Said to the whole supply after each opening, once its outputs have been looked at: delays, what it does at power-on. */
  readonly at_open: readonly string[]
  readonly set_volts: string
  readonly ask_set_volts: string
  readonly set_amps: string
  readonly ask_set_amps: string
  readonly set_over_volts: string | null
  readonly ask_over_volts: string | null
  readonly over_volts_on: string | null
  /** Answers 1 while over-voltage protection is switched on; null = cannot be asked. */
  readonly ask_over_volts_on: string | null
  /** A level of its own at which over-current latches, above the current limit; null = there is none. */
  readonly set_over_amps: string | null
  readonly ask_over_amps: string | null
  readonly over_amps_on: string | null
  readonly ask_over_amps_on: string | null
  readonly on: string
  readonly off: string
  readonly ask_output: string
  readonly measure_volts: string
  readonly measure_amps: string
  /** Words answer 1 or 0; bits stand in a register. */
  readonly ask_over_volts_tripped: string | Bits | null
  readonly ask_over_amps_tripped: string | Bits | null
  readonly ask_over_heat_tripped: string | Bits | null
  /**
   * Register that tells constant current (`mask`) from constant voltage (`cv_mask`). Both bits or neither: nothing is regulated.
   * Without `cv_mask`, constant voltage is what is not constant current. Null = judged by current near the limit.
   */
  readonly ask_cc: (Bits & { readonly cv_mask: number | null }) | null
  readonly error_query: string | null
  readonly dead_man: DeadMan | null
  readonly terminator: '\n' | '\r' | '\r\n'
  /** What ends its replies. Any of the three is understood; the virtual supply says this one. */
  readonly reply_terminator: '\n' | '\r' | '\r\n'
  /** A line such as `OK` comes after every set command. */
  readonly acknowledges: string | null
  /** Lines it says of its own accord when it refuses a command: `in local mode`. */
  readonly error_lines: readonly string[]
  /** What a protection's level below what stands or flows does: it is refused, or trips at once. Told apart by `qualify`. */
  readonly level_below: 'refused' | 'trips'
  /** How it prints numbers: `12.50`, `+1.2500E+01`, `+012.50`. Any of them is understood; the virtual supply says this one. */
  readonly number_form: 'fixed' | 'exponent' | 'padded'
  /** A unit letter is glued to numbers in replies. */
  readonly unit_in_reply: boolean
  /** Switches are answered `ON` and `OFF`. Either is understood; the virtual supply says this one. */
  readonly switch_in_words: boolean
  /** What stands around an answer, `{x}` being the answer itself: `VOLT {x}`. Without one it stands alone. */
  readonly answers: Readonly<Partial<Record<Question, string>>>
  /** Seconds that an answer, or a command until the next message, may take where that is longer than the supply's usual time. */
  readonly slow_s: Readonly<Partial<Record<Question | Telling, number>>>
}

export type Line =
  | {
      readonly kind: 'serial'
      readonly path: string
      readonly baud: number
      readonly spare_allowed: true
      /** 8 data bits always; no parity, one stop bit, no flow control unless stated. */
      readonly parity?: 'even' | 'odd'
      readonly stop_bits?: 2
      readonly rts_cts?: true
    }
  | { readonly kind: 'tcp'; readonly host: string; readonly port: number; readonly spare_allowed: boolean }
  /** Chosen by the program for its own virtual bench: `run` puts a terminal line or a loopback port behind it. */
  | {
      readonly kind: 'virtual'
      readonly as: 'pty' | 'tcp'
      readonly baud: number
      readonly spare_allowed: boolean
    }

export interface Channel {
  /** Number on the line. */
  readonly number: number
  readonly feeds: RailName
  /** Known without the set's file, so that `safe-off` works alone. */
  readonly role: RailRole
  readonly max_V: number
  readonly max_A: number
  /** What the supply can be told and can see. */
  readonly resolution_V: number
  readonly resolution_A: number
  /** Digits after the point when setting. */
  readonly set_digits_V: number
  readonly set_digits_A: number
  /** Read-back error: fraction of reading + absolute. */
  readonly accuracy_V: { readonly of_reading: number; readonly plus: number }
  readonly accuracy_A: { readonly of_reading: number; readonly plus: number }
  /** Lowest settable volts and amps. */
  readonly min_V: number
  readonly min_A: number
  /** Lowest over-voltage level margin above the set-point the supply needs. */
  readonly over_voltage: boolean
  readonly over_voltage_margin_V: number
  readonly output_F: number
  /** Bench leads, both ways. */
  readonly lead_ohm: number
  readonly remote_sense: boolean
  readonly sinks: boolean
  /** Fixed bleeder across the terminals, ohm. */
  readonly bleeder_ohm: number | null
  /** Its tolerance, where the file states one. */
  readonly bleeder_tolerance?: number
  /** Lower goes off first; HT before heaters before bias. */
  readonly off_order: number
  readonly bias_release: { readonly below_V: number; readonly after_s: number }
  /** Its own dead-man is never armed, whatever it feeds: what stands beside the output that `qualify` has under test. */
  readonly unguarded?: true
}

export interface Supply {
  readonly line: Line
  /** Must equal the reply to the identification query when given. */
  readonly identity: string | null
  readonly dialect: Dialect
  readonly isolation_V: number
  readonly interface_isolated: 'yes' | 'no' | 'unknown'
  /** Which bench point the outputs' negative is bonded to, if any. */
  readonly earthed_negative: boolean
  readonly common_output_switch: boolean
  readonly reply_s: number
  readonly channels: Readonly<Record<string, Channel>>
}

/** What a meter reads: volts, amps, a temperature, or a contact (1 closed, 0 open). */
export type Measures = 'V' | 'A' | '°C' | 'contact'

/** What a watched input must not do; beyond it the run is warned or trips. */
export interface InputLimit {
  readonly act: 'warn' | 'trip'
  readonly when: 'above' | 'below' | 'open' | 'closed'
  /** In the meter's unit; null for a contact. */
  readonly at: number | null
  /** The written reason or source. */
  readonly because: string
}

/** A meter on a line is watched; one without is read by a person. */
export interface Meter {
  /** Its question is what keeps a cut-off relay closed. */
  readonly feeds?: true
  readonly line: Line | null
  /** The supply whose line it shares instead of having one of its own: a read-only channel beside the outputs. */
  readonly on: string | null
  /** Its question; null = the dialect's own words for volts or amps. */
  readonly ask: string | null
  /** What stands around its answer, `{x}` being the answer; null = nothing. */
  readonly answer: string | null
  /** Asked this often, seconds; 0 = as fast as its line allows. */
  readonly every_s: number
  /** What a contact answers when it is closed. */
  readonly closed_is: 0 | 1
  /** Quiet, it makes safe; otherwise its loss is only said. */
  readonly required: boolean
  readonly limits: readonly InputLimit[]
  readonly identity: string | null
  readonly dialect: Dialect | null
  readonly measures: Measures
  /** Clipped where: at a node (against `against`) or in a rail. */
  readonly at: NodeName | null
  readonly against: NodeName | null
  readonly rail: RailName | null
  readonly ohm: number
  readonly resolution: number
  readonly accuracy: { readonly of_reading: number; readonly plus: number }
  readonly isolation_V: number
  /** Whether its leads are isolated from a computer line of its own; null = not said, which counts as no. */
  readonly interface_isolated: 'yes' | 'no' | 'unknown' | null
}

/** Channels in series onto one rail: the rail's volts are their sum. Names are `SUPPLY.CHANNEL`. */
export interface Stack {
  readonly rail: RailName
  readonly channels: readonly string[]
}

/** Another output of a supply as it was seen when the dead-man of one fired. */
export interface TakenOutput {
  /** `SUPPLY.CHANNEL`. */
  readonly channel: string
  readonly did: 'went off' | 'stayed on' | 'not clear'
  /** What the dialect said then: one timer for all takes it, one for each output leaves it on. */
  readonly stated: 'goes' | 'stays'
}

/** What `qualify` measured of one channel, as far as it counts today. */
export interface Measured {
  /**
   * `foreign`: of another supply than the bench file names; then nothing of it counts. `failed`: when it was measured last it did
   * not do what no set can do without, however long ago that is.
   */
  readonly state: 'measured' | 'old' | 'foreign' | 'failed' | 'none'
  readonly date: string | null
  /** What the supply that was measured answered. */
  readonly identity: string | null
  /** From OFF until it no longer drives, at most. */
  readonly off_s: number | null
  /** From one reading to the next, at most. */
  readonly poll_s: number | null
  readonly overshoot_V: number | null
  /** `date`: proved on another day than the rest. */
  readonly proofs: readonly {
    readonly of: string
    readonly verdict: string
    readonly date?: string
    /** Of its dead-man: what became of the other outputs of its supply when it fired. */
    readonly outputs?: readonly TakenOutput[]
  }[]
  /** What it failed by. */
  readonly failed?: string
}

/** Fed by the loop that judges. Its contact is a watched input of the bench, under this name. */
export interface CutOff {
  readonly meter: string
  readonly after_s: number
  /** Supplies whose HT it cuts, while they go on answering. */
  readonly cuts: readonly string[]
}

/**
 * A timer that runs by itself and opens the interlock of these supplies, or the mains of their HT stage, while they go on answering: only
 * so can its opening be measured.
 */
export interface OutsideTimer {
  readonly cuts: readonly string[]
  /** The shortest time that it can be set to. */
  readonly shortest_s: number
}

export interface Bench {
  readonly name: string
  readonly kind: 'real' | 'virtual'
  /** Virtual only: relative path of the equipment file, seed, faults already in it. */
  readonly equipment: string | null
  readonly seed: number
  readonly faults: readonly string[]
  readonly supplies: Readonly<Record<string, Supply>>
  readonly meters: Readonly<Record<string, Meter>>
  readonly stacks: readonly Stack[]
  /** Highest volts on bench leads, 600 V unless stated lower. */
  readonly leads_max_V: number
  /** Poll and late-tick rules the bench tightens; seconds. */
  readonly stale_s: number | null
  readonly late_tick_s: number | null
  /** Relative path of its qualification file, where it is not beside it under its own name. */
  readonly qualification: string | null
  /** A relay outside of the supplies that cuts their HT once nobody feeds it; absent = there is none. */
  readonly cut_off?: CutOff
  /** A timer of its own beside the supplies, which takes their HT when its time is over; absent = there is none that can be proved. */
  readonly outside_timer?: OutsideTimer
  /** Where alerts of its runs go; absent = nowhere. */
  readonly alerts?: readonly AlertTarget[]
  /** By `SUPPLY.CHANNEL`, once its qualification file was looked for. */
  readonly measured?: Readonly<Record<string, Measured>>
  /** Time from decision to confirmed off, measured by qualify; null = not measured, the worst published figure is used. */
  readonly off_time_s: number | null
  /** What the computer is joined to: makes loops visible. */
  readonly computer_earthed: boolean
}
