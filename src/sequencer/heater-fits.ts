import type { HeaterSign } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { limitsNow } from './in-force.js'
import type { Draft } from './state.js'
import { resolution } from './state.js'

/**
 * Which single faults of the heaters would change a rail's current by this much, by what the plan computed for its volts.
 * Half the width of the healthy band is what may hide in it; nothing is said of a smaller difference.
 */
export function heaterFits(d: Draft, name: string, difference_A: number): string {
  const limits = limitsNow(d.s, name)
  const rail = d.s.plan.rails[name]
  if (!limits || rail?.role !== 'heater') return ''
  const raised = d.s.plan.steps.filter((step) => step.do === 'raise' && step.rail === name)
  const signs = raised.findLast(({ target_V }) => target_V === limits.at_V)?.limits[name]?.signs ?? []
  const hidden_A = Math.max((limits.upper_A - limits.lower_A) / 2, 3 * resolution(d.s, rail).A)
  if (signs.length === 0 || Math.abs(difference_A) <= hidden_A) return ''
  const off = `${formatShort(Math.abs(difference_A), 'A')} ${difference_A < 0 ? 'less' : 'more'} than expected`
  const fits = signs.filter(({ change_A }) => Math.abs(change_A - difference_A) <= hidden_A)
  // What opens or shorts by itself comes before what somebody must have put in.
  const byItself = fits.filter(({ what }) => what !== 'wrong rating')
  const told = byItself.length > 0 ? byItself : fits
  if (told.length === 0)
    return `${off} fits no single heater open, shorted or of another rating: several at once, or a weak contact`
  return `${off} is what ${told.map(faultWords).join('; or ')} makes`
}

function faultWords({ of, chains, parts }: HeaterSign): string {
  const last = chains.at(-1) ?? ''
  const where = chains.length > 1 ? `${chains.slice(0, -1).join(', ')} or ${last}` : last
  return `${of} in chain ${where} (${parts.join(', ')})`
}
