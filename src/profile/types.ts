import type { ModeName, NodeName, PartName, RailName } from '../equipment/index.js'

export type ProfileKind = 'reform' | 'receive' | 'transmit' | 'bring-up'

/** One stage of a profile as written. What is absent is filled in by the plan, each with its reason. */
export type Stage =
  | { readonly do: 'hook-up check'; readonly name: string }
  | { readonly do: 'mode'; readonly name: string; readonly mode: ModeName }
  | {
      readonly do: 'ramp'
      readonly name: string
      readonly rail: RailName
      /** Targets in order; each is held before the next. */
      readonly to_V: readonly number[]
      readonly slew_V_per_s: number | null
      readonly hold_s: number | null
      /** Hold until the current has settled, at most this long. */
      readonly settle_within_s: number | null
      readonly ceiling_A: number | null
    }
  | {
      /** A person dips a driven stage at reduced HT, by insulated controls outside the case, within a short time. */
      readonly do: 'tune'
      readonly name: string
      readonly tube: PartName
      readonly rail: RailName
      readonly at_V: number
      readonly turn: readonly string[]
      readonly within_s: number | null
      readonly slew_V_per_s: number | null
    }
  | { readonly do: 'hold'; readonly name: string; readonly for_s: number }
  | {
      /** The set's own transformer and rectifier by a person's variable transformer. It fills a profile of its own. */
      readonly do: 'own mains'
      readonly name: string
      readonly with: 'nothing on it' | 'the set'
      readonly hold_s: number | null
    }
  | {
      readonly do: 'ask'
      readonly name: string
      readonly text: string
      /** Where a reading is wanted: node and expected window are computed when not given. */
      readonly reading: {
        readonly node: NodeName
        readonly unit: 'V' | 'A' | 'Ω'
        readonly low: number | null
        readonly high: number | null
        /** On the set's own meter, outside the case. */
        readonly panel?: boolean
      } | null
      /** Insulated controls outside the case, and the rail that is watched while they are turned. */
      readonly turn?: readonly string[]
      readonly watch?: RailName
      readonly timeout_s: number | null
      /** Needs hands inside the set: HT goes down first. */
      readonly inside: boolean
    }

export interface Profile {
  readonly name: string
  readonly kind: ProfileKind
  readonly equipment: string
  readonly bench: string | null
  readonly mode: ModeName | null
  readonly stages: readonly Stage[]
  /** Highest HT this profile may reach (V), if lower than the set's. */
  readonly ceiling_V: Readonly<Record<RailName, number>>
  readonly time_budget_s: number | null
  readonly prompt_timeout_s: number | null
  /** Tubes are pulled or cold: HT without heaters is meant. */
  /** What the person says of the electrolytics having been formed; null = nothing. */
  readonly electrolytics_formed: string | null
  readonly tubes_cold: boolean
  readonly unattended: boolean
  /** Electrolytics lifted out of the circuit and formed each behind its own feed resistor; null = none. */
  readonly reform: ReformOrder | null
  /** Tighter starting values of the trip rules, by code. */
  readonly rules: Readonly<
    Record<string, { readonly warn?: number; readonly trip?: number; readonly for_s?: number }>
  >
}

/** What a profile wants of lifted electrolytics; what is absent is filled in by the plan. */
export interface ReformOrder {
  /** Rail of the bench that feeds them. */
  readonly rail: RailName
  readonly target: ReformTarget
  /** Parts built into equipment: held at half of rated volts first. */
  readonly built_in: boolean
  /** Last step, where it is to be below the rating. */
  readonly to_V: number | null
  readonly hold_s: number | null
  readonly rest_s: number | null
  readonly heat_W: number | null
  /** Without voltage for so long; null = not stated. */
  readonly stored_years: number | null
  readonly parts: Readonly<Record<PartName, ReformOrderPart>>
}
export const reformTargets = ['period', 'catalogue 1968', 'general', 'low leakage', 'maker'] as const
export type ReformTarget = (typeof reformTargets)[number]
export interface ReformOrderPart {
  /** Sections in parallel or a string in series behind one resistor; null = the part itself. */
  readonly of: readonly PartName[] | null
  readonly joined: 'parallel' | 'series'
  readonly feed_ohm: number
  readonly feed_error: number
  readonly feed_rated_W: number
  /** A second, smaller one, exchanged by hand where the part does not come to its volts behind the first; absent = none. */
  readonly then?: { readonly ohm: number; readonly rated_W: number | null }
  /** Measured by hand at the start of the run, with an ohmmeter that may be off by this, relative; null = not measured. */
  readonly feed_by_hand: number | null
  /** Read on a capacitance meter before, and how far that may be off, relative; null = not read. */
  readonly measured: { readonly F: number; readonly error: number } | null
}
