import type { RailStory, StepStory, Story } from './story.js'
import { allowedForVolts } from './volts-apart.js'

/** Two runs laid beside each other, step by step. */
export interface Comparison {
  readonly a: RunName
  readonly b: RunName
  /** What should be known before the figures are believed: another set, bench, plan, level. */
  readonly differs: readonly string[]
  readonly steps: readonly ComparedStep[]
}
export type RunName = Pick<Story, 'run' | 'file' | 'equipment' | 'profile' | 'outcome'> & {
  readonly started: string | null
  readonly notes: Story['notes']
}
export interface ComparedStep {
  /** Numbers of the step in each plan; null where that run's plan has none like it or never came to it. */
  readonly a_step: number | null
  readonly b_step: number | null
  readonly stage: string
  readonly mode: string
  /** The rail that the step moves. */
  readonly rail: string | null
  readonly rails: readonly ComparedRail[]
  /**
   * Of the step whole: `changed` where any rail of it draws more or less, `same in part` where what could be compared is the same and
   * something could not, `not compared` where nothing could.
   */
  readonly verdict: 'same' | 'changed' | 'same in part' | 'not compared'
}
export interface ComparedRail {
  readonly rail: string
  readonly at_V: number
  readonly a_A: number | null
  readonly b_A: number | null
  /** Volts at which each was measured. */
  readonly a_V: number | null
  readonly b_V: number | null
  /** b − a, A. */
  readonly change_A: number | null
  /** What both measurements together may be wrong by, A: their errors added, and what the difference of their volts may make. */
  readonly error_A: number | null
  /** `same`: within the measuring error, which is no proof that nothing changed. */
  readonly verdict: 'same' | 'draws more' | 'draws less' | 'not measured in both' | 'not at its volts in both'
}

/**
 * Aligns two runs by what each step does (stage, mode, rail, target) and in their order, and says of every rail whether it
 * draws more or less than the instruments may be wrong by, and than the difference of its volts explains. Errors are added, not squared: those of one instrument are not
 * independent from run to run.
 */
export function compareRuns(a: Story, b: Story): Comparison {
  const left = a.steps.filter(reached)
  const right = [...b.steps.filter(reached)]
  const steps: ComparedStep[] = []
  for (const step of left) {
    const at = right.findIndex((other) => key(other) === key(step))
    // Steps of b that come before the one that matches are its own.
    const before = at < 0 ? [] : right.splice(0, at)
    steps.push(...before.map((other) => only(other, 'b')))
    const match = at < 0 ? undefined : right.shift()
    steps.push(match === undefined ? only(step, 'a') : both(step, match))
  }
  steps.push(...right.map((other) => only(other, 'b')))
  return {
    a: named(a),
    b: named(b),
    differs: differences(a, b),
    steps: steps.filter(({ rails }) => rails.length > 0),
  }
}

const reached = ({ began_s, do: what }: StepStory): boolean => began_s !== null && what !== 'hook-up check'
const key = (step: StepStory): string =>
  [step.stage, step.mode, step.do, step.rail, step.target_V.toFixed(1)].join('|')

function only(step: StepStory, of: 'a' | 'b'): ComparedStep {
  return {
    verdict: 'not compared',
    a_step: of === 'a' ? step.index : null,
    b_step: of === 'b' ? step.index : null,
    stage: step.stage,
    mode: step.mode,
    rail: step.rail,
    rails: step.rails.map(({ rail, at_V, amps, volts }) => ({
      rail,
      at_V,
      a_A: of === 'a' ? amps : null,
      b_A: of === 'b' ? amps : null,
      a_V: of === 'a' ? volts : null,
      b_V: of === 'b' ? volts : null,
      change_A: null,
      error_A: null,
      verdict: 'not measured in both',
    })),
  }
}

function both(a: StepStory, b: StepStory): ComparedStep {
  const rails = a.rails.flatMap((rail) => {
    const other = b.rails.find((each) => each.rail === rail.rail)
    return other === undefined ? [] : [compared(rail, other)]
  })
  return {
    a_step: a.index,
    b_step: b.index,
    stage: a.stage,
    mode: a.mode,
    rail: a.rail,
    rails,
    verdict: verdictOf(rails),
  }
}

function verdictOf(rails: readonly ComparedRail[]): ComparedStep['verdict'] {
  if (rails.some(({ verdict }) => verdict.startsWith('draws'))) return 'changed'
  const same = rails.filter(({ verdict }) => verdict === 'same').length
  if (same === 0) return 'not compared'
  return same === rails.length ? 'same' : 'same in part'
}

function compared(a: RailStory, b: RailStory): ComparedRail {
  const what = { rail: a.rail, at_V: a.at_V, a_A: a.amps, b_A: b.amps, a_V: a.volts, b_V: b.volts }
  if (a.amps === null || b.amps === null || a.error_A === null || b.error_A === null)
    return { ...what, change_A: null, error_A: null, verdict: 'not measured in both' }
  const change_A = b.amps - a.amps
  const error_A = a.error_A + b.error_A + allowedForVolts({ ...a, amps: a.amps }, { ...b, amps: b.amps })
  if ((!a.reached || !b.reached) && !saysAllTheSame(a, b, change_A, error_A))
    return { ...what, change_A: null, error_A: null, verdict: 'not at its volts in both' }
  const verdict = Math.abs(change_A) <= error_A ? 'same' : change_A > 0 ? 'draws more' : 'draws less'
  return { ...what, change_A, error_A, verdict }
}

/** More current at fewer volts, as from a short that pulled its rail down, is more at any. */
function saysAllTheSame(a: RailStory, b: RailStory, change_A: number, error_A: number): boolean {
  if (a.volts === null || b.volts === null || Math.abs(change_A) <= error_A) return false
  return change_A > 0 ? b.volts < a.volts : a.volts < b.volts
}

function named({ run, file, equipment, profile, outcome, known, notes }: Story): RunName {
  return { run, file, equipment, profile, outcome, started: known?.started ?? null, notes }
}

function differences(a: Story, b: Story): string[] {
  const told: string[] = []
  for (const [which, { seal, damage, outcome }] of [
    ['first', a],
    ['second', b],
  ] as const) {
    for (const text of damage) told.push(`DAMAGED: of the ${which} a part cannot be read: ${text}`)
    if (seal.is === 'broken')
      told.push(
        `SEAL BROKEN: the ${which} was changed after it was written (${seal.where}); do not rely on what is said here.`,
      )
    if (seal.is === 'open' && outcome !== 'interrupted')
      told.push(
        `SEAL OPEN: the ${which} has an ending, and its newest ${seal.uncovered} entries or blocks are under no link of its seal.`,
      )
  }
  const differ = (what: string, of: (story: Story) => string | number | null): void => {
    const [one, other] = [of(a), of(b)]
    if (one !== other)
      told.push(`${what}: ${one ?? 'not known'} in the first, ${other ?? 'not known'} in the second`)
  }
  differ('Set', ({ equipment }) => equipment)
  differ('Profile', ({ profile }) => profile)
  differ('Bench', ({ bench }) => bench)
  differ('Level of the set’s file', ({ level }) => level)
  differ('Made as', ({ known }) => (known?.command === 'rehearse' ? 'rehearsal' : 'run'))
  differ('Faults put in', ({ known }) => known?.faults.join(', ') || 'none')
  const identities = (story: Story): string =>
    Object.entries(story.known?.identities ?? {})
      .map(([port, identity]) => `${port} ${identity}`)
      .join(', ')
  differ('Supplies', identities)
  if (a.plan_hash !== b.plan_hash)
    told.push('The plans differ: limits and expected currents may have been others.')
  return told
}
