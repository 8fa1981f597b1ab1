import type { Profile } from '../profile/index.js'
import { isCurrentRead } from './rails.js'
import type { InPlace, RailPlan, Reason } from './types.js'

/* A bank of electrolytics left in its circuit: "formed, leakage not judged". */

const ours = "slowglow's own choice, no published source"

/** A bleeder's drift may be a tenth of what it draws (physics.md, section 4): more than that is none. */
const inPlace: InPlace = { still: 0.02, rise: 0.1 }
/** Held this long at least, and so much longer until the current stands still; less than `least_s` more would tell nothing, s (our choice). */
export const heldInPlace = { hold_s: 600, settle_within_s: 3000, least_s: 900, usual_s: 1200 } as const

/** What a rail of such a run is held to; null for heaters, for every other run, and where nothing reads what it draws. */
export function inPlaceOf(
  { kind, reform }: Pick<Profile, 'kind' | 'reform'>,
  rail: RailPlan | undefined,
): InPlace | null {
  if (kind !== 'reform' || reform !== null || rail === undefined) return null
  return rail.role !== 'heater' && isCurrentRead(rail) ? inPlace : null
}

export const inPlaceReasons: readonly Reason[] = [
  {
    limit: 'hold',
    value: 300,
    unit: 's',
    text: 'hold: not by the clock alone: it goes on once the last five minutes draw no less than the five before, to 2 % or two last digits; where that does not come you are asked',
    source: ours,
  },
  {
    limit: 'hold',
    value: 60,
    unit: 's',
    text: 'hold: a mean of a minute above the lowest of this hold by a tenth (what a bleeder may drift) and three last digits, twice in a row, ends the run: leakage that rises after it had fallen',
    source: `the failure as it was observed, 5 mA, then 8 (second-hand); the figures are ${ours}`,
  },
]
