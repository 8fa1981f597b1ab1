import type { ReformPlan } from '../plan/index.js'
import { forecast, lowest_A, withBlock } from './decay.js'
import {
  type At,
  digits_A,
  enough,
  feed_A,
  figuresOf,
  held_s,
  hours,
  mA,
  ownCurrent_A,
  stands,
} from './figures.js'
import { overTarget } from './limits.js'
import { rungs } from './judge.js'
import type { PartWatch } from './part.js'
import { brokenNow, overItsTarget, roseAgain, stalls } from './stop-rules.js'
import { base, type Broken, givenUp, type Told } from './told.js'
import { verdictOf } from './verdict.js'

/*
 * A part whose meter is on no line: a person reads it and types what it shows, a few times in each hold. What a slip of the pen
 * may be counts only when the next reading says so too, and no verdict rests on one reading.
 */

/** A doubtful reading is wanted again soon; another ever more seldom, and in an hour at the latest (our choice). */
const soon_s = 60
const least_s = 120
const most_s = 3600
const inARow = 2

/** What its meter was read as. `left_s`: what the run may still spend on waiting; `beside_W`: heat of its can's other sections. */
export function seeTyped(
  before: PartWatch,
  shown_V: number,
  t_us: number,
  plan: ReformPlan,
  left_s: number,
  beside_W = 0,
): Told {
  const { hold, lately, part } = before
  if (before.over || hold === null || lately === null) return { watch: before, told: null }
  const { drop_V, V } = stands(part, { supply: lately.supply, meter: shown_V })
  const in_A = feed_A(part, drop_V)
  const leak_A = in_A - ownCurrent_A(part, V)
  const t_s = held_s(hold, t_us)
  const blocks = withBlock(hold.blocks, { t_s, A: leak_A, long_s: 1 })
  const watch: PartWatch = {
    ...before,
    meter: { V: shown_V, t_us },
    hold: {
      ...hold,
      blocks,
      lowest_A: lowest_A(hold.lowest_A, blocks),
      last_V: { V, t_us },
    },
  }
  const at = { V, leak_A, held_s: t_s }
  const broken =
    brokenNow({ V, in_A, target_V: hold.target_V, beside_W }, plan, true) ?? brokenBy(watch, plan, at, left_s)
  if (broken === null) return judged({ ...watch, breaking: null }, plan, at, left_s)
  const times = before.breaking?.code === broken.code ? before.breaking.times + 1 : 1
  if (times >= inARow) return { watch: { ...watch, over: true }, told: givenUp(watch, plan, at, broken) }
  return {
    watch: { ...watch, breaking: { code: broken.code, times } },
    told: {
      ...base(watch, plan, at),
      act: 'wait',
      text: `read as if ${broken.text}: read once more before it counts`,
      again_s: soon_s,
    },
  }
}

/** The stop rules of a leakage, by what a single reading can say. */
function brokenBy(watch: PartWatch, plan: ReformPlan, at: At, left_s: number): Broken | null {
  const { hold, part } = watch
  if (hold === null) return null
  const { leak_A, held_s: t_s } = at
  const lowest = hold.lowest_A ?? leak_A
  if (leak_A - lowest > Math.max(0.2 * lowest, 0.1 * part.limit.amps, 2 * digits_A(part, plan)))
    return roseAgain(lowest, leak_A)
  const over = overItsTarget(part, at)
  if (over !== null || t_s < overTarget.after_s) return over
  if (hold.of.what !== 'rung' && hold.of.what !== 'soak') return null
  const enough_A = enough(part, plan, hold)
  const ahead = forecast(hold.blocks, enough_A)
  if (ahead === null || ahead.soonest_s <= t_s + left_s) return null
  return stalls(watch, at, enough_A, ahead.soonest_s, left_s)
}

function judged(watch: PartWatch, plan: ReformPlan, at: At, left_s: number): Told {
  const { hold, part } = watch
  if (hold === null) return { watch, told: null }
  if (hold.of.what === 're-test') return reTested(watch, plan, at)
  const { leak_A, V, held_s: t_s } = at
  const enough_A = enough(part, plan, hold)
  const ahead = forecast(hold.blocks, enough_A)
  const done = t_s >= hold.of.least_s && leak_A <= enough_A
  const longest =
    hold.of.what === 'top' && t_s >= hold.of.least_s && (ahead === null || t_s + left_s < ahead.latest_s)
  if (done || longest)
    return {
      watch: { ...watch, waited_s: watch.waited_s + t_s },
      told: {
        ...base(watch, plan, at),
        act: 'go on',
        reach_V: hold.target_V + plan.rung_V * rungs(leak_A / Math.max(enough_A, 1e-12)),
        text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: go on`,
      },
    }
  const again_s = Math.min(most_s, Math.max(least_s, t_s))
  const rest_s = hold.of.least_s - t_s
  return {
    watch,
    told: {
      ...base(watch, plan, at),
      act: 'wait',
      text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: wait`,
      again_s: rest_s > 0 ? Math.min(again_s, rest_s + 1) : again_s,
    },
  }
}

/** Two readings that agree, by the larger of them; of two that do not another is wanted. */
function reTested(watch: PartWatch, plan: ReformPlan, at: At): Told {
  const { hold, part } = watch
  const [before, last] = hold?.blocks.slice(-2) ?? []
  const agree =
    before !== undefined &&
    last !== undefined &&
    Math.abs(before.A - last.A) <= Math.max(4 * digits_A(part, plan), 0.1 * part.limit.amps)
  if (!agree)
    return {
      watch,
      told: {
        ...base(watch, plan, at),
        act: 'wait',
        text: `${mA(at.leak_A)} at ${at.V.toFixed(0)} V: read once more, two readings that agree count`,
        again_s: soon_s / 2,
      },
    }
  const read = { ...at, leak_A: Math.max(before.A, last.A) }
  const found = verdictOf(part, plan, figuresOf(watch, plan, read))
  return {
    watch: { ...watch, over: true },
    told: {
      ...base(watch, plan, read),
      act: 'go on',
      verdict: found.verdict,
      text: `${found.text}; read by hand`,
    },
  }
}
