import type { Equipment, ModeName, OwnMains } from '../equipment/index.js'
import { show } from '../limits/index.js'

/* Where a charge stands behind the set's own rectifier while HT is kept off. */

/** HT is kept off by its rectifier tube, and nothing behind that is charged. */
export function rectifierPulled({ HT }: OwnMains): boolean {
  const { rectifier, opened_by } = HT
  // "V16 out of its socket", and not "the fuse of V16 out".
  return (
    rectifier !== null &&
    opened_by.startsWith(`${rectifier} `) &&
    /^(is )?(out|pulled)\b/.test(opened_by.slice(rectifier.length + 1))
  )
}

/** What a reservoir goes to that nothing loads. */
export function peakLeft_V({ HT, windings }: OwnMains, mode: ModeName): number {
  return Math.SQRT2 * (HT.taps[mode] ?? windings[HT.halves[0] ?? ''] ?? 0)
}

export function leftWords(own: OwnMains, mode: ModeName): string {
  const node = own.HT.leaves_charged
  return node === undefined
    ? ''
    : ` ${node} charges all the same, to ${show(peakLeft_V(own, mode), 'V')} at full mains.`
}

/** Where a charge may stay: what keeps HT off, or a fuse that blew, parts the reservoir from its rail. */
export function chargedNodes(equipment: Equipment, own: OwnMains): string[] {
  const { rail, leaves_charged } = own.HT
  const nodes = [leaves_charged, equipment.rails[rail]?.positive].flatMap((node) => node ?? [])
  return [...new Set(nodes)]
}
