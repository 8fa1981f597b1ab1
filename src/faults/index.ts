export { coverageOf, type Coverage, type CoverageOf, type CoveredFault } from './coverage.js'
export type { Suggestion } from './suggest.js'
export { doubleFaults, faultsOf } from './library.js'
export { changedElement, createBed, faulted, railAmps, type Bed } from './bed.js'
export { pointOf, pointsOf, type PlanPoint } from './points.js'
export type * from './types.js'
export {
  createDiagnoser,
  type Diagnoser,
  type DiagnoserOf,
  diagnosisOf,
  type DiagnosisOf,
} from './diagnosis.js'
export { percent } from './told.js'
export type {
  Diagnosis,
  Hypothesis,
  NextMeasurement,
  Predicted,
  Reading,
  Seen,
  SeenHookup,
  SeenStep,
} from './seen.js'
export { adjusted, type BookFact, type Learned, learnedWeights } from './priors.js'
export { createLab, type Lab, type Put, type Spot, type State, type Who } from './lab.js'
export { type Ends, endsOf } from './place.js'
