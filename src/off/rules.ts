import type { OffPlan } from '../plan/index.js'
import { callKnobs } from './alarms.js'
import {
  change,
  give,
  isBias,
  isConfirmed,
  isDownByHand,
  isFirst,
  isFresh,
  isHeater,
  isHot,
  of,
  record,
  us,
  off_V,
  samples,
} from './rails.js'
import type { Draft, OffRail } from './types.js'

/** A screen that has not read back as off this long after its OFF makes a run-down urgent: screen with HT, never after. */
const screenWithin_s = 3

/** First OFF: drive, screen and HT at once, or in a run-down drive and screen before HT. */
export function hotOff(d: Draft): void {
  const hot = d.rails.filter(isHot)
  const first = hot.filter((rail) => isFirst(rail) && rail.channels.length > 0)
  d.s.ht_waits = d.s.how === 'run down' && first.length > 0
  give(d, d.s.ht_waits ? hot.filter(isFirst) : hot, d.s.how)
  callKnobs(d, hot, 'now, one hand', d.s.calls_hands)
}

/** A stronger means for what is already going off. */
export function makeUrgent(d: Draft): void {
  if (d.s.how === 'urgent') return
  d.s.how = 'urgent'
  d.s.ht_waits = false
  give(d, d.rails.filter(isHot), 'urgent')
}

/** HT follows the screens of a run-down. */
export function hotFollows(d: Draft): void {
  if (!d.s.ht_waits) return
  const first = d.rails.filter((rail) => isFirst(rail) && rail.channels.length > 0)
  if (first.every((rail) => of(d.s, rail).down_us !== null)) {
    d.s.ht_waits = false
    give(
      d,
      d.rails.filter((rail) => isHot(rail) && !isFirst(rail)),
      'run down',
    )
  } else if (d.s.t_us - d.s.since_us >= us(screenWithin_s)) {
    record(
      d,
      null,
      `A screen or drive output is not read back as off after ${screenWithin_s} s: OFF to it and to HT at once.`,
    )
    makeUrgent(d)
  }
}

/** Measured low after OFF, three samples running, with the output read back as off; or typed so, or never turned up. */
function isLow(d: Draft, plan: OffPlan, rail: OffRail): boolean {
  if (rail.class === 'hand') return isDownByHand(d.s, rail)
  const known = of(d.s, rail)
  if (known.V === null || !isFresh(d, plan, rail, known.V)) return false
  return known.low >= samples && (rail.class === 'watched' || known.down_us !== null)
}

export function heatersOff(d: Draft, plan: OffPlan): void {
  if (d.s.heaters_off_us !== null) return
  const hot = d.rails.filter(isHot)
  // Without the set's file HT may be on a knob that nothing here sees.
  const sees = hot.length > 0 || plan.knobs !== null
  const low = sees && hot.every((rail) => isLow(d, plan, rail))
  // What this computer slept through is no time for HT to fall in: its OFF may have waited too.
  const waited_s = d.s.heard_us / 1e6
  if (!low && waited_s < plan.heaters_off_after_s) return
  d.s.heaters_off_us = d.s.t_us
  const list = d.rails.filter(isHeater)
  give(d, list, 'run down')
  const why = low
    ? hot.length === 0
      ? 'the set has no HT rail'
      : `HT is below ${plan.bias_release.below_V} V`
    : `HT is not known to be low after ${Math.round(waited_s)} s`
  if (list.length > 0) record(d, null, `Heaters off: ${why}.`, { ht_low: low })
  // A rail by hand is asked for in its turn, which may be long in coming while HT is not low.
  callKnobs(d, list, 'now', !d.s.asks || !low)
}

export function biasOff(d: Draft, plan: OffPlan): void {
  const list = d.rails.filter(isBias)
  if (d.s.bias_released_by !== null || list.length === 0 || d.s.heaters_off_us === null) return
  const rule = biasRule(d, plan, list)
  if (rule === null) return
  d.s.bias_released_by = rule
  give(d, list, 'run down')
  record(d, null, `Bias off: ${rule}.`, { rule })
  callKnobs(d, list, 'now; HT is low', !d.s.asks)
}

/** Which rule lets the bias go, in words for the record; null while it must stay (architecture.md, invariant 2). */
function biasRule(d: Draft, plan: OffPlan, list: readonly OffRail[]): string | null {
  const { below_V, discharge_s, cathodes_cold_s, only_wire_between } = plan.bias_release
  const hot = d.rails.filter(isHot)
  // An output that is off already holds nothing back: to wait would only put off the answer.
  if (list.every((rail) => wasOff(d, rail))) return 'it was off already'
  if (plan.knobs !== null) {
    if (hot.length === 0) return 'the set has no plate or screen rail'
    const low = hot.every((rail) => isLow(d, plan, rail))
    if (low && !d.s.ht_was_up) return 'plates and screens were never above 60 V in this run'
    if (low && only_wire_between)
      return `(a) plates and screens below ${below_V} V, measured at the supply with only wire between`
  }
  // Nothing but (a) counts while a terminal that is measured does not fall.
  // By hand, where nobody can be asked, cold cathodes must do; where somebody can, their word is waited for.
  const down = (rail: OffRail): boolean => isConfirmed(d.s, rail) || (rail.class === 'hand' && !d.s.asks)
  if (!hot.every(down)) return null
  // A clock that ran on while this computer slept has measured nothing.
  if (!hot.every((rail) => isSeenAwake(d, rail))) return null
  const down_us = lastDown_us(d, hot)
  if (
    plan.knobs !== null &&
    discharge_s !== null &&
    down_us !== null &&
    d.s.t_us - down_us >= us(discharge_s)
  ) {
    return `(b) the computed discharge time of ${Math.round(discharge_s)} s is over since the last of them was off`
  }
  const cold_us = heatersOff_us(d)
  if (cold_us !== null && d.s.t_us - cold_us >= us(cathodes_cold_s)) {
    return `(c) heaters confirmed off for ${Math.round(cathodes_cold_s)} s: cathodes cold (common practice, no source)`
  }
  return null
}

/** Measured since it was last fed after a gap; where there was none, by its confirmation. */
export function isSeenAwake(d: Draft, rail: OffRail): boolean {
  if (rail.class === 'hand' || d.s.awake_us <= d.s.since_us) return true
  return (of(d.s, rail).V?.t_us ?? 0) >= d.s.awake_us
}

function wasOff(d: Draft, rail: OffRail): boolean {
  const known = of(d.s, rail)
  return known.down_us !== null && known.V !== null && Math.abs(known.V.value) < off_V
}

/** Since when every hot rail is known to be off; null while one is not. */
export function lastDown_us(d: Draft, hot: readonly OffRail[]): number | null {
  let last_us = d.s.since_us
  for (const rail of hot) {
    const at_us =
      rail.class !== 'hand'
        ? of(d.s, rail).down_us
        : isDownByHand(d.s, rail)
          ? (d.s.said_us[rail.name] ?? d.s.since_us)
          : null
    if (at_us === null) return null
    last_us = Math.max(last_us, at_us)
  }
  return last_us
}

/** Since when every heater rail is confirmed off, and not by what was read before a sleep alone; null while one is not, and where none is known. */
export function heatersOff_us(d: Draft): number | null {
  const heaters = d.rails.filter(isHeater)
  if (heaters.length === 0 || d.s.heaters_off_us === null) return null
  let last_us = d.s.heaters_off_us
  for (const rail of heaters) {
    if (!isConfirmed(d.s, rail) || !isSeenAwake(d, rail)) return null
    const at_us = rail.class === 'hand' ? d.s.said_us[rail.name] : of(d.s, rail).confirmed_us
    last_us = Math.max(last_us, at_us ?? last_us)
  }
  return last_us
}

/** What a person said of a rail by hand. */
export function said(d: Draft, name: string, volts: number | null): void {
  const rail = d.rails.find((each) => each.name === name && each.class === 'hand')
  if (rail === undefined) return
  d.s.hand = { ...d.s.hand, [name]: volts ?? 'not confirmed by you' }
  if (volts === null) return
  d.s.said_us = { ...d.s.said_us, [name]: d.s.t_us }
  change(d, rail, { V: { value: volts, t_us: d.s.t_us }, confirmed_us: d.s.t_us, down_us: d.s.t_us })
}
