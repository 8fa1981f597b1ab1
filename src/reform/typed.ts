import type { ReformCode, ReformJudgement, ReformPlan } from '../plan/index.js'
import { forecast, lowest_A, withBlock } from './decay.js'
import { feedWith_ohm } from './feed.js'
import { overTarget } from './limits.js'
import {
  base,
  enough,
  figuresOf,
  givenUp,
  held_s,
  hours,
  mA,
  ownCurrent_A,
  type PartWatch,
  rungs,
  stands,
} from './part.js'
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

interface Told {
  readonly watch: PartWatch
  readonly told: ReformJudgement | null
}
interface At {
  readonly V: number
  readonly leak_A: number
  readonly held_s: number
}

/** What its meter was read as. `left_s`: what the run may still spend on waiting. */
export function seeTyped(
  before: PartWatch,
  shown_V: number,
  t_us: number,
  plan: ReformPlan,
  left_s: number,
): Told {
  const { hold, lately, part } = before
  if (before.over || hold === null || lately === null) return { watch: before, told: null }
  const { drop_V, V } = stands(part, { supply: lately.supply, meter: shown_V })
  const feed_A = drop_V / feedWith_ohm(part)
  const leak_A = feed_A - ownCurrent_A(part, V)
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
  const broken = brokenBy(watch, plan, at, feed_A, left_s)
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

/** The stop rules, by what a single reading can say. */
function brokenBy(
  { hold, part }: PartWatch,
  plan: ReformPlan,
  { V, leak_A, held_s: t_s }: At,
  feed_A: number,
  left_s: number,
): { readonly code: ReformCode; readonly text: string } | null {
  if (hold === null) return null
  if (V < -0.5)
    return {
      code: 'reversed',
      text: `it stands at ${V.toFixed(1)} V: it is connected the wrong way round, or its meter is`,
    }
  if (V < 0.2 * hold.target_V && hold.target_V > 5)
    return {
      code: 'not-following',
      text: `with ${hold.target_V.toFixed(0)} V on its feed resistor it stands at ${V.toFixed(1)} V: shorted, or not connected as the hook-up sheet says`,
    }
  if (V * feed_A > plan.heat_W)
    return {
      code: 'heat',
      text: `it turns ${(V * feed_A).toFixed(2)} W into heat, and ${plan.heat_W.toFixed(2)} W is what its can may take`,
    }
  const lowest = hold.lowest_A ?? leak_A
  if (leak_A - lowest > Math.max(0.2 * lowest, 0.1 * part.limit.amps, 2 * digits_A({ part }, plan)))
    return {
      code: 'rising',
      text: `its leakage fell to ${mA(lowest)} and has risen to ${mA(leak_A)} with the volts unchanged: the oxide is breaking down`,
    }
  if (t_s < overTarget.after_s) return null
  if (leak_A > overTarget.factor * part.limit.amps)
    return {
      code: 'over-target',
      text: `after ${hours(t_s)} at ${V.toFixed(0)} V it still leaks ${mA(leak_A)}, more than ${overTarget.factor} times the ${mA(part.limit.amps)} it is held against`,
    }
  if (hold.of.what !== 'rung' && hold.of.what !== 'soak') return null
  const enough_A = enough(part, plan, hold)
  const ahead = forecast(hold.blocks, enough_A)
  if (ahead === null || ahead.soonest_s <= t_s + left_s) return null
  return {
    code: 'stalled',
    text: `after ${hours(t_s)} at ${V.toFixed(0)} V it leaks ${mA(leak_A)}; at best it would come to ${mA(enough_A)} after ${hours(ahead.soonest_s)}, and the run has ${hours(left_s)} left`,
  }
}

/** The last digits of both instruments, as leakage. */
const digits_A = ({ part }: Pick<PartWatch, 'part'>, plan: ReformPlan): number =>
  (part.meter_error.resolution + plan.supply.resolution) / feedWith_ohm(part)

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
      watch,
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
    Math.abs(before.A - last.A) <= Math.max(4 * digits_A(watch, plan), 0.1 * part.limit.amps)
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
