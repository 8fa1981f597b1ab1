import type { LineFault } from '../exchange/index.js'
import type { RuleCode } from '../plan/index.js'
import type { RailPlan, Step } from '../plan/index.js'
import { broke } from './breach.js'
import { record } from './send.js'
import type { Draft, LineTrouble } from './state.js'
import { currentStep } from './state.js'

/** Nothing came, or too late; anything else came and could not be believed. */
const cameLate: ReadonlySet<LineFault> = new Set([
  'no_reply',
  'late_reply',
  'stale_reply',
  'connection_lost',
  'write_failed',
])

/**
 * Readings that stay away for `age_us` are told with what has been wrong on their line since, as the line itself told it.
 * Nothing but the code and the sentence depends on it.
 */
export function whyQuiet(
  d: Draft,
  age_us: number,
  from: readonly { readonly port: string | null }[],
): { readonly code: RuleCode; readonly text: string | null } {
  let trouble: LineTrouble | null = null
  for (const { port } of from) {
    const one = d.s.line_troubles[port ?? '']
    if (one !== undefined && one.t_us >= d.s.t_us - age_us && one.t_us >= (trouble?.t_us ?? 0)) trouble = one
  }
  if (trouble === null) return { code: 'stale', text: null }
  const { fault, text } = trouble
  return { code: cameLate.has(fault) ? 'stale' : 'bad-reply', text: text.endsWith('.') ? text : `${text}.` }
}

/** Each error of a line, in the step in which it came. */
export function noteLineError(d: Draft): void {
  const step = currentStep(d.s)
  if (step === null || d.s.phase !== 'running') return
  d.s.line_errors = { ...d.s.line_errors, [step.index]: (d.s.line_errors[step.index] ?? 0) + 1 }
}

/** One may be chance; more, with the key down and nothing else changed, is radio frequency in the leads (our choice). */
const mostErrors = 1

/** The key was down at reduced power: whether the lines were quiet meanwhile. */
export function linesWereQuiet(d: Draft, step: Step, rail: RailPlan): boolean {
  const { lines_quiet_since: since } = step
  if (since === undefined) return true
  let errors = 0
  for (const [index, count] of Object.entries(d.s.line_errors))
    if (Number(index) >= since && Number(index) < step.index) errors += count
  if (errors <= mostErrors) {
    if (d.s.lines_counted !== step.index) {
      d.s.lines_counted = step.index
      record(
        d,
        'judgement',
        `Key down at reduced power, steps ${since} to ${step.index - 1}: ${errors} line errors.`,
        {
          data: { line_errors: errors, from: since, to: step.index - 1 },
        },
      )
    }
    return true
  }
  broke(d, {
    code: 'bad-reply',
    rail: rail.name,
    measured: errors,
    limit: mostErrors,
    unit: '',
    text: `With the key down at reduced power (steps ${since} to ${step.index - 1}) the lines of the bench had ${errors} errors, where ${mostErrors} passes: radio frequency gets into their leads, and more power would blind the bench. Shorter leads, ferrite rings on each line and supply lead, the dummy load further away; then again.`,
  })
  return false
}
