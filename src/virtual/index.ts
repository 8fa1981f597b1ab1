export type * from './types.js'
export { createVirtualBench, type VirtualBenchOptions } from './bench.js'
export {
  checkFault,
  faultKinds,
  faultsOf,
  parseFault,
  type ParsedFault,
  portNames,
  readFault,
} from './faults.js'
