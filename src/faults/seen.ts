import type { ModeName, RailName } from '../equipment/index.js'

/** What a run measured, as far as a diagnosis needs it: where each step ended, or stood when the run was stopped. */
export interface Seen {
  readonly steps: readonly SeenStep[]
  /** The checks of the wiring below 5 V, heaters left out; also the one that ended the run. */
  readonly hookups?: readonly SeenHookup[]
  /** The rule that ended the run; null where it came to its end. */
  readonly tripped: { readonly step: number | null; readonly text: string } | null
}
export interface SeenHookup {
  readonly step: number
  readonly rail: RailName
  /** By its own supply at low volts, or by an ohmmeter across its leads (amps are then what its own volts would drive). */
  readonly by: 'supply' | 'ohmmeter'
  readonly volts: number
  readonly amps: number
}
export interface SeenStep {
  /** Number of the step in the plan. */
  readonly step: number
  readonly rails: Readonly<Record<RailName, { readonly volts: number; readonly amps: number }>>
  /** Meters on lines, by name. */
  readonly meters: Readonly<Record<string, number>>
}

/** A reading taken afterwards, at the place that was asked for or any other. */
export interface Reading {
  /** A node, against chassis; or two of them, `A to B`. */
  readonly place: string
  /** Volts with the rails where `measured_at` of the diagnosis said; ohms with the set off and its charge measured away. */
  readonly unit: 'V' | 'Ω'
  readonly value: number
  /** The most that it may be off by, in its unit, where the person says so; left out, what the bench's hand meter may be. */
  readonly off?: number
  /** Of volts: the step at whose volts the rails stood. Left out, that which is told from the run alone. */
  readonly step?: number
}

export interface Wanted {
  /**
   * A person says that the set fails: a next reading is looked for though nothing shows. Usually one is looked for where something shows,
   * or once the person has measured.
   */
  readonly fails?: boolean
  /** Whether a next reading is looked for at all; it is, unless told. */
  readonly next?: boolean
}

export interface Diagnosis {
  /** Likeliest first; causes that cannot be told apart by what is known stand as one. */
  readonly hypotheses: readonly Hypothesis[]
  /** That none of the known faults explains this. */
  readonly none: number
  /** That nothing of it is wrong that shows: a healthy set, or one of `cannot_show` faults that these readings neither show nor rule out. */
  readonly nothing: {
    readonly probability: number
    readonly cannot_show: number
    readonly faults: readonly string[]
  }
  readonly verdict: string
  /** What of the run it was reckoned from. */
  readonly from: readonly string[]
  /** Where volts are to be read next: what is left of the causes says how high; null where no step was reached. */
  readonly measured_at: {
    readonly step: number
    readonly mode: ModeName
    readonly volts: Readonly<Record<RailName, number>>
  } | null
  readonly next: NextMeasurement | null
  /** Why no next reading is told; null where one is, or where none was looked for. */
  readonly search_ends: string | null
  /** What the set's book and earlier runs say, a sentence each, with what of it counts how much. */
  readonly learned: readonly string[]
  readonly notes: readonly string[]
}
export interface Hypothesis {
  readonly fault: string
  readonly part: string
  readonly text: string
  /** Of all that are tied together. */
  readonly probability: number
  readonly tied_with: readonly string[]
  /** Of these, those that are another cause: not one that stands here already, and something more. */
  readonly rivals: readonly string[]
  /** Its own part; of a pair both. */
  readonly of: readonly string[]
  /** Every part that may be to blame, its own first: what a drawing marks. */
  readonly parts: readonly string[]
  readonly explains: string
  /** What was read furthest from what it predicts, in standard deviations of all tolerances; null where none is told. */
  readonly misses: { readonly what: string; readonly by: number } | null
  readonly predicted: readonly Predicted[]
}
export interface Predicted {
  readonly what: string
  readonly unit: 'V' | 'A' | 'Ω'
  readonly predicted: number
  readonly measured: number
}
/** One figure that the next reading may come to, and of what. */
export interface WouldRead {
  readonly value: number
  readonly unit: 'V' | 'Ω'
  /** Causes in words, likeliest first. */
  readonly causes: readonly string[]
  /** A whole set, and what is in no library, would read so too. */
  readonly whole: boolean
}

export interface NextMeasurement {
  readonly measure: 'volts' | 'ohms'
  /** As a reading has it; `where` is the same in words. */
  readonly place: string
  readonly where: string
  /** Nodes of the red lead and the black one. */
  readonly leads: readonly [string, string]
  /** Of volts: the step to write beside the reading. */
  readonly step: number | null
  readonly how: string
  readonly why: string
  /** `ohm`: its own resistance; null of an ohmmeter, which brings its own volts. */
  readonly meter: { readonly name: string; readonly ohm: number | null }
  /** What each cause would make of it: those that stand apart from a whole set first, likeliest before less likely. */
  readonly predicts: readonly WouldRead[]
  /** Causes expected to be left, of those that stand now. */
  readonly leaves: number
  readonly of: number
}
