import type { ApiCoverage } from '../../service/api/index.js'

type Pair = Pick<ApiCoverage['pairs'][number], 'caught' | 'early'>

/** How a plan does with the likeliest pairs of faults, in a sentence. */
export function pairWords(pairs: readonly Pair[]): string {
  const count = (is: (each: Pair) => boolean): number => pairs.filter(is).length
  const inTime = count(({ caught, early }) => caught && early)
  const late = count(({ caught, early }) => caught && !early)
  const burning = count(({ caught, early }) => !caught && !early)
  const never = count(({ caught }) => !caught)
  return `Of the ${pairs.length} likeliest pairs of faults ${inTime} are noticed in time, ${late} too late, ${never} never (${burning} of these burn a part).`
}
