export { replayExactly, type Exactly } from './exactly.js'
export { replayWith, type WithLimits } from './with-limits.js'
export { type HeldFrom, limitsInForce } from './in-force.js'
