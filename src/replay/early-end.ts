import type { RunEntry } from '../story/index.js'
import { inWords } from './told.js'

/**
 * A record that ends before the run does, as one whose recorder was killed: what is there may all agree, and of the rest nothing is
 * known. Null where it is followed to an ending.
 */
export function earlyEnd(
  ended: boolean,
  waiting: readonly RunEntry[],
): { readonly gap: string; readonly ends_early: number } | null {
  const [next] = waiting
  if (next !== undefined) {
    const many = waiting.length === 1 ? 'one decision' : `${waiting.length} decisions`
    return {
      gap: `The record ends here, ${many} before it would by what it was fed: next would be ${inWords(next)}.`,
      ends_early: waiting.length,
    }
  }
  if (ended) return null
  return {
    gap: 'The record ends here without an ending: up to here every decision is the same, and of what came after nothing is known.',
    ends_early: 0,
  }
}
