import type { TubeRecord } from './types.js'

export const catalogue: readonly TubeRecord[] = []
