/** What the processes of the trip measurement say to each other. They are all ours and started by one parent. */

/** The two programs held against each other. */
export type Side = 'controller' | 'bare'

/** Terminal lines of one program: one a supply. */
export interface Lines {
  readonly paths: readonly string[]
  /** Outputs of each supply. */
  readonly channels: number
}

export type ToFarEnd =
  | { readonly do: 'trips'; readonly trips: number }
  | { readonly do: 'polls'; readonly for_ms: number; readonly turns: number }
export type FromFarEnd =
  | { readonly kind: 'lines'; readonly controller: Lines; readonly bare: Lines }
  /** Microseconds from the offending reply handed to the line to the last OFF read from it, one a trip. */
  | { readonly kind: 'trips'; readonly us: Readonly<Record<Side, readonly number[]>> }
  /** Whole runs: this one's trip and the yardstick's after it are measured. */
  | { readonly kind: 'tripped' }
  /** Readings of one rail a second, one figure a turn. */
  | { readonly kind: 'polls'; readonly rate: Readonly<Record<Side, readonly number[]>> }

export type ToSide =
  /** `recorder`: the socket of the recorder that everything told goes to, as in a run; the yardstick tells nothing. */
  | { readonly do: 'trips' | 'polls'; readonly lines: Lines; readonly recorder?: string }
  | { readonly do: 'close' }

/** Whole runs. To the far end: the next current read trips, or no longer; or all are done. To the runner: one more run on these lines. */
export type ToWholeFarEnd = { readonly do: 'offend' } | { readonly do: 'rest' } | { readonly do: 'tell' }
export interface ToRunner {
  readonly paths: readonly string[]
}
export type FromRunner =
  /** In its last hold, with everything standing. */
  | { readonly kind: 'standing' }
  | {
      readonly kind: 'over'
      readonly outcome: string
      readonly code: string
      readonly outputs_off: string
    }

/** To the service that is watched while trips are measured, and to who watches it: nothing more now, or on with it. */
export type ToWatched = { readonly do: 'rest' | 'go on' }
export type FromWatched =
  | { readonly kind: 'serving'; readonly port: number }
  | { readonly kind: 'watching' }
  /** Nothing is under way any more. */
  | { readonly kind: 'resting' }

/** From a controller at the end: entries handed on, and whether the recorder was called lost. */
export interface ToldAll {
  readonly kind: 'told'
  readonly entries: number
  readonly trouble: string | null
}

/** What the supply shows while all is well, and the current that must end it. */
export const well = { amps: '0.0500', limit_A: 0.09 }
export const offending = '0.3000'

export const volts = (outputs: number): string => (250 / outputs).toFixed(2)
