import type { ReformPart, ReformPlan } from '../plan/index.js'
import { type At, feed_A, held_s, hours, mA, mostOf, ownCurrent_A, stands } from './figures.js'
import { leak_W } from './feed.js'
import { night_s, overTarget } from './limits.js'
import type { PartWatch } from './part.js'
import { type Broken, givenUp, type Told } from './told.js'

/* The stop rules of a part, each in one place and in one set of words, for meters on a line and for those that a person reads. */

/** Readings of a meter on a line that must say the same. */
const inARow = 3
/** So little of what is marked is no capacitor at all (our choice). */
const noCharge = 0.3

/** Figures of one reading, with the volts that stand on the feed resistor. `beside_W`: what the other sections of its can turn into heat. */
export interface Now {
  readonly V: number
  readonly in_A: number
  readonly target_V: number
  readonly beside_W: number
}

/** What waits for no estimate: a short, a part the wrong way round, heat in the can. `settled`: charging is over. */
export function brokenNow(
  { V, in_A, target_V, beside_W }: Now,
  plan: ReformPlan,
  settled: boolean,
): Broken | null {
  if (V < -0.5)
    return {
      code: 'reversed',
      verdict: 'not judged',
      text: `it stands at ${V.toFixed(1)} V: it is connected the wrong way round, or its meter is`,
    }
  if (!settled) return null
  if (V < 0.2 * target_V && target_V > 5)
    return {
      code: 'not-following',
      text: `with ${target_V.toFixed(0)} V on its feed resistor it stands at ${V.toFixed(1)} V: shorted, or not connected as the hook-up sheet says`,
    }
  const own_W = leak_W(V, in_A)
  if (own_W + beside_W > plan.heat_W)
    return {
      code: 'heat',
      text: `it turns ${own_W.toFixed(2)} W into heat${beside_W > 0 ? `, ${(own_W + beside_W).toFixed(2)} W with the other sections of its can` : ''}, and ${plan.heat_W.toFixed(2)} W is what its can may take`,
    }
  return null
}

/** The same by what a meter on a line and the supply show now; what three in a row say counts. */
export function stopAtOnce(watch: PartWatch, plan: ReformPlan, t_us: number, beside_W: number): Told {
  const { hold, supply, meter, part } = watch
  if (supply === null || meter === null) return { watch, told: null }
  const { drop_V, V } = stands(part, { supply: supply.V, meter: meter.V })
  const in_A = feed_A(part, drop_V)
  const settled = hold !== null && t_us >= hold.settled_us
  const broken = brokenNow({ V, in_A, target_V: hold?.target_V ?? 0, beside_W }, plan, settled)
  if (broken === null)
    return { watch: watch.breaking === null ? watch : { ...watch, breaking: null }, told: null }
  const times = watch.breaking?.code === broken.code ? watch.breaking.times + 1 : 1
  const counted = { ...watch, breaking: { code: broken.code, times } }
  if (times < inARow) return { watch: counted, told: null }
  const leak_A = Math.max(0, in_A - ownCurrent_A(part, V))
  return { watch: counted, told: givenUp(counted, plan, { V, leak_A, held_s: held_s(hold, t_us) }, broken) }
}

export const roseAgain = (lowest_A: number, leak_A: number): Broken => ({
  code: 'rising',
  text: `its leakage fell to ${mA(lowest_A)} and has risen to ${mA(leak_A)} with the volts unchanged: the oxide is breaking down`,
})

/** Far above its limit after an hour. */
export function overItsTarget(part: ReformPart, { V, leak_A, held_s: t_s }: At): Broken | null {
  if (t_s < overTarget.after_s || leak_A <= overTarget.factor * part.limit.amps) return null
  return {
    code: 'over-target',
    text: `after ${hours(t_s)} at ${V.toFixed(0)} V it still leaks ${mA(leak_A)}, more than ${overTarget.factor} times the ${mA(part.limit.amps)} it is held against`,
  }
}

/** Two rises of the volts found it charged before it could be: no capacitor of the size that is marked is there. */
export function tookNoCharge({ part, mosts_F }: Pick<PartWatch, 'part' | 'mosts_F'>): Broken | null {
  const most_F = mostOf(mosts_F)
  if (most_F === null || most_F >= noCharge * part.F) return null
  return {
    code: 'no-charge',
    text: `it was up with its volts sooner than ${(1e6 * most_F).toFixed(1)} µF could be, and ${(1e6 * part.F).toFixed(1)} µF are marked: dried out, open inside, or its lead is off. Look at the lead first`,
  }
}

/** What a part is given before it is condemned for being slow: half of a usual night's most (our choice), s. */
const patience_s = night_s / 2

/**
 * It would not come down in the time that is left. Where the run has waited for this one for long, or it would take more than a night
 * at these volts, the part is the cause; else another part or a short budget may be, and it is not condemned for that.
 */
export function stalls(
  { waited_s }: Pick<PartWatch, 'waited_s'>,
  { V, leak_A, held_s: t_s }: At,
  enough_A: number,
  soonest_s: number,
  left_s: number,
): Broken {
  const own_s = waited_s + t_s
  const text = `after ${hours(t_s)} at ${V.toFixed(0)} V it leaks ${mA(leak_A)}; at best it would come to ${mA(enough_A)} after ${hours(soonest_s)}, and the run has ${hours(left_s)} left`
  if (own_s >= patience_s || soonest_s > night_s)
    return { code: 'stalled', text: `${text}; the run has waited ${hours(own_s)} for this part alone` }
  return {
    code: 'stalled',
    verdict: 'not finished',
    text: `${text}. Nothing is said of its oxide by that: it can be taken up another time`,
  }
}
