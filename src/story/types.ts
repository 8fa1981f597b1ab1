import type { Plan } from '../plan/index.js'

/** A run is told as four kinds of entry. The recorder process is the only writer; page, report, alerts are readers. */
export type RunEntry =
  /** What was known before. */
  | { readonly entry: 'known'; readonly known: Known }
  /** What each stream means. */
  | { readonly entry: 'stream'; readonly stream: Stream }
  /** What happened. Readings are integers: value = n / 10^k of the stream. */
  | {
      readonly entry: 'reading'
      readonly stream: number
      readonly t_us: number
      readonly n: number
      readonly k: number
    }
  | { readonly entry: 'event'; readonly event: RunEvent }
  /** Every tick given to the sequencer, so that a replay sees the same; late_us and slept_us almost always 0. */
  | { readonly entry: 'tick'; readonly t_us: number; readonly late_us: number; readonly slept_us: number }
  /** How it ended and why. */
  | { readonly entry: 'ending'; readonly t_us: number; readonly ending: RunEnding }

export interface Known {
  readonly run: string
  readonly started: string
  readonly version: string
  readonly command: 'rehearse' | 'run' | 'qualify'
  readonly plan: Plan
  /** Input files as they were: path → text. */
  readonly files: Readonly<Record<string, string>>
  readonly identities: Readonly<Record<string, string>>
  readonly seed: number | null
  readonly faults: readonly string[]
}
export interface Stream {
  readonly id: number
  /** `HT.V`, `HT.A`, `meter.DMM`, … (channel or meter name, quantity). */
  readonly name: string
  readonly unit: 'V' | 'A' | '°C' | 'contact'
  readonly rail: string | null
  readonly resolution: number
}
export interface RunEvent {
  readonly t_us: number
  /** Who says so. */
  readonly from: 'controller' | 'supervisor' | 'recorder' | 'rehearsal' | 'nemesis' | 'line'
  readonly what: string
  readonly text: string
  readonly rail: string | null
  readonly step: number | null
  readonly intent: number | null
  readonly data: Readonly<Record<string, unknown>>
  /** On disk (fsync) before it is acknowledged. */
  readonly durable: boolean
}
/** Volts at a node after OFF, by a named meter, and how old that reading was when the run ended. */
export interface ChargeReading {
  readonly volts: number
  readonly meter: string
  readonly age_s: number
  /** How it came down, in words, where it was watched down. */
  readonly fell?: string
}
export interface RunEnding {
  readonly outcome: 'completed' | 'tripped' | 'stopped' | 'failed'
  readonly outputs_off: 'confirmed' | 'not confirmed'
  readonly reason: {
    readonly code: string
    readonly rail: string | null
    readonly step: number | null
    readonly measured: number | null
    readonly limit: number | null
    readonly unit: string
    readonly text: string
  } | null
  readonly stored_charge: Readonly<Record<string, ChargeReading | 'not measured'>>
  readonly hand_rails: Readonly<Record<string, number | 'not confirmed by you'>>
  readonly warnings: readonly string[]
  readonly steps_done: number
  readonly duration_s: number
  readonly details: Readonly<Record<string, unknown>>
}
