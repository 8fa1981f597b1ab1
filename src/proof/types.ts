import type { Spread } from '../rf/index.js'

export type ProofVerdict = 'shown' | 'marginal' | 'not shown'

/** One thing that a reading was held against. */
export interface Judgement {
  readonly verdict: ProofVerdict
  readonly text: string
  readonly source: string
}

/** What a set showed at radio frequency: the figures with what the instruments leave open, and what they were held against. */
export interface Proof {
  readonly of: 'receive' | 'transmit' | 'aerial'
  readonly what: string
  /** The worst of its judgements. */
  readonly verdict: ProofVerdict
  readonly figures: readonly Spread[]
  readonly judged: readonly Judgement[]
}

const order: readonly ProofVerdict[] = ['shown', 'marginal', 'not shown']

/** Of nothing at all: not shown. */
export function worstOf(verdicts: readonly ProofVerdict[]): ProofVerdict {
  return order[Math.max(-1, ...verdicts.map((each) => order.indexOf(each)))] ?? 'not shown'
}

/** A proof with nothing to be held against shows nothing. */
export function proofOf(given: Omit<Proof, 'verdict'>): Proof {
  return { ...given, verdict: worstOf(given.judged.map(({ verdict }) => verdict)) }
}

type Around = Pick<Spread, 'value' | 'least' | 'most'>

/** A reading itself, with what its instrument leaves open. */
export function around(value: number, accuracy: number): Around {
  return { value, least: value * (1 - accuracy), most: value * (1 + accuracy) }
}

export const practice = 'common practice, no source'

/** Held against a least or most: marginal where the instruments leave open which side it is on. */
export function heldAgainst(
  figure: Around | undefined,
  limit: { readonly least: number } | { readonly most: number },
): ProofVerdict {
  if (figure === undefined) return 'not shown'
  const without = 'least' in limit ? Infinity : -Infinity
  const [value, low, high] = [
    figure.value ?? without,
    figure.least ?? figure.value ?? without,
    figure.most ?? figure.value ?? without,
  ]
  if (Number.isNaN(value)) return 'not shown'
  if ('least' in limit) return value < limit.least ? 'not shown' : low < limit.least ? 'marginal' : 'shown'
  return value > limit.most ? 'not shown' : high > limit.most ? 'marginal' : 'shown'
}
