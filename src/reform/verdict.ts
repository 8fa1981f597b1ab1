import type { ReformFigures, ReformJudgement, ReformPart, ReformPlan } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { capacitance, marginalFrom } from './limits.js'

/** What may be missing of the last volts, and of what is marked, where a part is called good (our choice). */
const mostOfVolts = 0.9
export const mostOfRated = 0.85

type Verdict = NonNullable<ReformJudgement['verdict']>

/**
 * Good, marginal or replace, by leakage and by capacitance, the worse of both; with what it was held against and at what volts.
 * `climbs`: its leakage still went up at the end.
 */
export function verdictOf(
  part: ReformPart,
  { top_V }: Pick<ReformPlan, 'top_V'>,
  figures: ReformFigures,
  climbs = false,
): { readonly verdict: Verdict; readonly text: string } {
  const { leak_A, volts, limit_A, resolves_A } = figures
  if (leak_A === null) return { verdict: 'not judged', text: 'its leakage was never read' }
  if (resolves_A > limit_A)
    return {
      verdict: 'not judged',
      text: `the bench tells ${formatShort(resolves_A, 'A')} at best, and it is held against ${formatShort(limit_A, 'A')}`,
    }
  // No part gives current: what reads so says nothing of any.
  if (leak_A < -resolves_A)
    return {
      verdict: 'not judged',
      text: `it reads as leaking ${formatShort(leak_A, 'A')} at ${formatShort(volts, 'V')}, and no part gives current; the bench should tell ${formatShort(resolves_A, 'A')} apart. An instrument, a feed resistor or a figure in the bench file is wrong: compare supply and meter with another`,
    }
  const byLeak: Verdict = leak_A > limit_A ? 'replace' : leak_A > marginalFrom * limit_A ? 'marginal' : 'good'
  const { verdict: byF, text: size } = bySize(part, figures)
  // Behind its feed resistor a leaky part never sees the last volts, and would leak more there: nothing is extrapolated.
  const short = volts < mostOfVolts * top_V
  const low = volts < mostOfRated * part.rated_V
  const byBoth = byLeak === 'replace' || byF === 'replace' ? 'replace' : byLeak === 'good' ? byF : byLeak
  const verdict = byBoth === 'good' && (short || low || climbs) ? 'marginal' : byBoth
  const leak = `leaks ${formatShort(leak_A, 'A')} at ${formatShort(volts, 'V')}${low ? ` of the ${formatShort(part.rated_V, 'V')} that it is rated for, so that nothing is known of more` : ''}, ${Math.round((100 * leak_A) / limit_A)} % of its limit${low ? ' at rated volts' : ''} (told apart: ${formatShort(resolves_A, 'A')})`
  const climbed = climbs ? '; it was still climbing, where a sound part falls or stands' : ''
  const reached = short
    ? `; it came to ${formatShort(volts, 'V')} of ${formatShort(top_V, 'V')} only, the rest is lost in its feed resistor: formed for longer it may come nearer${part.next_feed === undefined ? ', or behind a second, smaller one (then: in the profile), put in by hand' : ''}`
    : ''
  return { verdict, text: `${leak}${climbed}; ${size}${reached}` }
}

function bySize(
  { F: marked_F, joined }: ReformPart,
  { F, F_error, F_most }: ReformFigures,
): { readonly verdict: Verdict; readonly text: string } {
  const percent = (of: number): string => `${Math.round((100 * of) / marked_F)} % of what is marked`
  if (F === null) {
    if (F_most == null || F_most >= capacitance.low * marked_F)
      return { verdict: 'marginal', text: 'its capacitance could not be measured' }
    // Two readings tell no more apart: that it is dried out is known, and how far is not.
    if (F_most >= capacitance.replace * marked_F)
      return {
        verdict: 'marginal',
        text: `its capacitance could not be measured; it was charged sooner than ${formatShort(F_most, 'F')} would be, so that it has ${percent(F_most)} at most: dried out, and how far this bench does not tell. Read it on a capacitance meter, dead`,
      }
    return {
      verdict: 'replace',
      text: `it took no charge that could be measured: ${formatShort(F_most, 'F')} at most, ${percent(F_most)}: dried out, open inside, or its lead is off`,
    }
  }
  const ratio = F / marked_F
  const measured = `${formatShort(F, 'F')} ± ${formatShort(F_error ?? 0, 'F')}, ${percent(F)}`
  if (ratio < capacitance.low)
    return {
      verdict: ratio < capacitance.replace ? 'replace' : 'marginal',
      text: `${measured}: dried out`,
    }
  if (ratio > capacitance.high)
    return {
      verdict: 'marginal',
      text: `${measured}: far more than marked${joined === 'series' ? ', as where one of a string is shorted' : ''}`,
    }
  return { verdict: 'good', text: measured }
}
