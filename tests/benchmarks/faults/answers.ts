import type { Diagnosis, Hypothesis, NextMeasurement, Reading, Seen } from '../../../src/faults/index.js'
import type { Plan } from '../../../src/plan/index.js'
import type { FaultySet } from '../../helpers/faulty-sets.js'

/** Suggested readings that count. */
export const counted = 3

/** One case as it is kept: a line of the file. */
export interface Case {
  readonly n: number
  readonly set: string
  readonly kind: 'single' | 'double' | 'unlisted' | 'mid-run' | 'healthy'
  readonly fault: string
  /** Of the library, for figures that are to follow how often faults come. */
  readonly weight: number
  /** Whether it moves what the run read by as much as the diagnosis asks of what is to show: by what was done to the set, not by what is told. */
  readonly shows: boolean
  /** Place of the true cause, with all that are tied with it, among all answers; and after each of three suggested readings. */
  readonly rank: number
  readonly after: readonly number[]
  /** Faults that stand as one with it, from the run alone and after the readings that count; and those that no reading parts from it. */
  readonly tie: number
  readonly endTie: number
  readonly ties: number
  readonly stated: readonly Stated[]
  /** Readings until it stood alone with what no reading parts from it; null where the run alone did that. */
  readonly needed: { readonly suggested: number; readonly random: number } | null
  /** Whether brute force on the same readings has the true cause first, among the same groups. */
  readonly brute: boolean | null
  readonly first: string
  /** Of an unlisted fault: its place without a listed one that predicts the same counted as right; alone, and after each reading. */
  readonly strict?: { readonly rank: number; readonly after: readonly number[] }
  /** Of one that came in the middle of a run: when, and whether it ended the run. */
  readonly came?: { readonly when: string; readonly tripped: boolean }
  readonly ms: number
}

/** The likeliest cause after so many readings: its probability and whether it is true; of a pair, whether it is one half. */
export interface Stated {
  readonly after: number
  readonly p: number
  readonly right: boolean
  readonly half?: boolean
}

/** How much of the library came up: cases go through each set's faults in an order that is drawn, none twice before each has come once. */
export function distinct(
  single: readonly Pick<Case, 'set' | 'fault'>[],
  sets: readonly { readonly path: string; readonly single: readonly unknown[] }[],
): string {
  const came = new Set(single.map(({ set, fault }) => `${set} ${fault}`)).size
  const all = sets.reduce((sum, { single: faults }) => sum + faults.length, 0)
  return `${came} distinct faults of the ${all} in the libraries of ${sets.length} profiles`
}

export interface Group {
  readonly probability: number
  readonly faults: readonly string[]
  readonly is: 'cause' | 'nothing' | 'none'
  readonly cause: Hypothesis | null
}

/** Answers as they are told, "nothing shows" and "none of these" among them, likeliest first. */
export function groupsOf(told: Diagnosis): Group[] {
  return [
    ...told.hypotheses.map((cause) => ({
      probability: cause.probability,
      faults: [cause.fault, ...cause.tied_with],
      is: 'cause' as const,
      cause,
    })),
    {
      probability: told.nothing.probability,
      faults: told.nothing.faults,
      is: 'nothing' as const,
      cause: null,
    },
    { probability: told.none, faults: [], is: 'none' as const, cause: null },
  ].sort((a, b) => b.probability - a.probability)
}

/** Where the controls stand for a reading: as told, else as where the run ended. */
export function modeOf(
  { plan }: { readonly plan: Plan },
  told: Diagnosis,
  { steps, hookups = [] }: Seen,
): string {
  const last = steps.at(-1)?.step ?? hookups.at(-1)?.step
  return told.measured_at?.mode ?? plan.steps.find(({ index }) => index === last)?.mode ?? ''
}

/** What is said of the likeliest cause, and whether it is so. */
export function stated(
  told: Diagnosis,
  after: number,
  isIt: (names: readonly string[]) => boolean,
  isHalf?: (names: readonly string[]) => boolean,
): Stated[] {
  const [first] = told.hypotheses
  if (first === undefined) return []
  const names = [first.fault, ...first.tied_with]
  const half = isHalf === undefined ? {} : { half: isHalf(names) }
  return [{ after, p: Number(first.probability.toFixed(4)), right: isIt(names), ...half }]
}

/** The reading that was asked for, taken where it was asked for: ohms in the mode of the run, volts where the rails are to stand. */
export function readAsAsked(
  drawn: FaultySet,
  told: Diagnosis,
  { place, measure, step }: NextMeasurement,
  mode: string,
): Reading {
  const at = told.measured_at
  return measure === 'ohms' || at === null || step === null
    ? drawn.read(place, measure, {}, mode)
    : { ...drawn.read(place, measure, at.volts, at.mode), step }
}
