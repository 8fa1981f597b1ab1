import type { Plan } from '../../src/plan/index.js'
import { judgeReading, judgeRunDown } from '../../src/sequencer/judge.js'
import type { Draft, RailState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from './moment.js'
import { smallPlan } from './small-plan.js'

/** One rail of a plan at one place of it, as it is read. */
export interface Read {
  readonly plan?: Plan
  /** Place of the step in the plan, from 0: the last hold unless it is said. */
  readonly at?: number
  readonly rail?: string
  readonly V?: number
  readonly A?: number
  readonly over?: Partial<RailState>
  readonly more?: Partial<State>
}

/** HT at 250 V in the last hold, drawing 50 mA, unless it is said otherwise. */
export function readOf(of: Read): Draft {
  const { plan = smallPlan(), at = 7, rail = 'HT', V = 250, A = 0.05, over, more } = of
  const rails = { ...more?.rails, ...standing(plan, rail, V, A, over) }
  return momentOf(plan, at, { part: 'hold', part_us: 0, step_us: 0, ...more, rails })
}

/** Read three times in a row within 0.3 s, the last time at this moment: what was found wrong, each thing once. */
export function judged(quantity: 'V' | 'A', of: Read, judge = judgeReading): Draft['broken'] {
  const d = readOf(of)
  for (const ago_s of [0.3, 0.15, 0]) {
    d.s.t_us = now_us - ago_s * 1e6
    d.broken = []
    judge(d, of.rail ?? 'HT', quantity)
  }
  return d.broken
}

/** As `judged`, by rule. */
export const codes = (quantity: 'V' | 'A', of: Read, judge = judgeReading): string[] =>
  judged(quantity, of, judge).map(({ code }) => code)

/** What a single reading of a rail that runs down finds wrong. */
export function runningDown(quantity: 'V' | 'A', of: Read): Draft['broken'] {
  const d = readOf(of)
  judgeRunDown(d, of.rail ?? 'HT', quantity)
  return d.broken
}
