import type { LimitProblem } from '../limits/index.js'
import type { Plan } from './types.js'

export interface PlanOptions {
  /** Same seed, same bands. */
  readonly seed?: number
  /** Nobody stays: what switches off without this program is proved in each start. */
  readonly unattended?: boolean
}

export interface Made {
  readonly plan: Plan | null
  readonly problems: readonly LimitProblem[]
}
