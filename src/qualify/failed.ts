import type { Plan } from '../plan/index.js'
import type { RunEnding } from '../story/index.js'
import { type Failed, provable } from './types.js'

/** Ends of a run that say nothing of the supply: nobody could hear it, or nobody listened. */
const unheard: ReadonlySet<string> = new Set([
  'line-lost',
  'stale',
  'bad-reply',
  'parent-lost',
  'controller-lost',
  'recorder-lost',
  'slept',
  'late-tick',
])
/** What a proof ends a run by where the supply does not do what is asked of it. */
const failing: ReadonlySet<string> = new Set(['wont-fall', 'current-limit', 'protection', 'off-set-point'])

/**
 * Whether a qualification that did not come to its end showed that the supply may feed no set: it does not go off, its current limit
 * does not hold, its terminals stand after its own protection. Null where it ended by something else: a person, a lid, the line.
 */
export function failureOf(
  plan: Plan,
  ending: Pick<RunEnding, 'outcome' | 'reason' | 'outputs_off'>,
): Failed | null {
  const { outcome, reason, outputs_off } = ending
  if (outcome === 'completed' || reason === null) return null
  const proof = plan.steps.find(({ index }) => index === reason.step)?.proof
  const inProof = proof !== undefined && failing.has(reason.code)
  const stays = outputs_off === 'not confirmed' && !unheard.has(reason.code)
  if (!inProof && !stays) return null
  const text = stays && !inProof ? `${reason.text} Its outputs were not confirmed off.` : reason.text
  const left_out = provable.find((of) => inProof && of === proof.of)
  return { code: reason.code, text, ...(left_out !== undefined && { proof: left_out }) }
}
