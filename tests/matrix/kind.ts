import type { Bench } from './bench-run.js'

/** How a cell may end, so that nothing was lost: everything confirmed off, or the alarm that says what to cut. */
export type End = 'confirmed' | 'alarm' | 'next start' | 'either'

export interface Kind {
  readonly name: string
  /** Where in the tests the same thing is held in detail: file, and words that stand there; null: here only. */
  readonly in_detail: readonly [file: string, words: string] | null
  /** A fault of the virtual bench, let loose at the moment. */
  readonly fault?: string
  /** Anything else that is done at the moment. */
  readonly act?: (run: Bench) => void | Promise<void>
  /** After it began, for kinds that must be ended from outside. */
  readonly after?: (run: Bench) => void | Promise<void>
  /** Codes that are the right reason; a run that is already going off keeps its first. None given: it need end nothing. */
  readonly codes?: readonly string[]
  /** It need not end the run: a supply or clock that is no trouble. */
  readonly harmless?: true
  readonly end: End
  /** Words that the record must hold, where nothing else would tell it from a run to which nothing was done. */
  readonly told?: readonly string[]
  /** What it does to the bias or its supply itself, so that the order cannot be told from outside. */
  readonly takes_bias?: true
  /** It has the program believe that time has passed: when heaters may go off by time alone cannot be told from outside. */
  readonly moves_time?: true
  readonly only?: 'pty' | 'tcp'
  /** It takes the cores from every other run: nothing else is tried meanwhile. */
  readonly alone?: true
}

/** Reasons that more than one kind may end a run for: the set beyond its limits, a supply no longer heard or believed, the controller gone. */
export const short = [
  'over-ceiling',
  'over-trip',
  'current-limit',
  'off-set-point',
  'slow-rise',
  'error-integral',
]
export const gone = ['stale', 'line-lost', 'bad-reply', 'read-back']
export const lost = ['controller-lost']

export const moments = ['ramp', 'hold', 'settle', 'prompt', 'make-safe'] as const
export type Moment = (typeof moments)[number]
