import type { ReformPlan } from '../plan/index.js'
import { forecast, isClimbing, isRising, medianBetween, now_A, rising } from './decay.js'
import { type At, digits_A, enough, figuresOf, held_s, hours, mA } from './figures.js'
import { overTarget } from './limits.js'
import type { Hold, PartWatch } from './part.js'
import { overItsTarget, roseAgain, stalls, tookNoCharge } from './stop-rules.js'
import { base, end, givenUp, say, type Told } from './told.js'
import { verdictOf } from './verdict.js'

/** At the end of a block: go on, wait, or give up. */
export function judge(watch: PartWatch, plan: ReformPlan, t_us: number, left_s: number): Told {
  const { hold, part } = watch
  const last = hold?.blocks.at(-1)
  // Only a block that has just been closed brings anything new.
  if (hold === null || last === undefined || hold.open.meters > 0) return { watch, told: null }
  const t_s = held_s(hold, t_us)
  const leak_A = now_A(hold.blocks) ?? last.A
  const V = hold.last_V?.V ?? 0
  const at = { V, leak_A, held_s: t_s }
  const noise_A = digits_A(part, plan)
  const broken = isRising(hold.blocks, hold.lowest_A, part.limit.amps, noise_A)
    ? roseAgain(hold.lowest_A ?? 0, leak_A)
    : (overItsTarget(part, at) ?? tookNoCharge(watch))
  if (broken !== null) return end(watch, givenUp(watch, plan, at, broken))
  if (hold.of.what === 're-test') return reTest(watch, hold, plan, at, noise_A)
  const enough_A = enough(part, plan, hold)
  // A leakage that climbs where it should fall is looked at for longer, however small.
  const done = t_s >= hold.of.least_s && leak_A <= enough_A && !isClimbing(hold.blocks, noise_A)
  if (done || isLongest(hold, enough_A, t_s, left_s))
    return say(watch, hold, 'go on', t_s, () => ({
      ...base(watch, plan, at),
      act: 'go on',
      reach_V: hold.target_V + plan.rung_V * rungs(leak_A / Math.max(enough_A, 1e-12)),
      text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: go on`,
    }))
  const mayStall = t_s >= overTarget.after_s && hold.of.what !== 'top'
  if (!mayStall && t_s < hold.tell_s) return { watch, told: null }
  const ahead = forecast(hold.blocks, enough_A)
  if (mayStall && ahead !== null && ahead.soonest_s > t_s + left_s)
    return end(watch, givenUp(watch, plan, at, stalls(watch, at, enough_A, ahead.soonest_s, left_s)))
  if (t_s < hold.tell_s) return { watch, told: null }
  return say(watch, hold, 'wait', t_s, () => ({
    ...base(watch, plan, at),
    act: 'wait',
    text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: wait${ahead === null || leak_A <= enough_A ? '' : `, expected at ${mA(enough_A)} after ${hours(ahead.soonest_s)} to ${hours(ahead.latest_s)}`}`,
  }))
}

/** The last volts were held as long as was wanted, and longer is of no use: it would not come to its target in the time left. */
function isLongest(hold: Hold, enough_A: number, t_s: number, left_s: number): boolean {
  if (hold.of.what !== 'top' || t_s < hold.of.least_s) return false
  const ahead = forecast(hold.blocks, enough_A)
  return ahead === null || t_s + left_s < ahead.latest_s
}

/** Steps are as large as the leakage allows: one of the ladder, or up to three where next to nothing flows (our choice). */
export function rungs(part: number): number {
  if (part < 0.1) return 3
  return part < 0.3 ? 2 : 1
}

/** A leakage that climbs in the re-test is looked at until a rise would have shown by its rule, and half as long again (our choice). */
const climbing_s = 3 * rising.sustained_s

function reTest(watch: PartWatch, hold: Hold, plan: ReformPlan, at: At, noise_A: number): Told {
  const { after_s } = watch.part.limit
  if (at.held_s < Math.max(after_s, hold.of.least_s)) return { watch, told: null }
  const climbs = isClimbing(hold.blocks, noise_A)
  if (climbs && at.held_s < climbing_s) return { watch, told: null }
  const then_A = medianBetween(hold.blocks, after_s - 60, after_s + 30) ?? at.leak_A
  const read = { ...at, leak_A: climbs ? Math.max(then_A, at.leak_A) : then_A }
  const found = verdictOf(watch.part, plan, figuresOf(watch, plan, read), climbs)
  return end(watch, {
    ...base(watch, plan, read),
    act: 'go on',
    reach_V: hold.target_V,
    verdict: found.verdict,
    text: found.text,
  })
}
