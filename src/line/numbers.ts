import { type Decimal, most_n } from '../exchange/index.js'

/**
 * NR1, NR2 and NR3 of IEEE 488.2 (integer; explicit point; point and exponent), sign optional, one pattern anchored at
 * both ends. Nothing else is a number: no comma, no hexadecimal, no second point, no word.
 */
const pattern = /^([+-]?)(\d{1,24})?(?:\.(\d{0,24}))?(?:[eE]([+-]?\d{1,3}))?$/

/** Digits a reading may carry. */
const most_digits = String(most_n).length
/** Finer than 10^-15 of a volt or an amp is no reading of a bench instrument: such digits are dropped. */
const finest = 15

/** Neither begins nor ends with what `parseNumber` takes off. */
function isBare(text: string): boolean {
  const first = text.charCodeAt(0)
  const last = text.charCodeAt(text.length - 1)
  return first !== 0x20 && first !== 0x09 && last !== 0x20 && last !== 0x09 && last !== 0x0d
}

/** Digits with one point among them, a sign before them or none, as nearly all readings are; null for whatever else. */
function plainNumber(text: string): Decimal | null {
  const sign = text.charCodeAt(0)
  const from = sign === 0x2b || sign === 0x2d ? 1 : 0
  if (text.length - from > most_digits) return null
  let n = 0
  let point = -1
  for (let at = from; at < text.length; at++) {
    const code = text.charCodeAt(at)
    if (code === 0x2e && point < 0) point = at
    else if (code >= 0x30 && code <= 0x39) n = 10 * n + (code - 0x30)
    else return null
  }
  const digits = text.length - from - (point < 0 ? 0 : 1)
  if (digits < 1) return null
  return { n: sign === 0x2d && n !== 0 ? -n : n, k: point < 0 ? 0 : text.length - 1 - point }
}

/**
 * A reply as a decimal, exactly as printed: value = n / 10^k. Null when the text is not a number, or is one of the
 * SCPI-1999 words for "no number" (9.91E37) and "infinity" (9.9E37), or has more digits than can be kept.
 * `unit`: a unit letter that may be glued to the number, null where none may be.
 */
export function parseNumber(text: string, unit: 'V' | 'A' | 'C' | null = null): Decimal | null {
  const trimmed = isBare(text) ? text : text.replace(/^[ \t]+|[ \t\r]+$/g, '')
  const bare = unit !== null && trimmed.endsWith(unit) ? trimmed.slice(0, -1).trimEnd() : trimmed
  const plain = plainNumber(bare)
  if (plain !== null) return plain
  const match = pattern.exec(bare)
  if (match === null) return null
  const [, sign = '', whole = '', fraction = '', exponent = '0'] = match
  if (whole === '' && fraction === '') return null
  let digits = (whole + fraction).replace(/^0+/, '')
  let k = fraction.length - Number(exponent)
  if (digits === '') return { n: 0, k: Math.max(0, Math.min(k, finest)) }
  if (k < 0) {
    // Nothing above 10^15 is a reading; it also keeps out ±9.9E37 and 9.91E37, which are finite to JavaScript.
    if (digits.length - k > most_digits) return null
    digits += '0'.repeat(-k)
    k = 0
  }
  if (k > finest) {
    digits = digits.slice(0, Math.max(0, digits.length - (k - finest)))
    k = finest
  }
  if (digits.length > most_digits) return null
  const n = digits === '' ? 0 : Number(digits)
  return { n: sign === '-' && n !== 0 ? -n : n, k }
}

/**
 * A fixed-point number for a set command: base unit, no exponent, no sign, cut (never rounded up) at `digits` after the
 * point, so that neither a cut-off tail nor our own rounding is ever larger than what was asked. Null when the value
 * cannot be said: negative, not finite, or beyond a million.
 */
export function fixedPoint(value: number, digits: number): string | null {
  if (!(value >= 0 && value < 1e6)) return null
  // Eight guard digits take back the binary error of 0.3 before the cut.
  const long = value.toFixed(Math.min(digits + 8, 20))
  const point = long.indexOf('.')
  return digits === 0 ? long.slice(0, point) : long.slice(0, point + 1 + digits)
}

/** `0`, `1`, `OFF`, `ON`; null for anything else. */
export function parseSwitch(text: string): boolean | null {
  const word = text.trim().toUpperCase()
  if (word === '1' || word === '+1' || word === 'ON') return true
  if (word === '0' || word === '+0' || word === 'OFF') return false
  return null
}

/** A status register as a whole number 0 … 65535; null for anything else. */
export function parseRegister(text: string): number | null {
  const match = /^\+?(\d{1,5})$/.exec(text.trim())
  if (match === null) return null
  const value = Number(match[1])
  return value <= 65535 ? value : null
}

/** The answer to the error query: `0,"No error"`, `-222,"Data out of range"`; null when it is not one. */
export function parseError(text: string): { readonly code: number; readonly text: string } | null {
  const match = /^([+-]?\d{1,5})(?:\s*,\s*"([\x20-\x7e]*)")?$/.exec(text.trim())
  return match === null ? null : { code: Number(match[1]) + 0, text: match[2] ?? '' }
}

/** The answer inside what a dialect puts around it (`VOLT {x}`); null when that is not there. */
export function answerIn(text: string, around: string | null): string | null {
  if (around === null) return text
  const [before = '', after = ''] = around.split('{x}').map((part) => part.trim())
  const said = text.trim()
  if (said.length < before.length + after.length || !said.startsWith(before) || !said.endsWith(after))
    return null
  return said.slice(before.length, said.length - after.length).trim()
}
