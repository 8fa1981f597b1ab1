export type * from './types.js'
export { provable } from './types.js'
export { benchUnderTest, loadAsSet, loadNode, loadRail, loadReturn, portOf } from './setup.js'
export { qualifyPlan, type MadeQualify } from './plan.js'
export { seenIn, type Seen } from './seen.js'
export { figuresOf } from './figures.js'
export { failureOf } from './failed.js'
export {
  qualificationShape,
  withChannel,
  withVerdicts,
  type Qualification,
  type QualifiedChannel,
} from './document.js'
export { old_days, qualifiedBench } from './apply.js'
export { against, figureWords, qualificationText } from './text.js'
