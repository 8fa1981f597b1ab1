export { regulatorsToChange, regulatorsTurned } from './regulators.js'
export { createSolver, solve, type Solver, type Volts } from './solver.js'
export { createTransient, type Transient } from './transient.js'
export type * from './types.js'
