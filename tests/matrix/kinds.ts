import type { Kind } from './kind.js'
import { kindsAtBench } from './kinds-at-bench.js'
import { kindsAtComputer } from './kinds-at-computer.js'

/** All that is done to real runs, in the order of the table. */
export const kinds: readonly Kind[] = [...kindsAtBench, ...kindsAtComputer]
