import type { Step } from '../plan/index.js'
import { reformPasses } from './reform.js'
import type { Draft, State } from './state.js'
import { currentStep, touchOf } from './state.js'

/** Whether nothing in this run called for a step: no cathode to read, or a rung of a reform that need not be held. */
export function isPassedOver(s: State, step: Step): boolean {
  const { only_if } = step
  if (only_if !== undefined) return s.over_rating[only_if.over_rating] === undefined
  return reformPasses(s, step)
}

/** Steps that nothing in this run called for. What is passed over on the way up does not take "hands clear?" with it. */
export function passOver(d: Draft): void {
  for (let step = currentStep(d.s); step !== null && isPassedOver(d.s, step); step = currentStep(d.s)) {
    const rail = step.rail ?? ''
    if (step.hands_clear && (d.s.rails[rail]?.set_V ?? 0) <= touchOf(d.s.plan.rails[rail]))
      d.s.hands_in = true
    d.s.step += 1
  }
}
