import type { RuleCode } from '../plan/index.js'
import type { Draft, RailState, State } from './state.js'
import { currentStep, us, without } from './state.js'
import type { Broken } from './types.js'

/**
 * How a broken rule is told. Each test that can end a run calls `broke` once, with its code: that call is the mark which a
 * minimal test asserts. `worst` picks the most severe and the sequencer makes off; nothing else here acts but the OFF itself, which waits for neither.
 */

/** The written order: when several conditions are active the one further up is the reason. */
const severity: readonly RuleCode[] = [
  'invariant',
  'bias-low',
  'over-ceiling',
  'plate-lost',
  'protection',
  'over-trip',
  'hook-up',
  'current-limit',
  'rising',
  'heater-lost',
  'drive-lost',
  'key-time',
  'off-set-point',
  'slow-rise',
  'error-integral',
  'soft-start',
  'unproved',
  'given-up',
  'watched-input',
  'line-lost',
  'read-back',
  'bad-reply',
  'stale',
  'parent-lost',
  'slept',
  'late-tick',
  'recorder-lost',
  'operator',
  'prompt-timeout',
  'time-budget',
  'wont-fall',
  'below-ask',
]

export const outcomeOf: Readonly<Record<RuleCode, 'tripped' | 'failed' | 'stopped'>> = {
  'over-ceiling': 'tripped',
  'over-trip': 'tripped',
  rising: 'tripped',
  'current-limit': 'tripped',
  'off-set-point': 'tripped',
  'slow-rise': 'tripped',
  'error-integral': 'tripped',
  protection: 'tripped',
  'heater-lost': 'tripped',
  'bias-low': 'tripped',
  'drive-lost': 'tripped',
  'plate-lost': 'tripped',
  'watched-input': 'tripped',
  'hook-up': 'tripped',
  'soft-start': 'tripped',
  'key-time': 'tripped',
  'given-up': 'tripped',
  stale: 'failed',
  'bad-reply': 'failed',
  'read-back': 'failed',
  'line-lost': 'failed',
  'recorder-lost': 'failed',
  slept: 'failed',
  'late-tick': 'failed',
  'parent-lost': 'failed',
  unproved: 'failed',
  invariant: 'failed',
  'wont-fall': 'failed',
  'time-budget': 'stopped',
  'prompt-timeout': 'stopped',
  operator: 'stopped',
  'below-ask': 'stopped',
}

export interface Breach {
  readonly code: RuleCode
  readonly rail?: string
  readonly measured?: number
  readonly limit?: number
  readonly unit?: string
  readonly text: Broken['text']
}

export function broke(d: Draft, breach: Breach): void {
  offFirst(d, breach.code)
  const step = currentStep(d.s)
  d.broken.push({
    code: breach.code,
    rail: breach.rail ?? null,
    step: step ? step.index : null,
    measured: breach.measured ?? null,
    limit: breach.limit ?? null,
    unit: breach.unit ?? '',
    text: breach.text,
  })
}

/**
 * The first breach that ends a run at once sends OFF there and then: what else is wrong, which of it is the reason and its
 * words are found out while the OFF is on its way. `makeOff` in this same step takes the run off.
 */
function offFirst(d: Draft, code: RuleCode): void {
  if (d.s.phase !== 'running' || d.off_given || outcomeOf[code] === 'stopped') return
  d.off_given = true
  if (d.s.off_first.length > 0) d.off_now(d.s.off_first)
}

export function worst(reasons: readonly Broken[]): Broken | null {
  const rank = (reason: Broken): number => (severity as readonly string[]).indexOf(reason.code)
  return reasons.reduce<Broken | null>(
    (best, next) => (best === null || rank(next) < rank(best) ? next : best),
    null,
  )
}

export const inWords = (text: Broken['text']): string => (typeof text === 'string' ? text : text())

/** Threshold in force, from the plan. */
export function tripAt(s: State, code: RuleCode, otherwise: number): number {
  return ruleOf(s, code)?.trip ?? otherwise
}
export function warnAt(s: State, code: RuleCode, otherwise: number): number {
  return ruleOf(s, code)?.warn ?? otherwise
}
export function for_us(s: State, code: RuleCode, otherwise_s: number): number {
  return us(ruleOf(s, code)?.for_s ?? otherwise_s)
}
function ruleOf(s: State, code: RuleCode): State['plan']['rules'][number] | undefined {
  for (const rule of s.plan.rules) if (rule.code === code) return rule
  return undefined
}

function isEmpty(entries: Readonly<Record<string, unknown>>): boolean {
  for (const _ in entries) return false
  return true
}

/** Three samples and the rule's time in a row; `bad` false clears. One sample counts once (call on readings only). */
export function lasting(d: Draft, rail: RailState, code: RuleCode, bad: boolean, seenBy = ''): boolean {
  if (!bad && isEmpty(rail.breaking)) return false
  const key = `${code}${seenBy}`
  if (!bad) {
    if (rail.breaking[key]) rail.breaking = without(rail.breaking, key)
    return false
  }
  const before = rail.breaking[key] ?? { count: 0, since_us: d.s.t_us }
  rail.breaking = { ...rail.breaking, [key]: { count: before.count + 1, since_us: before.since_us } }
  return before.count + 1 >= 3 && d.s.t_us - before.since_us >= for_us(d.s, code, 0.3)
}
