import type { Equipment } from '../equipment/index.js'
import type { Problem, Where } from '../quantities/index.js'
import type { Bench } from './types.js'
export function groundGraph(
  equipment: Equipment,
  bench: Bench,
  where?: { readonly equipment: Where; readonly bench: Where },
): readonly Problem[] {
  void equipment
  void bench
  void where
  return []
}
