import type { Plan, Step } from '../plan/index.js'
import type { RunEvent } from './types.js'

/** A step of the plan that a run came to, from its first word to the next step's, or to the end of all steps. */
export interface StepTime {
  readonly step: Step
  readonly from_us: number
  readonly to_us: number
  /** What was told of it, in order. */
  readonly told: readonly RunEvent[]
}

/** From these on, readings no longer belong to a step. */
const leaving: readonly string[] = ['trip', 'off', 'ending']

/** `run_end_us`: how far a step goes that is still under way. */
export function stepTimes(plan: Plan, events: readonly RunEvent[], run_end_us: number): StepTime[] {
  return plan.steps.flatMap((step): StepTime[] => {
    const told = events.filter((event) => event.step === step.index)
    const from_us = told.find(({ what }) => !leaving.includes(what))?.t_us
    if (from_us === undefined) return []
    const to_us =
      events.find(
        ({ t_us, step: at, what }) =>
          t_us > from_us && (leaving.includes(what) || (at !== null && at > step.index)),
      )?.t_us ?? run_end_us
    return [{ step, from_us, to_us, told }]
  })
}

/** It takes its rail down under the limits it came from: what was expected there is no yardstick for it. */
export function isLowering(step: Step, rail: string): boolean {
  const limits = step.limits[rail]
  return step.do === 'lower' && step.rail === rail && limits !== undefined && limits.at_V > step.target_V
}
