import type { LineConfig } from '../line/index.js'
import { debounce, type OffPlan, type Plan, type Rule } from '../plan/index.js'

/**
 * A plan for a run clock that goes `speed` times faster than life (virtual bench only). What belongs to the set and the supplies
 * stays: slews, holds, warm-up. What belongs to the real computer, its line and the person answering is stretched, so that it
 * stays the same in real time; a condition that must last is given no less real time than the debounce has in life, or a busy
 * machine would trip on its own delays.
 */
export function planAtSpeed(plan: Plan, speed: number): Plan {
  if (speed === 1) return plan
  return {
    ...plan,
    pace: speed,
    stale_s: plan.stale_s * speed,
    rails: Object.fromEntries(
      Object.entries(plan.rails).map(([name, rail]) => [
        name,
        { ...staleAtSpeed(rail, speed), bias: rail.bias && staleAtSpeed(rail.bias, speed) },
      ]),
    ),
    meters: Object.fromEntries(
      Object.entries(plan.meters).map(([name, { watch, ...meter }]) => [
        name,
        { ...meter, ...(watch !== undefined && { watch: staleAtSpeed(watch, speed) }) },
      ]),
    ),
    off: offAtSpeed(plan.off, speed),
    prompt_timeout_s: plan.prompt_timeout_s * speed,
    time_budget_s: plan.time_budget_s * speed,
    rules: plan.rules.map((rule) => ruleAtSpeed(rule, speed)),
    steps: plan.steps.map((step) =>
      step.ask === null ? step : { ...step, ask: { ...step.ask, timeout_s: step.ask.timeout_s * speed } },
    ),
  }
}

/** As the plan: how old a reading may be is the computer's and the line's. */
export function offAtSpeed(off: OffPlan, speed: number): OffPlan {
  if (speed === 1) return off
  return {
    ...off,
    stale_s: off.stale_s * speed,
    channels: off.channels.map((channel) => staleAtSpeed(channel, speed)),
    knobs: off.knobs && off.knobs.map((knob) => staleAtSpeed(knob, speed)),
  }
}

function staleAtSpeed<T extends { readonly stale_s?: number; readonly on_stale_s?: number }>(
  one: T,
  speed: number,
): T {
  return {
    ...one,
    ...(one.stale_s !== undefined && { stale_s: one.stale_s * speed }),
    ...(one.on_stale_s !== undefined && { on_stale_s: one.on_stale_s * speed }),
  }
}

const stretched: ReadonlySet<string> = new Set(['stale', 'prompt-timeout', 'time-budget', 'recorder-lost'])

function ruleAtSpeed(rule: Rule, speed: number): Rule {
  const times = stretched.has(rule.code) ? speed : 1
  const for_s = rule.for_s === 0 ? 0 : Math.max(rule.for_s, debounce.s * speed)
  if (times === 1 && for_s === rule.for_s) return rule
  return {
    ...rule,
    warn: rule.warn === null ? null : rule.warn * times,
    trip: rule.trip === null ? null : rule.trip * times,
    for_s,
    source: `${rule.source}; stretched for this run at ${speed} × life`,
  }
}

export function configAtSpeed(config: LineConfig, speed: number): LineConfig {
  return speed === 1 ? config : { ...config, reply_us: config.reply_us * speed }
}
