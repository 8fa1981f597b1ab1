import type { Step } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { heaterFits } from './heater-fits.js'
import { leastOf } from './in-force.js'
import { heatersOpen } from './open-heaters.js'
import { ask, confirm } from './prompts.js'
import { record } from './send.js'
import type { Draft } from './state.js'
import { us } from './state.js'

/** Heaters that draw less than they should while HT waits for them: asked about at once, never waited for in silence. */

/** Readings that must agree before a person is called. */
const readings = 3
const within_us = us(1)

/** Asks where a heater rail draws less than passes unasked; true while that question holds the step. */
export function heatersLow(d: Draft, step: Step): boolean {
  for (const name of new Set(d.s.plan.heaters.map(({ rail }) => rail))) {
    const limits = step.limits[name]
    const state = d.s.rails[name]
    if (!limits || !state?.energised || state.good_since_us !== null || state.A === null) continue
    const least_A = leastOf(d.s, name, limits)
    const late = state.recent.filter((sample) => sample.t_us > d.s.t_us - within_us)
    if (late.length < readings || late.some(({ value }) => value >= least_A)) continue
    if (d.s.prompt) return true
    const measured = state.A.value
    if (heatersOpen(d, name, measured, limits)) return true
    const fits = heaterFits(d, name, measured - limits.expected_A)
    const text = `${name} draw ${formatShort(measured, 'A')} where ${formatShort(limits.expected_A, 'A')} is expected and ${formatShort(least_A, 'A')} is the least that passes unasked${fits === '' ? '' : `: ${fits}`}. ${step.rail ?? 'HT'} does not rise meanwhile. Look which do not glow or warm. Go on, or stop?`
    record(d, 'judgement', text, { rail: name, data: { measured, least_A, expected_A: limits.expected_A } })
    ask(d, { kind: 'weak', rail: name }, confirm(text, `below-ask ${name}`))
    return true
  }
  return false
}
