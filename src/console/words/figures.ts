/** Numbers and times as the person's own locale writes them. Volts and milliamps at the bench; everything inside is SI. */

const formats = new Map<string, Intl.NumberFormat>()
function digits(value: number, after: number): string {
  const key = String(after)
  let format = formats.get(key)
  if (format === undefined) {
    format = new Intl.NumberFormat(undefined, {
      minimumFractionDigits: after,
      maximumFractionDigits: after,
      useGrouping: false,
    })
    formats.set(key, format)
  }
  // Rounded first: a minus sign before nothing but zeros would be read as a reversed lead.
  const rounded = Number(value.toFixed(after))
  return format.format(rounded === 0 ? 0 : rounded)
}

export interface Figure {
  readonly number: string
  readonly unit: string
}
const none = '–'

export function volts(value: number | null): Figure {
  return { number: value === null ? none : digits(value, Math.abs(value) < 100 ? 2 : 1), unit: 'V' }
}

/** Heater rails of more than two amps are read in A, all else in mA; the choice is the rail's, so that the unit never jumps. */
export function amps(value: number | null, inAmps: boolean): Figure {
  if (value === null) return { number: none, unit: inAmps ? 'A' : 'mA' }
  if (inAmps) return { number: digits(value, 3), unit: 'A' }
  const mA = value * 1000
  return { number: digits(mA, Math.abs(mA) < 10 ? 2 : Math.abs(mA) < 1000 ? 1 : 0), unit: 'mA' }
}

/** Lengths of wire: to the millimetre where they are cut by hand. */
export const inM = (value: number): string => `${digits(value, value < 10 ? 3 : 2)} m`

export const written = ({ number, unit }: Figure): string => `${number} ${unit}`
export const inV = (value: number | null): string => written(volts(value))
export const inA = (value: number | null, inAmps = false): string => written(amps(value, inAmps))

/** How fast a rail is raised at most. */
export const perSecond = (V: number): string => `${digits(V, V < 10 ? 2 : 1)} V/s`

/** Hours, minutes and seconds, as a clock that counts. */
export function duration(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds))
  const two = (value: number): string => String(value).padStart(2, '0')
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60]
  return h > 0 ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`
}

/** The same in words, for a screen reader and for sentences. */
export function durationWords(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds))
  if (whole < 120) return `${whole} s`
  if (whole < 7200) return `${Math.round(whole / 60)} min`
  return `${digits(whole / 3600, 1)} h`
}

const clockFormat = new Intl.DateTimeFormat(undefined, { timeStyle: 'medium' })
const dayFormat = new Intl.DateTimeFormat(undefined, { dateStyle: 'medium', timeStyle: 'short' })
export const clock = (at: Date): string => clockFormat.format(at)

/** A moment of the record, written in the person's own time. */
export function moment(iso: string | null): string {
  if (iso === null) return 'not known'
  const at = new Date(iso)
  return Number.isNaN(at.getTime()) ? iso : dayFormat.format(at)
}

/** The mark that this person's locale writes before decimals. */
const point = (1.5).toLocaleString().includes(',') ? ',' : '.'

/** Three digits after the other mark: thousands to one who reads, thousandths to another. */
export const twoMeanings = (text: string): boolean =>
  new RegExp(`^[+\\-−]?\\s*\\d{1,3}[${point === '.' ? ',' : '.'}]\\d{3}(?!\\d)`).test(text.trim())

/**
 * A figure typed by a person. Both marks are taken for the decimal one, since locales differ and a thousand parted by a comma
 * is never typed at a bench; what could mean two things is refused.
 */
export function typedNumber(text: string): number | null {
  if (twoMeanings(text)) return null
  const plain = text.trim().replace(/\s/g, '').replace('−', '-').replace(',', '.')
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain)) return null
  const value = Number(plain)
  return Number.isFinite(value) ? value : null
}

/**
 * A figure off a meter and the unit chosen beside it (`''`: none yet), as the service reads them; what has its unit in the text
 * stays as it was typed. A unit is never guessed: 5 Ω and 5 kΩ are a short and a healthy set.
 */
export function quantityTyped(
  text: string,
  unit: string,
): { readonly text: string } | { readonly wrong: string } {
  const typed = text.trim()
  if (typed === '') return { text: '' }
  if (twoMeanings(typed))
    return {
      wrong: `${typed} can mean two things a thousand times apart. Type it without a mark for thousands.`,
    }
  const value = typedNumber(typed)
  if (value !== null)
    return unit === ''
      ? { wrong: `Choose what ${typed} is in: nothing is taken without its unit.` }
      : { text: `${value} ${unit}` }
  if (/[\p{L}∞%]/u.test(typed)) return { text: typed.replace(/(\d),(\d)/, '$1.$2') }
  return {
    wrong: `${typed} is no number. Type what the meter shows, such as ${(245).toLocaleString()} or ${(3.2).toLocaleString()}.`,
  }
}
