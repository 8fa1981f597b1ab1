import type { Diagnosis, Reading } from '../../../src/faults/index.js'
import { unlisted } from '../../helpers/faulty-sets.js'
import { type Truth, truthOf } from '../../helpers/unlisted-truth.js'
import { type Case, counted, groupsOf, modeOf, readAsAsked, stated } from './answers.js'
import type { Set } from './cases.js'

/**
 * A fault that no library lists. Right is that "none of the known explains it" stands first, or a cause in its own part among the
 * first five, or that "nothing shows" stands first where indeed it does not; and, told apart and never counted for the target, a
 * listed cause that predicts the very same readings: no reading that was taken parts them.
 */
export function unlistedCase(set: Set, n: number, seed: number): Case {
  const began = performance.now()
  const spoilt = unlisted(set.equipment, set.plan, seed)
  const truth = truthOf(set, spoilt)
  const drawn = set.draw(spoilt, seed)
  const { seen } = drawn
  const part = spoilt.fault?.part ?? ''
  const readings: Reading[] = []
  const first = set.diagnose(seen, [], { fails: true })
  const alone = ranksOf(first, truth(seen, first, []), part)
  const after: (typeof alone)[] = []
  // A cause in its own part is right: that is what is to blame.
  const isIt = (names: readonly string[]): boolean => names.some((name) => name.startsWith(`${part}:`))
  const said = [...stated(first, 0, isIt)]
  const mode = modeOf(set, first, seen)
  let told = first
  while (told.next !== null && after.length < counted) {
    readings.push(readAsAsked(drawn, told, told.next, mode))
    told = set.diagnose(seen, readings, { fails: true })
    after.push(ranksOf(told, truth(seen, told, readings), part))
    said.push(...stated(told, after.length, isIt))
  }
  const [best] = groupsOf(first)
  return {
    ...{ n, set: set.path, kind: 'unlisted', weight: 0, shows: alone.shows, tie: 0, endTie: 0, ties: 0 },
    fault: spoilt.fault?.fault ?? 'bridge',
    rank: alone.rank,
    after: after.map(({ rank }) => rank),
    strict: { rank: alone.strict, after: after.map(({ strict }) => strict) },
    ...{ stated: said, needed: null, brute: null },
    first: best?.faults[0] ?? best?.is ?? '',
    ms: performance.now() - began,
  }
}

function ranksOf(
  told: Diagnosis,
  { shows, same }: Truth,
  part: string,
): { readonly rank: number; readonly strict: number; readonly shows: boolean } {
  const groups = groupsOf(told)
  const right = groups.map(
    ({ is, faults }, i) =>
      (i === 0 && (is === 'none' || (is === 'nothing' && !shows))) ||
      (part !== '' && faults.some((name) => name.startsWith(`${part}:`))),
  )
  const place = (at: number): number => (at < 0 ? 99 : at)
  return {
    strict: place(right.indexOf(true)),
    rank: place(groups.findIndex(({ cause }, i) => right[i] === true || (cause !== null && same(cause)))),
    shows,
  }
}
