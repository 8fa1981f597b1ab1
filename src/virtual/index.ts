export type * from './types.js'
export { createVirtualBench, type VirtualBenchOptions } from './bench.js'
export { checkFault, parseFault, type ParsedFault, portNames } from './faults.js'
