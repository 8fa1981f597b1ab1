import type { Channel, TakenOutput } from '../bench/index.js'

/** A qualification: one channel of a supply on a resistor that a person named. SI units. */
export interface Order {
  /** `SUPPLY.CHANNEL`. */
  readonly channel: string
  readonly load: Load
  /** Highest volts that the person accepts. */
  readonly top_V: number
  /** Error of the voltmeter that the person reads; null = none is read. */
  readonly meter: Channel['accuracy_V'] | null
  /** Proofs that are left out. */
  readonly skip: readonly Provable[]
}

export interface Load {
  readonly ohm: number
  /** How far it may be off, relative. */
  readonly tolerance: number
  readonly rated_W: number
}

export const provable = ['current limit', 'over-voltage', 'over-current', 'dead-man'] as const
export type Provable = (typeof provable)[number]

/** One measured figure. */
export interface Figure {
  readonly value: number
  readonly unit: 'V' | 'A' | 's' | 'F' | 'V/s'
  /** Half width of where the true value lies, as far as this measurement can tell. */
  readonly uncertainty: number
  /** What was seen is no more than a bound. */
  readonly bound?: 'at most' | 'at least'
  readonly how: string
}

/** Read-back at one set-point. */
export interface Level {
  readonly set_V: number
  readonly read_V: number
  readonly noise_V: number
  readonly read_A: number
  readonly noise_A: number
  readonly samples: number
  /** As the person's own meter showed it; null = not read. */
  readonly meter_V: number | null
  /** What the load should draw at those volts. */
  readonly load_A: number
}

export type Verdict =
  | 'as it should'
  | 'fired'
  | 'did not fire'
  | 'does not hold'
  | 'refused'
  | 'contradicts'
  | 'does not tell'
  | 'not proved'

export interface Proved {
  readonly of: Provable
  readonly verdict: Verdict
  /** Whether the supply said so itself; null = not asked. */
  readonly said: boolean | null
  /** From telling it to the first sign. */
  readonly after_s: number | null
  readonly text: string
  /** Proved on this earlier day, and left out since. */
  readonly date?: string
  /** Of a dead-man: what became of the other outputs of the supply when it was left unfed. */
  readonly outputs?: readonly TakenOutput[]
}

/** It did not do what no set can do without: it may feed none. */
export interface Failed {
  readonly code: string
  readonly text: string
  /** The proof it failed in; to leave that out does not make it good. */
  readonly proof?: Provable
}

/** What one run found out about one channel. A figure that was not measured is null: never taken is no pass. */
export interface ChannelFigures {
  readonly levels: readonly Level[]
  /** Largest error of the read-back that is possible after all that was measured. */
  readonly accuracy_V: Figure | null
  readonly accuracy_A: Figure | null
  readonly noise_V: Figure | null
  readonly noise_A: Figure | null
  readonly resolution_V: Figure | null
  readonly resolution_A: Figure | null
  readonly settling_s: Figure | null
  readonly overshoot_V: Figure | null
  readonly slew_V_per_s: Figure | null
  readonly poll_s: Figure | null
  readonly poll_longest_s: Figure | null
  readonly jitter_s: Figure | null
  /** From our OFF until the supply no longer drives. */
  readonly off_s: Figure | null
  /** From our OFF until its terminals are measured as down, through this load. */
  readonly down_s: Figure | null
  readonly output_F: Figure | null
  readonly sinks: { readonly value: boolean | null; readonly how: string }
  readonly proofs: readonly Proved[]
}
