import type { Plan, Step } from './types.js'

/** The step that carries this number; null where the plan has none such. The one way from a number to its step. */
export function stepNumbered(plan: Plan, index: number | null): Step | null {
  return plan.steps.find((step) => step.index === index) ?? null
}
