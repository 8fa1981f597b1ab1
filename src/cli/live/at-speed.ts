import type { LineConfig } from '../../line/index.js'
import type { Plan, Rule } from '../../plan/index.js'

/**
 * A plan for a run clock that goes `speed` times faster than life (virtual bench only). What belongs to the set and the supplies
 * stays: slews, holds, warm-up, debounce. What belongs to the real computer, its line and the person answering is stretched, so
 * that it stays the same in real time.
 */
export function planAtSpeed(plan: Plan, speed: number): Plan {
  if (speed === 1) return plan
  return {
    ...plan,
    stale_s: plan.stale_s * speed,
    prompt_timeout_s: plan.prompt_timeout_s * speed,
    time_budget_s: plan.time_budget_s * speed,
    rules: plan.rules.map((rule) => ruleAtSpeed(rule, speed)),
    steps: plan.steps.map((step) =>
      step.ask === null ? step : { ...step, ask: { ...step.ask, timeout_s: step.ask.timeout_s * speed } },
    ),
  }
}

const stretched: ReadonlySet<string> = new Set(['stale', 'prompt-timeout', 'time-budget'])

function ruleAtSpeed(rule: Rule, speed: number): Rule {
  if (!stretched.has(rule.code)) return rule
  return {
    ...rule,
    warn: rule.warn === null ? null : rule.warn * speed,
    trip: rule.trip === null ? null : rule.trip * speed,
    source: `${rule.source}; × ${speed} for this accelerated run`,
  }
}

export function configAtSpeed(config: LineConfig, speed: number): LineConfig {
  return speed === 1 ? config : { ...config, reply_us: config.reply_us * speed }
}
