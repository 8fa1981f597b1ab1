import type { Proof } from '../plan/index.js'
import { inRow, type Under } from './prove-parts.js'
import type { Draft, State } from './state.js'
import { accuracy, off_V, resolution } from './state.js'

/* What proofs of a dead-man and of what cuts from outside of a supply have in common: what its readings say. */

export function noted(d: Draft, more: Partial<NonNullable<State['proof']>>): void {
  const before = d.s.proof
  if (before === null) return
  d.s.proof = { ...before, ...more, seen_us: before.seen_us ?? d.s.t_us }
}

/** A protection is asked about seldom: what fired may be told this long after the volts went. */
export const lookAfter_s = 5

/** It cuts from outside of the supply, which has no word of its own for that: the volts tell. */
export const isOutside = (proof: Proof | null): boolean =>
  proof?.of === 'cut-off relay' || proof?.of === 'outside timer'

/** Three readings in a row that show nothing at the terminals, since it was told. */
export function isDown({ d, rail, state }: Under): boolean {
  const { V } = state
  const now = d.s.proof
  if (V === null || now === null || V.t_us <= now.told_us) return false
  const zero_V = Math.max(3 * resolution(d.s, rail).V, 2 * accuracy(d.s, rail, 0, 0).V)
  return inRow(state, V.t_us, Math.abs(V.value) <= Math.max(zero_V, Math.min(off_V, 0.1 * now.from_V)))
}
