import type { ReformCode, ReformJudgement, ReformPlan } from '../plan/index.js'
import { type At, figuresOf } from './figures.js'
import type { Hold, PartWatch } from './part.js'

/* What is told of a part, and what it becomes by that. */

export interface Told {
  readonly watch: PartWatch
  readonly told: ReformJudgement | null
}

/** A stop rule that is broken, the words of it, and what it says of the part: most condemn it. */
export interface Broken {
  readonly code: ReformCode
  readonly text: string
  readonly verdict?: 'not judged' | 'not finished'
}

export function base(watch: PartWatch, plan: ReformPlan, at: At): Omit<ReformJudgement, 'act' | 'text'> {
  return {
    part: watch.part.name,
    step: watch.hold?.step ?? 0,
    reach_V: watch.hold?.target_V ?? 0,
    verdict: null,
    code: null,
    figures: figuresOf(watch, plan, at),
  }
}

export function givenUp(watch: PartWatch, plan: ReformPlan, at: At, broken: Broken): ReformJudgement {
  return {
    ...base(watch, plan, at),
    act: 'give up',
    reach_V: 0,
    code: broken.code,
    verdict: broken.verdict ?? 'replace',
    text: `given up at ${(watch.hold?.target_V ?? at.V).toFixed(0)} V, because ${broken.text}`,
  }
}

export const end = (watch: PartWatch, told: ReformJudgement): Told => ({
  watch: { ...watch, over: true },
  told,
})

/**
 * Told when it changes, else ever more seldom: a curve of some forty points, however long the hold. Figures and words are made
 * only then.
 */
export function say(
  watch: PartWatch,
  hold: Hold,
  act: ReformJudgement['act'],
  t_s: number,
  told: () => ReformJudgement,
): Told {
  if (act === hold.said && t_s < hold.tell_s) return { watch, told: null }
  const tell_s = Math.max(60, 1.25 * t_s)
  const waited_s = watch.waited_s + (act === 'go on' && hold.said === 'wait' ? t_s : 0)
  return { watch: { ...watch, waited_s, hold: { ...hold, tell_s, said: act } }, told: told() }
}
