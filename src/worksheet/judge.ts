import { formatShort, parseQuantity } from '../quantities/index.js'
import { open_ohm } from './check.js'
import { gridShift_V } from './leak.js'
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
        : ` OUT OF RANGE: ${sentence(check.because)}${shiftWords(check, value)}`
  return { verdict, text: `${valueText(check.unit, value)}; wanted: ${check.wanted}.${how}` }
}

/** What this very leak does, beside what the limit is for. */
function shiftWords({ shifts, unit }: ColdCheck, value: ColdValue): string {
  if (shifts === undefined || typeof value === 'string') return ''
  return ` ${valueText(unit, value)} shifts it by ${formatShort(gridShift_V(shifts.V, shifts.grid_ohm, value), 'V')}.`
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
  const { volts: by } = check
  const [figure = '', ohms] = by?.by === 'series meter' ? written.split(/ at | ?@ ?/) : [written]
  const volts = by === null ? null : parseQuantity(figure, 'V')
  if (by === null || volts === null || !volts.ok)
    return { ok: false, problem: read.problem, remedy: read.remedy }
  const V = Math.abs(volts.value)
  return by.by === 'current' ? V / by.A : leakOf(by.test_V, V, ohms)
}

/** What of the test volts the meter in series does not show stands across the leak. */
function leakOf(test_V: number, V: number, ohms: string | undefined): ColdValue | Unread {
  const together = `type both, as "${formatShort(V, 'V')} at 10 MΩ" (most digital meters are 10 MΩ; a needle's: its ohms per volt times the volts of its range), or type ohms`
  if (ohms === undefined)
    return {
      ok: false,
      problem: `${formatShort(V, 'V')} on a meter in series say nothing without that meter's own resistance: it is what measures, and with another one the same volts are another leak`,
      remedy: together,
    }
  const meter = parseQuantity(ohms, 'Ω')
  if (!meter.ok || !(meter.value > 0))
    return { ok: false, problem: `'${ohms}' is no resistance of a meter`, remedy: together }
  return V === 0 ? open_ohm : Math.max(0, meter.value * (test_V / V - 1))
}

const sentence = (text: string): string => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`
