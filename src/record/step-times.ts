import type { Plan, Step } from '../plan/index.js'
import type { RunEvent } from './types.js'

/**
 * A step of the plan that a run came to, from its first word to the next step's, or to the end of all steps. A reform that took a part
 * off climbs again: then it comes to a step more than once.
 */
export interface StepTime {
  readonly step: Step
  readonly from_us: number
  readonly to_us: number
  /** What was told of it, in order, however often the run came to it. */
  readonly told: readonly RunEvent[]
}

/** From these on, readings no longer belong to a step. */
const leaving: readonly string[] = ['trip', 'off', 'ending']

/** In the order of the run. `run_end_us`: how far a step goes that is still under way. */
export function stepTimes(plan: Plan, events: readonly RunEvent[], run_end_us: number): StepTime[] {
  const turns = turnsTo(events)
  return plan.steps
    .flatMap((step): StepTime[] => {
      const told = events.filter((event) => event.step === step.index)
      const first = told.find(({ what }) => !leaving.includes(what))
      if (first === undefined) return []
      const again = turns.filter(({ step: at, t_us }) => at === step.index && t_us > first.t_us)
      return [first, ...again].map(({ t_us: from_us }) => {
        const to_us =
          events.find(
            ({ t_us, step: at, what }) =>
              t_us > from_us &&
              (leaving.includes(what) ||
                (at !== null && (at > step.index || (what === 'step' && at !== step.index)))),
          )?.t_us ?? run_end_us
        return { step, from_us, to_us, told }
      })
    })
    .sort((a, b) => a.from_us - b.from_us)
}
/** Words that a step begins; within it there are others of its kind, such as that it holds. */
function turnsTo(events: readonly RunEvent[]): readonly RunEvent[] {
  const told = events.filter(({ what, step }) => what === 'step' && step !== null)
  return told.filter(({ step }, i) => i > 0 && told[i - 1]?.step !== step)
}

/** It takes its rail down under the limits it came from: what was expected there is no yardstick for it. */
export function isLowering(step: Step, rail: string): boolean {
  const limits = step.limits[rail]
  return step.do === 'lower' && step.rail === rail && limits !== undefined && limits.at_V > step.target_V
}
