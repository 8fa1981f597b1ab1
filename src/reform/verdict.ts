import type { ReformFigures, ReformJudgement, ReformPart, ReformPlan } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { capacitance, marginalFrom } from './limits.js'

/** What may be missing of the last volts where a part is called good (our choice). */
const mostOfVolts = 0.9

type Verdict = NonNullable<ReformJudgement['verdict']>

/** Good, marginal or replace, by leakage and by capacitance, the worse of both; with what it was held against and at what volts. */
export function verdictOf(
  part: ReformPart,
  { top_V }: Pick<ReformPlan, 'top_V'>,
  figures: ReformFigures,
): { readonly verdict: Verdict; readonly text: string } {
  const { leak_A, F, F_error, volts, limit_A, resolves_A } = figures
  if (leak_A === null) return { verdict: 'not judged', text: 'its leakage was never read' }
  if (resolves_A > limit_A)
    return {
      verdict: 'not judged',
      text: `the bench tells ${formatShort(resolves_A, 'A')} at best, and it is held against ${formatShort(limit_A, 'A')}`,
    }
  const byLeak: Verdict = leak_A > limit_A ? 'replace' : leak_A > marginalFrom * limit_A ? 'marginal' : 'good'
  const ratio = F === null ? null : F / part.F
  const byF: Verdict =
    ratio === null || ratio < capacitance.replace
      ? ratio === null
        ? 'marginal'
        : 'replace'
      : ratio < capacitance.low || ratio > capacitance.high
        ? 'marginal'
        : 'good'
  // Behind its feed resistor a leaky part never sees the last volts, and would leak more there: nothing is extrapolated.
  const short = volts < mostOfVolts * top_V
  const byBoth = byLeak === 'replace' || byF === 'replace' ? 'replace' : byLeak === 'good' ? byF : byLeak
  const verdict = byBoth === 'good' && short ? 'marginal' : byBoth
  const leak = `leaks ${formatShort(leak_A, 'A')} at ${formatShort(volts, 'V')}, ${Math.round((100 * leak_A) / limit_A)} % of its limit (told apart: ${formatShort(resolves_A, 'A')})`
  const size =
    F === null || ratio === null
      ? 'its capacitance could not be measured'
      : `${formatShort(F, 'F')} ± ${formatShort(F_error ?? 0, 'F')}, ${Math.round(100 * ratio)} % of what is marked${ratio < capacitance.low ? ': dried out' : ratio > capacitance.high ? ': far more than marked' : ''}`
  const reached = short
    ? `; it came to ${formatShort(volts, 'V')} of ${formatShort(top_V, 'V')} only: a smaller feed resistor, fitted by hand with the supply off, would tell more`
    : ''
  return { verdict, text: `${leak}; ${size}${reached}` }
}
