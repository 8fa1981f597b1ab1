import type { PartName, RailName } from '../equipment/index.js'

/** What a reform is to do with which parts: data of the plan, obeyed by the estimator and shown by every view. */
export interface ReformPlan {
  readonly rail: RailName
  readonly channel: string
  readonly parts: readonly ReformPart[]
  /** Highest set-point, never above the lowest rating. */
  readonly top_V: number
  /** One step of the ladder, V. */
  readonly rung_V: number
  /** Heat that a can may take, W. */
  readonly heat_W: number
  /** Held at the top at least this long, then rested for this long, s. */
  readonly top_s: number
  readonly rest_s: number
  /** Error of the supply's own volts. */
  readonly supply: { readonly of_reading: number; readonly plus: number; readonly resolution: number }
  /** What the leakage is held against and why; what one reading can tell and what it cannot: a sentence each. */
  readonly said: readonly string[]
}

/** One thing behind one feed resistor and one meter: a capacitor, sections joined in parallel, a string in series. */
export interface ReformPart {
  readonly name: string
  readonly parts: readonly PartName[]
  readonly joined: 'alone' | 'parallel' | 'series'
  /** As marked; of a string what it has and stands taken together. */
  readonly F: number
  readonly rated_V: number
  /** Most that may stand on its feed resistor: the lowest rating behind it, also of a string, whose volts share out as they like. */
  readonly most_V: number
  /** Cans of which it is a section, where they were stated. */
  readonly cans: readonly string[]
  readonly feed_ohm: number
  /** How far the feed resistor may be off, relative. */
  readonly feed_error: number
  /** It is measured by hand at the start, to `feed_error`; until that was typed it may be off by this much. */
  readonly feed_untold?: number
  readonly feed_rated_W: number
  /** A smaller one, measured as it is put in by hand, `error` relative: where the part did not come to its volts behind the first. */
  readonly next_feed?: { readonly ohm: number; readonly error: number; readonly rated_W: number }
  readonly meter: string
  /** Its meter is on no line: a person reads it and types what it shows at `node`, first once charging is over, `settle_s`. */
  readonly typed?: { readonly node: string; readonly settle_s: number }
  /** Read on a capacitance meter before, where that was stated. */
  readonly measured_F?: { readonly F: number; readonly error_F: number }
  /** The meter lies across the part, or across its feed resistor. */
  readonly across: 'part' | 'feed'
  readonly meter_ohm: number
  readonly meter_error: { readonly of_reading: number; readonly plus: number; readonly resolution: number }
  /** Thermometer on its case, where there is one. */
  readonly case: string | null
  /** What it is held against at the volts it reaches, and the smallest leakage this bench tells there, A. */
  readonly limit: LeakageLimit
  readonly resolves_A: number
  /** Volts it was formed at in an earlier run that is continued; 0 = none. */
  readonly formed_V: number
}

export interface LeakageLimit {
  readonly target: string
  readonly amps: number
  /** Read this long after the volts stand, s. */
  readonly after_s: number
  readonly text: string
  readonly source: string
}

/** A step whose end the estimator decides. */
export interface ReformStep {
  readonly what: 'rung' | 'soak' | 'top' | 're-test'
  /** Held at least this long, s. */
  readonly least_s: number
}

/** What the estimator says of one part; told to the sequencer as an event, recorded, and replayed exactly. */
export interface ReformJudgement {
  readonly part: string
  /** Number of the step it was said in. */
  readonly step: number
  readonly act: 'wait' | 'go on' | 'give up'
  /** Volts up to which nothing speaks against going. */
  readonly reach_V: number
  readonly verdict: 'good' | 'marginal' | 'replace' | 'not judged' | 'not finished' | null
  /** Which stop rule; null where none. */
  readonly code: ReformCode | null
  readonly text: string
  /** A part that a person reads is to be read again after this, s. */
  readonly again_s?: number
  readonly figures: ReformFigures
}
export interface ReformFigures {
  /** Volts across the part, its leakage there, and since when the volts stand, s. */
  readonly volts: number
  readonly leak_A: number | null
  readonly held_s: number
  readonly F: number | null
  readonly F_error: number | null
  /** It took so little charge that none was measured: it has no more than this, F; null = no bound. */
  readonly F_most?: number | null
  readonly limit_A: number
  readonly resolves_A: number
  /** Local slope of the decay, and when it is expected to be low enough to go on, s from the start of the hold; soonest and latest. */
  readonly slope: number | null
  readonly soonest_s: number | null
  readonly latest_s: number | null
}

/** Stop rules of a reform. */
export const reformCodes = [
  'rising',
  'over-target',
  'heat',
  'hot-case',
  'not-following',
  'no-charge',
  'reversed',
  'stalled',
] as const
export type ReformCode = (typeof reformCodes)[number]
