import type { RailLimits, RatingWatch, Step } from '../plan/index.js'
import { record, warn } from './send.js'
import type { Draft } from './state.js'
import { amps, volts } from './words.js'

/**
 * Between a tube's bare rating and what its rating system allows the run goes on: many output stages were run so. It is
 * shown, kept as a warning, and the tube's cathode is read once before the run ends.
 */

/** Parts of its bare rating that a tube is at, when all that the rail draws beyond expected is its own doing. */
function ofRating({ of_rating, share_A }: RatingWatch, limits: RailLimits, measured_A: number): number {
  return (of_rating * (share_A + measured_A - limits.expected_A)) / share_A
}

const percent = (over: number): string => `${Math.max(1, Math.round(100 * (over - 1)))} %`

/** What is over its rating now, in words; null where nothing is. */
export function overRating(limits: RailLimits | null, measured_A: number | null): string | null {
  if (limits === null || measured_A === null) return null
  const over = (limits.ratings ?? []).filter(({ at_A }) => measured_A > at_A)
  if (over.length === 0) return null
  return over
    .map((watch) => `${watch.what} over its rating, ${percent(ofRating(watch, limits, measured_A))}`)
    .join('; ')
}

/** At the end of a step, settled: what stands over its rating is kept for the rest of the run. */
export function noteOverRating(d: Draft, limits: RailLimits, rail: string, measured_A: number): void {
  for (const watch of limits.ratings ?? []) {
    if (measured_A <= watch.at_A) continue
    const over = ofRating(watch, limits, measured_A)
    const before = d.s.over_rating[watch.part]
    if (before === undefined) {
      const next =
        watch.cathode === null
          ? 'Nothing can be read at its cathode: compare it with another tube of its type.'
          : 'Its cathode will be read before the run ends.'
      warn(
        d,
        `${watch.what} is over its rating, ${percent(over)}: ${rail} draws ${amps(measured_A)} at ${volts(limits.at_V)}, and beyond ${amps(watch.at_A)} it passes ${watch.rating} without its factor (${watch.source}). ${next}`,
        rail,
      )
    }
    d.s.over_rating = { ...d.s.over_rating, [watch.part]: Math.max(over, before ?? 0) }
  }
}

/** The cathode reading itself tells more than the rail: it is the tube's own current. */
export function cathodeRead(d: Draft, { only_if }: Step, value_V: number): void {
  if (only_if === undefined) return
  const { over_rating: part, rated_V } = only_if
  const over = value_V / rated_V
  const text =
    over > 1
      ? `${part} is over its rating by its own cathode too, ${percent(over)}: ${volts(value_V)} where ${volts(rated_V)} is the rating.`
      : `${part} is inside its rating by its own cathode: ${volts(value_V)} where ${volts(rated_V)} is the rating. What the rail draws beyond expected goes elsewhere.`
  record(d, 'judgement', text, { rail: null, data: { part, measured: value_V, rated_V } })
  if (over > 1) warn(d, text, null)
}
