import type { LineEvent, LineRequestBody } from '../exchange/index.js'
import type { Ask, RailLimits, ReformJudgement } from '../plan/index.js'

/** Times are integer microseconds of the run's monotonic clock. */
export type Event = { readonly t_us: number } & EventBody
export type EventBody =
  /** Cautions were acknowledged in this start; nothing energises before. */
  | {
      readonly kind: 'begin'
      readonly word: string
      readonly channel: 'terminal' | 'page' | 'rehearsal'
      /** The set's last run, where its hook-up was confirmed and was the same as this plan's; else null. */
      readonly hooked_up_as_in: string | null
    }
  /** Sent by the loop at least every 50 ms. `late_us`: how late this tick is; `slept_us`: uptime ran ahead of the monotonic clock. */
  | { readonly kind: 'tick'; readonly late_us: number; readonly slept_us: number }
  /** Readings, outcomes of requests, protections, a lost line: what the line says. */
  | LineEvent
  | {
      readonly kind: 'answer'
      readonly prompt: number
      readonly value: number | 'yes' | 'no' | 'go on'
      readonly by: 'terminal' | 'page' | 'rehearsal'
    }
  | { readonly kind: 'stop'; readonly how: 'run down' | 'off now'; readonly by: string }
  /** The recorder has this intent on disk. */
  | { readonly kind: 'recorded'; readonly intent: number }
  | { readonly kind: 'recorder lost'; readonly text: string }
  /** The parent (supervisor) is gone or silent. */
  | { readonly kind: 'parent lost'; readonly text: string }
  /** OFF went out at a first look, and no limit was found broken behind it: a fault of our own, and the run ends. */
  | { readonly kind: 'off unfounded' }
  /** What the estimator, which sees what is fed here, says of a lifted electrolytic. */
  | { readonly kind: 'judged'; readonly judgement: ReformJudgement }

export type Command =
  | ({ readonly kind: 'line'; readonly id: number; readonly channel: string } & LineRequestBody)
  /** At once, beside every queue, terminator first, repeated until read back as off. */
  | { readonly kind: 'urgent off'; readonly channels: readonly string[] }
  /** `durable` events are on disk before they count as acknowledged. */
  | { readonly kind: 'record'; readonly entry: RecordedEvent }
  | { readonly kind: 'prompt'; readonly prompt: number; readonly ask: Ask; readonly until_us: number }
  | { readonly kind: 'prompt closed'; readonly prompt: number; readonly why: string }
  /** `turn_down`: the rail whose knob only a person can turn. */
  | { readonly kind: 'alarm'; readonly text: string; readonly turn_down?: string }
  | { readonly kind: 'notice'; readonly text: string }
  | { readonly kind: 'hands clear'; readonly until_us: number }
  | { readonly kind: 'end'; readonly ending: Ending }

export interface RecordedEvent {
  readonly what:
    | 'begin'
    | 'step'
    | 'intent'
    | 'command'
    | 'hook-up'
    | 'judgement'
    | 'prompt'
    | 'answer'
    | 'warning'
    | 'trip'
    | 'off'
    | 'alarm'
    | 'ending'
  readonly text: string
  readonly rail: string | null
  readonly step: number | null
  /** Intent number for `intent`, else null. */
  readonly intent: number | null
  readonly data: Readonly<Record<string, unknown>>
}

/**
 * A rule found broken. Where many words are to be made they are made later: OFF does not wait for them. They tell of what was
 * measured and planned, which going off does not change.
 */
export interface Broken extends Omit<ReasonRecord, 'text'> {
  readonly text: string | (() => string)
}

/** Why a run did not go on: the rule that was broken, by its code. */
export interface ReasonRecord {
  readonly code: string
  readonly rail: string | null
  readonly step: number | null
  readonly measured: number | null
  readonly limit: number | null
  readonly unit: string
  readonly text: string
}

export interface Ending {
  readonly outcome: 'completed' | 'tripped' | 'stopped' | 'failed'
  readonly reason: ReasonRecord | null
  readonly outputs_off: 'confirmed' | 'not confirmed'
  /** How each programmed and watched rail was confirmed, in words. */
  readonly off: Readonly<
    Record<string, { readonly confirmed: boolean; readonly volts: number | null; readonly how: string }>
  >
  readonly hand_rails: Readonly<Record<string, number | 'not confirmed by you'>>
  /** Which rule let the bias go. */
  readonly bias_released_by: string | null
  readonly warnings: readonly string[]
  /** Limits stated by hand in this run's plan, in words. */
  readonly by_hand?: readonly string[]
  readonly steps_done: number
  /** Whether any output was switched on by this run. */
  readonly ever_energised: boolean
}

/** What pages and terminals show of a rail; derived from state, never decides. */
export interface RailView {
  readonly rail: string
  readonly class: 'programmed' | 'watched' | 'hand'
  readonly set_V: number
  readonly volts: number | null
  readonly amps: number | null
  readonly age_s: number | null
  readonly output: 'off' | 'on' | 'unknown'
  readonly limits: RailLimits | null
  /** What trip and ceiling are wider by at this moment, A: reservoirs are being charged. */
  readonly charging_A?: number
  /** Heaters are cold and may draw what the supply allows. */
  readonly soft_start?: true
  /** A tube beyond its bare rating and inside its rating system's factor, in words. */
  readonly over_rating?: string | undefined
}
/** A meter on a line as it is shown: `312 V`, `41 °C`, `closed`; null = nothing read yet. */
export interface InputView {
  readonly name: string
  readonly at: string | null
  readonly shows: string | null
  readonly age_s: number | null
  /** Older than this it says nothing about now. */
  readonly quiet_s: number
}
export interface View {
  readonly phase: string
  /** Number of the step under way, from 1. */
  readonly step: number
  readonly steps_done: number
  readonly steps: number
  readonly stage: string
  /** The rail this step is about. */
  readonly rail: string | null
  readonly waiting_for: string
  readonly elapsed_s: number
  readonly left_s: number
  readonly rails: readonly RailView[]
  /** Meters on a line. */
  readonly inputs: readonly InputView[]
  readonly reason: ReasonRecord | null
}
