import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import type { Plan } from '../plan/index.js'
import type { Known, RunEnding } from '../story/index.js'

/** What energising needs, whatever kind of plan it is: everything judged, nothing energised. */
export interface Ready {
  readonly plan: Plan
  readonly equipment: Equipment
  readonly bench: Bench
  readonly bench_path: string
  /** The set's own file, beside which its book lies; absent where no set is joined to the bench. */
  readonly set_path?: string
  /** Input files as they were: path → text. */
  readonly files: Readonly<Record<string, string>>
  /** Those of the bench file, then those given with this start. */
  readonly faults: readonly { readonly text: string }[]
}

/** A start as a person asked for it. */
export interface Start {
  readonly command: Known['command']
  readonly prepared: Ready
  /** As it will be obeyed: at its speed, hash included. */
  readonly plan: Plan
  /** Run seconds per second; 1 except on a virtual bench. */
  readonly speed: number
  readonly seed: number | null
  /** Faults given with this start, beside those of the bench file. */
  readonly faults: readonly string[]
  /** The bench as its file has it, where only a part of it takes part: an earlier run on all of it is made safe first. */
  readonly whole?: Bench
  /** A resistor in place of the set, on a virtual bench: `SUPPLY.CHANNEL=OHMS` and its tolerance. */
  readonly load?: { readonly at: string; readonly tolerance: number }
  /** Electrolytics lifted out of the set, on a virtual bench: the profile that names them. */
  readonly lifted?: string
  /** The small file that says what may be live on this bench. */
  readonly state_path: string
}

/** Why there was no run. Nothing was energised, unless `outputs not confirmed off`: then an earlier run left something on. */
export interface NotBegun {
  readonly kind: 'not begun'
  readonly why:
    | 'usage'
    | 'not to be left alone'
    | 'cold checks'
    | 'busy'
    | 'given up'
    | 'not reachable'
    | 'outputs not confirmed off'
    | 'record not available'
    | 'rig failed'
  readonly what: string
  readonly remedy?: string
  readonly where?: string
}

/** A run that was, and how it ended. */
export interface Ran {
  readonly kind: 'ran'
  readonly ending: RunEnding
  readonly run: string
  readonly file: string
  readonly started: string
}

export const givenUp: NotBegun = {
  kind: 'not begun',
  why: 'given up',
  what: 'Given up before anything was energised.',
}
