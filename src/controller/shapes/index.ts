/**
 * Shapes of what crosses from one process to the other. Objects are loose: a field added to a plan later passes through
 * untouched, a missing or wrong one is refused.
 */
export { lineConfigShape } from './line.js'
export { offPlanShape, planShape } from './plan.js'
export { askShape, limitsShape } from './step.js'
