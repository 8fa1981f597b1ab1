import type { ReformFigures, ReformPart, ReformPlan } from '../plan/index.js'
import { forecast } from './decay.js'
import { feedWith_ohm, fromDrop_A, leak_W, resolves_A } from './feed.js'
import type { Hold, PartWatch } from './part.js'

/* What readings say of a part, and how it is written. */

/** At what volts, with what leakage, and since when they stand. */
export interface At {
  readonly V: number
  readonly leak_A: number
  readonly held_s: number
}

/** Drop across the feed resistor and volts across the part. */
export function stands(
  { across }: ReformPart,
  { supply, meter }: { readonly supply: number; readonly meter: number },
): { readonly drop_V: number; readonly V: number } {
  return across === 'part' ? { drop_V: supply - meter, V: meter } : { drop_V: meter, V: supply - meter }
}

/** What comes through the feed resistor: into the part, and into a meter across it. */
export const feed_A = (part: ReformPart, drop_V: number): number => fromDrop_A(drop_V, feedWith_ohm(part))

/** What a meter across the part takes past it. */
export const ownCurrent_A = ({ across, meter_ohm }: ReformPart, V: number): number =>
  across === 'part' ? V / meter_ohm : 0

export const held_s = (hold: Hold | null, t_us: number): number =>
  hold === null ? 0 : Math.max(0, (t_us - hold.settled_us) / 1e6)

/** What it turns into heat, as it was read at last in this hold, W. */
export function heat_W({ hold }: PartWatch): number {
  const last = hold?.blocks.at(-1)
  return last === undefined ? 0 : Math.max(0, leak_W(hold?.last_V?.V ?? 0, last.A))
}

/** The last digits of both instruments, as leakage. */
export const digits_A = (part: ReformPart, plan: ReformPlan): number =>
  (part.meter_error.resolution + plan.supply.resolution) / feedWith_ohm(part)

/** What is low enough to go higher: the target in proportion to the volts, three tenths of it at least (our choice). */
export function enough({ limit }: ReformPart, plan: ReformPlan, { of, target_V }: Hold): number {
  if (of.what === 'top') return 0.7 * limit.amps
  return limit.amps * Math.max(0.3, Math.min(1, target_V / plan.top_V))
}

export function figuresOf(
  { part, F, mosts_F, hold }: PartWatch,
  plan: ReformPlan,
  { V, leak_A, held_s }: At,
): ReformFigures {
  const ahead = hold === null ? null : forecast(hold.blocks, enough(part, plan, hold))
  const most_F = mostOf(mosts_F)
  return {
    volts: V,
    leak_A,
    held_s,
    F: F?.F ?? null,
    F_error: F?.error_F ?? null,
    ...(most_F !== null && { F_most: most_F }),
    limit_A: part.limit.amps,
    resolves_A: resolves_A(part, plan.supply, V, leak_A),
    slope: ahead?.slope ?? null,
    soonest_s: ahead?.soonest_s ?? null,
    latest_s: ahead?.latest_s ?? null,
  }
}

/** What two rises agree on; one alone may be a slip of an instrument. */
export const mostOf = ([, second]: readonly number[]): number | null => second ?? null

export const mA = (amps: number): string =>
  Math.abs(amps) >= 1e-3 ? `${(1e3 * amps).toFixed(2)} mA` : `${(1e6 * amps).toFixed(0)} µA`

export const hours = (s: number): string =>
  s < 5400 ? `${Math.max(1, Math.round(s / 60))} min` : s > 1e7 ? 'months' : `${(s / 3600).toFixed(1)} h`
