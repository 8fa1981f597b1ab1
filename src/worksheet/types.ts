import type { PartName, RailName } from '../equipment/index.js'

export type ColdGroup =
  | 'eyes and hands'
  | 'stored charge'
  | 'bonds'
  | 'heaters'
  | 'rails'
  | 'resistances'
  | 'windings'
  | 'contacts'
  | 'insulation'
  | 'coupling capacitors'
  | 'what current does not show'

/** A meter that shows volts where ohms are wanted. */
export type ReadByVolts =
  /** A known current is sent through: ohms are volts over amps. */
  | { readonly by: 'current'; readonly A: number }
  /** The meter stands in series with what is tested and its own resistance, typed with its volts, measures the leak. */
  | { readonly by: 'series meter'; readonly test_V: number }

/** One thing to be found with meter, eyes or hands before any power. */
export interface ColdCheck {
  /** What it is called when a reading is typed in. */
  readonly item: string
  readonly group: ColdGroup
  readonly what: string
  /** `look`: answered good or bad. */
  readonly kind: 'reading' | 'look'
  readonly unit: 'Ω' | 'V' | null
  /** A healthy set reads from `low` to `high`; null = no bound on that side. */
  readonly low: number | null
  readonly high: number | null
  readonly usual: number | null
  /** In the window but beyond these it is marginal. */
  readonly near_low: number | null
  readonly near_high: number | null
  /** The window in words. */
  readonly wanted: string
  readonly because: string
  readonly source: string
  readonly method: string
  readonly meter: string
  readonly cautions: readonly string[]
  /** Must be taken before the first volt on one of its rails (none named: on any). */
  readonly must: boolean
  /** What cannot be waived is made good instead. */
  readonly waivable: boolean
  readonly rails: readonly RailName[]
  readonly parts: readonly PartName[]
  readonly volts: ReadByVolts | null
  /** Of a coupling capacitor: what stands before it and hangs at the grid after it, so that a leak that was read has its shift. */
  readonly shifts?: { readonly V: number; readonly grid_ohm: number }
}

/** The cold checks of one set, in the order in which they are best taken. */
export interface Worksheet {
  readonly equipment: string
  readonly level: 1 | 2 | 3
  /** Control positions of the readings. */
  readonly controls: Readonly<Record<string, string>>
  readonly mode: string
  readonly checks: readonly ColdCheck[]
  /** What the set's file is too short for. */
  readonly not_computed: readonly string[]
}

export type ColdVerdict = 'in range' | 'marginal' | 'out of range'
export type ColdValue = number | 'good' | 'bad'
