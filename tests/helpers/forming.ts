import type { Chance } from '../../src/chance/index.js'
import type { ReformJudgement, ReformPart, ReformPlan, Step } from '../../src/plan/index.js'
import { limitOf } from '../../src/reform/limits.js'
import { resolves_A } from '../../src/reform/feed.js'
import {
  beginHold,
  beginRamp,
  letGo,
  type PartWatch,
  seeMeter,
  seeSupply,
  watchPart,
} from '../../src/reform/part.js'
import { ReformSteps } from '../../src/reform/steps.js'
import type { Channel } from '../../src/bench/index.js'
import { form, leakage_S, type Oxide } from '../../src/virtual/forming.js'

/**
 * One electrolytic behind its feed resistor, taken through the steps of a real plan by the real estimator, without line and
 * sequencer: a whole night of one part in some milliseconds. What is between two readings is exact for the leakage of that moment.
 */
export interface Formed {
  readonly told: readonly ReformJudgement[]
  readonly verdict: ReformJudgement['verdict']
  readonly code: ReformJudgement['code']
  /** As it really is at the moment of the verdict: volts, leakage there, and what it would leak at the last volts. */
  readonly truth: Truth & { readonly atTop_A: number }
  /** Where it was given up: as it would be had it been held at the last volts for what was left of the night. */
  readonly heldOn: Truth | null
  readonly hours: number
}

export interface Truth {
  readonly volts: number
  readonly leak_A: number
  /** How long its oxide has been breaking down, s. */
  readonly over_s: number
}

export interface Bench {
  readonly supply: ReformPlan['supply']
  readonly meter: ReformPart['meter_error']
  /** What each really is: a factor and a zero error, within what is stated. */
  readonly off: {
    readonly supply: readonly [number, number]
    readonly meter: readonly [number, number]
    readonly feed: number
  }
}

export const formingChannel: Channel = {
  number: 1,
  feeds: 'HT',
  role: 'HT',
  max_V: 480,
  max_A: 0.3,
  resolution_V: 0.1,
  resolution_A: 1e-5,
  set_digits_V: 1,
  set_digits_A: 4,
  accuracy_V: { of_reading: 0.001, plus: 0.2 },
  accuracy_A: { of_reading: 0.002, plus: 2e-5 },
  min_V: 0,
  min_A: 0.001,
  over_voltage: true,
  over_voltage_margin_V: 4,
  output_F: 47e-6,
  lead_ohm: 0.2,
  remote_sense: false,
  sinks: false,
  bleeder_ohm: 22_000,
  off_order: 10,
  bias_release: { below_V: 60, after_s: 300 },
}

export function formingPart(
  given: Partial<ReformPart> & Pick<ReformPart, 'F' | 'rated_V'>,
  bench: Bench,
): ReformPart {
  const part = {
    name: 'C1',
    parts: ['C1'],
    joined: 'alone' as const,
    most_V: given.rated_V,
    cans: [],
    feed_ohm: 100_000,
    feed_error: 0.01,
    feed_rated_W: 5,
    meter: 'meter C1',
    across: 'part' as const,
    meter_ohm: 1e7,
    meter_error: bench.meter,
    case: null,
    formed_V: 0,
    limit: limitOf('period', given.F, given.rated_V, given.rated_V),
    ...given,
  }
  return { ...part, resolves_A: resolves_A(part, bench.supply, given.rated_V, part.limit.amps) }
}

export function formingPlan(part: ReformPart, bench: Bench, more: Partial<ReformPlan> = {}): ReformPlan {
  return {
    rail: 'HT',
    channel: 'high.out',
    parts: [part],
    top_V: part.rated_V,
    rung_V: part.rated_V / 20,
    heat_W: 0.5,
    top_s: 4 * 3600,
    rest_s: 1800,
    supply: bench.supply,
    said: [],
    ...more,
  }
}

export function stepsOf(plan: ReformPlan): readonly Step[] {
  const steps = new ReformSteps({ plan, name: plan.channel, channel: formingChannel, timeout_s: 600 })
  steps.build(false)
  return steps.all.filter(({ reform, do: act }) => reform !== undefined || act === 'hold' || act === 'lower')
}

const brisk_s = 0.2
const seldom_s = 5

/** @param F - what it really has; `noise` of the readings, in parts of their resolution. */
export function formOne(
  plan: ReformPlan,
  F: number,
  oxide: Oxide,
  bench: Bench,
  chance: Chance,
  noise = 0.3,
  budget_s = 24 * 3600,
): Formed {
  const [part] = plan.parts
  if (part === undefined) throw new Error('a plan without parts')
  let watch: PartWatch = watchPart(part)
  let t_us = 0
  let set_V = 0
  let V = 0
  let reach_V = 0
  let formed_V = 0
  const told: ReformJudgement[] = []
  const ohm = part.feed_ohm * bench.off.feed
  const shown = (value: number, [gain, zero]: readonly [number, number], resolution: number): number =>
    Math.round((value * gain + zero + noise * resolution * chance.normal()) / resolution) * resolution
  const leaks = (at_V: number): number => leakage_S(oxide, at_V) * at_V
  const pass = (s: number): void => {
    const S = 1 / ohm + leakage_S(oxide, V) + 1 / part.meter_ohm
    const rest = set_V / ohm / S
    V = rest + (V - rest) * Math.exp((-s * S) / F)
    form(oxide, V, s)
    t_us += Math.round(s * 1e6)
  }
  const steps = stepsOf(plan)
  const lowest = steps.find(({ reform }) => reform !== undefined)
  const read = (left_s: number): ReformJudgement | null => {
    watch = seeSupply(watch, shown(set_V, bench.off.supply, plan.supply.resolution), t_us)
    const seen = seeMeter(watch, shown(V, bench.off.meter, part.meter_error.resolution), t_us, plan, left_s)
    watch = seen.watch
    if (seen.told !== null) told.push(seen.told)
    return seen.told
  }
  const truth = (): Truth => ({ volts: V, leak_A: leaks(V), over_s: oxide.runs_away?.over_s ?? 0 })
  const ended = (verdict: Formed['verdict'], code: Formed['code']): Formed => {
    const found = {
      told,
      verdict,
      code,
      truth: { ...truth(), atTop_A: leaks(plan.top_V) },
      hours: t_us / 3.6e9,
    }
    if (code === null) return { ...found, heldOn: null }
    set_V = plan.top_V
    const until_us = Math.max(1e6 * (budget_s - plan.rest_s), t_us + 1e6 * plan.top_s)
    while (t_us < until_us) pass(60)
    return { ...found, heldOn: truth() }
  }
  for (let i = 0; i < 10; i++) {
    pass(brisk_s)
    read(0)
  }
  for (const step of steps) {
    if (step.reform === undefined) {
      watch = letGo(watch)
      set_V = 0
      for (let s = 0; s < Math.max(60, step.hold_s); s += seldom_s) {
        pass(seldom_s)
        read(0)
      }
      continue
    }
    const passes = step.reform.what === 'rung' && step !== lowest
    if (passes && step.target_V < Math.max(reach_V, formed_V) - 0.5 * plan.rung_V) continue
    const rest_s = steps
      .filter(({ index }) => index > step.index)
      .reduce((sum, { hold_s }) => sum + hold_s, 0)
    watch = beginRamp(watch, step.target_V)
    while (set_V < step.target_V) {
      set_V = Math.min(step.target_V, set_V + step.slew_V_per_s * brisk_s)
      pass(brisk_s)
      read(0)
    }
    watch = beginHold(watch, step.index, step.reform, step.target_V, t_us)
    const from_us = t_us
    for (;;) {
      const dense_s = 90 + 8 * part.feed_ohm * part.F
      pass(t_us - from_us < dense_s * 1e6 ? brisk_s : seldom_s)
      const said = read(Math.max(0, budget_s - t_us / 1e6 - rest_s))
      if (said?.verdict != null) return ended(said.verdict, said.code)
      if (said?.act === 'go on') {
        reach_V = said.reach_V
        formed_V = Math.max(formed_V, step.target_V)
        break
      }
      if (t_us > 1e6 * budget_s) return ended(null, null)
    }
  }
  return ended(null, null)
}
