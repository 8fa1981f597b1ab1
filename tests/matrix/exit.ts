import type { Kind } from './kind.js'

/*
 * The exit code that a run must end with, by product.md and not by what the program makes of its record: 4 wins over every other, where
 * outputs are not confirmed off; else 3 where the set went against its limits or a protection fired, 7 where a person stopped it or a
 * question or its time ran out, 8 where the rig failed, 0 or 1 where nothing ended it (1 with a warning).
 */
const set_at_fault = [
  'over-ceiling',
  'over-trip',
  'rising',
  'current-limit',
  'off-set-point',
  'slow-rise',
  'error-integral',
  'protection',
  'heater-lost',
  'bias-low',
  'plate-lost',
  'hook-up',
  'soft-start',
  'key-time',
]
const person = ['operator', 'prompt-timeout', 'time-budget', 'below-ask']
const rig = [
  'stale',
  'bad-reply',
  'read-back',
  'line-lost',
  'recorder-lost',
  'slept',
  'late-tick',
  'parent-lost',
  'controller-lost',
  'invariant',
]

/** How a run ended, as far as its exit code says it. */
export interface End {
  /** Code of the reason; null: nothing ended it. */
  readonly code: string | null
  readonly confirmed: boolean
  readonly warned: boolean
}

/** What a shell reports of a command that SIGKILL ended: 128 and its number. It has no code of its own to give. */
const killed = 137

/** The one exit code that is right; null where the command has none to give. */
export function rightExit(
  { name, end }: Pick<Kind, 'name' | 'end'>,
  { code, confirmed, warned }: End,
): number | null {
  // The window is gone, and with it whoever would ask.
  if (name === 'terminal closed') return null
  // The next start finds, tells and makes safe; then it is given up by a person at its cautions.
  if (end === 'next start') return 7
  if (name === 'supervisor killed') return killed
  if (!confirmed) return 4
  if (code === null) return warned ? 1 : 0
  if (set_at_fault.includes(code)) return 3
  if (person.includes(code)) return 7
  return rig.includes(code) ? 8 : 70
}
