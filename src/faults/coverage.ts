import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import type { Plan } from '../plan/index.js'
import { handCheck } from './hand-checks.js'
import type { Suggestion, Tried } from './suggest.js'
import { doubleFaults, faultsOf } from './library.js'
import { onOwnPack } from './own-pack.js'
import { createTrial } from './tried.js'
import type { Fault } from './types.js'
import { weightSource } from './weights.js'

/** How a plan notices a fault: by a rule that switches off, by a question at the end of a step, or before anything is raised. */
export interface Noticed {
  readonly step: number
  readonly how: 'hook-up check' | 'off at once' | 'asked'
  /** Rail or meter that shows it, with what it then reads. */
  readonly by: string
  readonly text: string
  /** Volts of the rail then, V. */
  readonly at_V: number
}

/**
 * The part that stands furthest in what its rating allows until a fault is noticed: that which the fault brings beyond it, where it
 * brings one so far; else the worst of all, which may stand as high without it.
 */
export interface WorstStress {
  readonly part: string
  readonly what: string
  /** Of the bare rating, and of what its rating system allows. */
  readonly of_rating: number
  readonly of_allowed: number
  readonly rating: string
  readonly step: number
  /** It stands as high there in a whole set: none of the fault's doing. */
  readonly as_whole: boolean
}

export interface CoveredFault {
  readonly fault: string
  readonly part: string
  readonly kind: Fault['kind']
  readonly text: string
  /** With nominal parts. */
  readonly caught: boolean
  /** Number of the step, null where it is never noticed. */
  readonly step: number | null
  readonly by: string | null
  readonly how: Noticed['how'] | null
  readonly noticed: string | null
  /** Also in a set that otherwise reads at the far edge of its band. */
  readonly surely: boolean
  readonly stress: WorstStress | null
  /** Why none is told; null where one is. */
  readonly no_stress: string | null
  /** No part stands beyond what its rating allows until then. */
  readonly early: boolean
}

export interface Coverage {
  readonly equipment: string
  readonly profile: string
  readonly faults: readonly CoveredFault[]
  /** The likeliest pairs of them, tried together; in none of the figures below. */
  readonly pairs: readonly CoveredFault[]
  /** Noticed with no part beyond what its rating allows. */
  readonly caught: number
  readonly total: number
  /** Noticed, but after a part stood beyond it. */
  readonly late: number
  /** Never noticed, and a part stands beyond it. */
  readonly burns_unseen: number
  /** Never noticed; no part whose rating is known comes to harm in this plan. */
  readonly harmless_unseen: number
  /** `caught` by parts of the whole: the one figure. */
  readonly share: number
  /** The same with each fault counted by how often it comes, as the set's book has it where it has one. */
  readonly likely_share: number
  readonly hand_checks: readonly {
    readonly part: string
    readonly text: string
    readonly faults: readonly string[]
    readonly burns: boolean
  }[]
  readonly suggestions: readonly Suggestion[]
  /** What the set's book says of how often its faults come, and what earlier runs make of its bands. */
  readonly learned: readonly string[]
  /** What was and was not tried, a sentence each. */
  readonly notes: readonly string[]
}

/** Pairs that are tried: what comes twice is rarer than any of its halves. */
const mostPairs = 24
/** What the coverage of a plan is made from. */
export interface CoverageOf {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
  /** How often a fault comes, in place of the library's word. */
  readonly weight?: (fault: Fault) => number
  /** What that was learned from, a sentence each. */
  readonly learned?: readonly string[]
}

/** Tries every single fault of a set against a plan: where it is noticed, and what it has done by then. */
export function coverageOf({ equipment, bench, plan, weight, learned = [] }: CoverageOf): Coverage {
  const faults = onOwnPack(plan) ? [] : faultsOf(equipment)
  const trial = createTrial(equipment, bench, plan)
  const tried = faults.map((fault) => trial.of(fault))
  const covered = tried.map(({ covered }) => covered)
  const good = covered.filter(({ caught, early }) => caught && early).length
  const sumOf = (all: readonly Fault[]): number =>
    all.reduce((sum, fault) => sum + (weight?.(fault) ?? fault.weight), 0)
  const pairs = doubleFaults(faults, mostPairs).map((pair) => trial.of(pair).covered)
  return {
    equipment: plan.equipment,
    profile: plan.profile,
    faults: covered,
    pairs,
    caught: good,
    total: covered.length,
    late: covered.filter(({ caught, early }) => caught && !early).length,
    burns_unseen: covered.filter(({ caught, early }) => !caught && !early).length,
    harmless_unseen: covered.filter(({ caught, early }) => !caught && early).length,
    share: covered.length === 0 ? 0 : good / covered.length,
    likely_share:
      sumOf(faults.filter((_, i) => covered[i]?.caught === true && covered[i].early)) /
      Math.max(sumOf(faults), 1e-12),
    hand_checks: checksFor(equipment, covered),
    suggestions: trial.suggestions(faults, tried),
    learned: [...learned, ...bandsLearned(plan)],
    notes: [...notesFor(equipment, plan, covered.length), ...unsolvedNotes(tried)],
  }
}

/** A point without a solution says nothing of its fault, neither that it is noticed nor that it does no harm: told by name. */
function unsolvedNotes(tried: readonly Tried[]): string[] {
  const left = tried.filter(({ unsolved }) => unsolved.length > 0)
  if (left.length === 0) return []
  const named = left.map(({ covered, unsolved }) => `${covered.fault} (step ${unsolved.join(', ')})`)
  return [
    `The circuit could not be solved with these faults in it, so that they are not judged at the steps named: ${named.join('; ')}. Look for them by hand.`,
  ]
}

function notesFor(equipment: Equipment, plan: Plan, tried: number): string[] {
  if (onOwnPack(plan))
    return [
      "On the set's own transformer a person reads a few windows by hand: no fault is tried against them. Look at what the profiles on bench supplies cover.",
    ]
  if (tried === 0)
    return [
      `The set's file is of level ${equipment.level} and has no circuit: no fault can be tried. Write down parts and tubes with their nodes (level 3).`,
    ]
  return [
    'Single faults and the likeliest pairs of them, each there from the start of the run, solved at rest with nominal parts; "surely" is a set that otherwise reads at the far edge of its band.',
    "Stress is reckoned with what the rail's meter may read low, and with what the rail still rises until its outputs are off (the plan's own figure).",
    'A grid that hangs in the air is taken to stand at its cathode (from memory, no source): higher where it emits or the tube is gassy.',
    'What charge does in the moment of a short is not in these figures: the plan tells it by itself (let-through).',
    `Severities of faults: ${weightSource}.`,
    ...(Object.values(plan.rails).some(({ class: of }) => of !== 'programmed')
      ? [
          'On rails that slowglow does not switch, "off at once" is a call to you: only you can switch them off.',
        ]
      : []),
  ]
}

function bandsLearned({ learned }: Plan): string[] {
  return learned === undefined
    ? []
    : [
        `Limits are those that this very set's earlier good runs draw closer, ceilings as they are (${learned.from.join(', ')}):`,
        ...learned.lines,
      ]
}

/** What no reading of the plan shows, as something to look for by hand: one line a part. */
function checksFor(equipment: Equipment, covered: readonly CoveredFault[]): Coverage['hand_checks'] {
  const byPart = new Map<string, CoveredFault[]>()
  for (const each of covered)
    if (!each.caught || !each.early) byPart.set(each.part, [...(byPart.get(each.part) ?? []), each])
  return [...byPart]
    .map(([part, faults]) => ({
      part,
      text: handCheck(
        equipment,
        part,
        faults.map(({ kind }) => kind),
      ),
      faults: faults.map(({ fault }) => fault),
      burns: faults.some(({ early }) => !early),
    }))
    .sort((a, b) => Number(b.burns) - Number(a.burns))
}
