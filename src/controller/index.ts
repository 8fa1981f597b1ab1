export {
  benchStatePath,
  cameToItsEnd,
  leaveBenchState,
  leftBehind,
  processStart,
  readBenchState,
  realPath,
  removeBenchState,
  runsUnderWay,
  stillRuns,
  writeBenchState,
} from './bench-state.js'
export { knownBy, makeSafe, type MakeSafe, type MakeSafeHandlers } from './make-safe.js'
export { type BenchState, placeShape } from './messages.js'
export { offAtOnce } from './off-at-once.js'
export { endOrphan, type Orphan, readOffPlan } from './orphan.js'
export type { SafeOffResult } from './safe-off.js'
export { type RunJob, type RunOutcome, type Shown, supervise, type Supervisor } from './supervisor.js'
