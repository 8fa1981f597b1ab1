import { formatShort, parseQuantity } from '../quantities/index.js'
import { open_ohm } from './check.js'
import type { ColdCheck, ColdValue, ColdVerdict } from './types.js'

export interface Judged {
  readonly ok: true
  /** In the check's own unit. */
  readonly value: ColdValue
  readonly verdict: ColdVerdict
  /** The reading, what was wanted, and why, in a sentence or two. */
  readonly text: string
}
export interface Unread {
  readonly ok: false
  readonly problem: string
  readonly remedy: string
}

/** What a person typed of one check, in its unit and judged. */
export function judgeReading(check: ColdCheck, written: string): Judged | Unread {
  const value = valueOf(check, written.trim())
  if (typeof value === 'object') return value
  return { ok: true, value, ...judgeValue(check, value) }
}

/** The same of a reading that was kept: windows may have changed with the set's file since. */
export function judgeValue(
  check: ColdCheck,
  value: ColdValue,
): { readonly verdict: ColdVerdict; readonly text: string } {
  const verdict = verdictOf(check, value)
  const how =
    verdict === 'in range'
      ? ''
      : verdict === 'marginal'
        ? ' In the window, but near its end.'
        : ` OUT OF RANGE: ${sentence(check.because)}`
  return { verdict, text: `${valueText(check.unit, value)}; wanted: ${check.wanted}.${how}` }
}

function verdictOf({ low, high, near_low, near_high, kind }: ColdCheck, value: ColdValue): ColdVerdict {
  if (typeof value === 'string' || kind === 'look') return value === 'good' ? 'in range' : 'out of range'
  // Not a number is never a pass.
  if (!(value >= (low ?? -Infinity) && value <= (high ?? Infinity))) return 'out of range'
  return (near_low !== null && value < near_low) || (near_high !== null && value > near_high)
    ? 'marginal'
    : 'in range'
}

export function valueText(unit: ColdCheck['unit'], value: ColdValue): string {
  if (typeof value === 'string') return value
  return unit === 'Ω' && value >= open_ohm ? 'open' : formatShort(value, unit ?? 'Ω')
}

function valueOf(check: ColdCheck, written: string): ColdValue | Unread {
  if (check.kind === 'look') {
    if (written === 'good' || written === 'bad') return written
    return { ok: false, problem: `'${written}' is no answer`, remedy: 'answer good or bad' }
  }
  if (check.unit === 'Ω' && /^(?:ol|o\.l|open|inf|∞)$/i.test(written)) return open_ohm
  const unit = check.unit ?? 'Ω'
  const read = parseQuantity(written, unit)
  if (read.ok) {
    if (unit === 'Ω' && read.value < 0)
      return {
        ok: false,
        problem: `${written} is less than nothing`,
        remedy: 'look for charge in the circuit: an ohmmeter that shows a minus measures volts',
      }
    return read.value
  }
  const volts = check.volts === null ? null : parseQuantity(written, 'V')
  if (check.volts === null || volts === null || !volts.ok)
    return { ok: false, problem: read.problem, remedy: read.remedy }
  const V = Math.abs(volts.value)
  if (check.volts.by === 'current') return V / check.volts.A
  const { test_V, meter_ohm } = check.volts
  return V === 0 ? open_ohm : Math.max(0, meter_ohm * (test_V / V - 1))
}

const sentence = (text: string): string => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`
