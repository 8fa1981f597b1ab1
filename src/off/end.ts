import { isHotRole, type OffPlan } from '../plan/index.js'
import { callFor, fallWithin_s } from './alarms.js'
import { fallsSlowly } from './confirm.js'
import { lastRead } from './heard.js'
import { isBias, isConfirmed, isDownByHand, isHeater, isHot, of, us, nextHand } from './rails.js'
import { heatersOff_us, isSeenAwake, lastDown_us } from './rules.js'
import type { Draft, OffRail, OffResult } from './types.js'

/** After the alarms: time for the mains to be cut. */
const giveUp_s = 60
/** Where nothing was on, or nobody has answered, a line that stays quiet is given up sooner. */
const nothing_s = 15
/** A charge that goes slower than stated, and is alarmed, is seen to its end as long as it goes. */
const falling_s = 600
/** Each rail that waits for a person. */
const personWithin_s = 600

/** Ends when all is confirmed, and in any case in bounded time: a question to a person runs out by itself. */
export function conclude(d: Draft, plan: OffPlan): void {
  const open = d.rails.filter((rail) => rail.class !== 'hand' && !isKnownOff(d, rail))
  const hands = d.rails.some(
    (rail) => rail.class === 'hand' && !isDownByHand(d.s, rail) && d.s.hand[rail.name] === undefined,
  )
  if (open.length === 0 && !hands) end(d, 'confirmed')
  else if (
    nextHand(d.s, d.rails) === null &&
    d.s.t_us - d.s.since_us >= us(patience_s(d, plan, open)) &&
    d.s.t_us - d.s.awake_us >= us(shortest_s(d, plan))
  )
    end(d, open.length === 0 ? 'confirmed' : 'not confirmed')
}

/** Confirmed, and not by what was read before this computer slept alone. */
const isKnownOff = (d: Draft, rail: OffRail): boolean => isConfirmed(d.s, rail) && isSeenAwake(d, rail)

/** What it tries at least, and again after a gap, before it gives up. */
function shortest_s(d: Draft, plan: OffPlan): number {
  // An accelerated bench answers no sooner for it: its stale limit says how fast it can be.
  return d.s.live === 'yes' ? fallWithin_s + giveUp_s : Math.max(nothing_s, 5 * plan.stale_s)
}

function patience_s(d: Draft, plan: OffPlan, open: readonly OffRail[]): number {
  if (d.s.live !== 'yes') return shortest_s(d, plan)
  // What was told late, by a rule or after a person, has its full time from then on.
  const told_s = open.map((rail) => {
    const { given_us } = of(d.s, rail)
    const own_s = rail.class === 'watched' ? personWithin_s : fallWithin_s + giveUp_s
    return given_us === null ? 0 : (given_us - d.s.since_us) / 1e6 + own_s
  })
  return Math.max(
    fallWithin_s + plan.heaters_off_after_s + giveUp_s,
    ...told_s,
    open.some((rail) => fallsSlowly(d, rail)) ? falling_s : 0,
    bias_s(d, plan),
  )
}

/** How long a rule may still take to let the bias go; 0 where none can. */
function bias_s(d: Draft, plan: OffPlan): number {
  if (!d.rails.some((rail) => isBias(rail) && !isConfirmed(d.s, rail))) return 0
  const hot = d.rails.filter(isHot)
  if (!hot.every((rail) => isConfirmed(d.s, rail) || (rail.class === 'hand' && !d.s.asks))) return 0
  const { discharge_s, cathodes_cold_s } = plan.bias_release
  const down_us = lastDown_us(d, hot)
  const cold_us = heatersOff_us(d)
  const from = (at_us: number): number => (at_us - d.s.since_us) / 1e6 + fallWithin_s + giveUp_s
  const byTime_s =
    down_us === null || discharge_s === null || plan.knobs === null ? 0 : from(down_us) + discharge_s
  const byCold_s = cold_us === null ? 0 : from(cold_us) + cathodes_cold_s
  return Math.max(byTime_s, byCold_s)
}

function end(d: Draft, outputs_off: OffResult['outputs_off']): void {
  const judged = d.rails.filter((rail) => rail.class !== 'hand')
  for (const rail of judged) if (!isKnownOff(d, rail) && of(d.s, rail).alarmed_us === null) callFor(d, rail)
  const rails: Record<string, OffResult['rails'][string]> = {}
  for (const rail of judged) {
    rails[rail.name] = {
      confirmed: isKnownOff(d, rail),
      volts: of(d.s, rail).V?.value ?? null,
      how: d.s.confirmed[rail.name] ?? `${toldWords(d, rail)}; ${lastRead(d, rail)}`,
    }
  }
  const hand_rails: Record<string, number | 'not confirmed by you'> = {}
  for (const rail of d.rails) {
    if (rail.class !== 'hand') continue
    const typed = d.s.hand[rail.name]
    if (typed !== undefined) hand_rails[rail.name] = typed
    else if (!isDownByHand(d.s, rail)) hand_rails[rail.name] = 'not confirmed by you'
  }
  const result: OffResult = { outputs_off, rails, hand_rails, bias_released_by: d.s.bias_released_by }
  d.s.result = result
  d.out.push({ do: 'end', result })
}

/**
 * Whether a bias that stays on hangs on this port, with nothing beside it but heaters: its dead-man, no longer fed, would take
 * it from under HT that nothing shows to be down.
 */
export function biasStays(plan: OffPlan, result: OffResult, port: string): boolean {
  const here = plan.channels.filter((channel) => channel.port === port)
  return (
    result.outputs_off !== 'confirmed' &&
    result.bias_released_by === null &&
    here.some(({ role }) => role === 'bias') &&
    here.every(({ role }) => !isHotRole(role))
  )
}

function toldWords(d: Draft, rail: OffRail): string {
  if (rail.class === 'watched') return 'you were asked to turn it down, and it does not read as off'
  if (of(d.s, rail).given_us !== null) return 'OFF was given and is not confirmed by measurement'
  if (isBias(rail)) return 'not told OFF: bias stays while nothing shows that HT is down'
  return isHeater(rail) ? 'not told OFF yet' : 'not told OFF'
}
