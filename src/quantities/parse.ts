import { capacitorLetters, resistorLetters, suffixes, unitWords, type Unit } from './units.js'

/** Either the value in the unit itself, or what is wrong and what would be right. */
export type Parsed =
  | { readonly ok: true; readonly value: number }
  | { readonly ok: false; readonly problem: string; readonly remedy: string }

/** Longer than any quantity a person writes; longer text is refused unread. */
const longest = 64

const number = /^([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))(?:[eE]([+-]?[0-9]{1,2}))? ?([^0-9+\-.,\s][^\s]*)?$/
const letterCode = /^([+-]?)([0-9]*)([RkKMGpnuF])([0-9]*) ?(Ω|ohms?|F)?$/

/**
 * Loose pattern of a quantity of this unit, for editors and exported schemas: a number and a suffix, or an IEC 60062 code.
 * `parseQuantity` is stricter.
 */
export function quantityPattern(unit: Unit): RegExp {
  return patterns[unit === 'Ω' || unit === 'F' ? 'coded' : unit === 'ratio' ? 'ratio' : 'plain']
}
// The look-ahead bounds the length first, so that no text makes the rest go back and forth without end.
const patterns = {
  coded:
    /^(?![\s\S]{65})\s*[+\-\u2212]?[0-9.]*(?:[eE][+-]?[0-9]+)?\s*[A-Za-z\u00b5\u03bc\u03a9\u2126]+[0-9]*\s*[A-Za-z\u03a9\u2126]*\s*$/,
  ratio: /^(?![\s\S]{65})\s*[+\-\u2212]?[0-9.]+(?:[eE][+-]?[0-9]+)?\s*%?\s*$/,
  plain:
    /^(?![\s\S]{65})\s*[+\-\u2212]?[0-9.]+(?:[eE][+-]?[0-9]+)?\s*\u00b0?[A-Za-z\u00b5\u03bc]+(?:\/[A-Za-z]+)?\s*$/,
}

/**
 * Reads what a person writes: `250 V`, `45 mA`, `16uF`, `4k7`, `2M2`, `4R7`, `10 min`, `2 V/s`, `5 %`.
 * A bare number is refused wherever a unit matters; nothing is ever guessed. Resistor and capacitor codes after IEC 60062.
 */
export function parseQuantity(input: string | number, unit: Unit): Parsed {
  const { measures, example } = unitWords[unit]
  if (typeof input === 'number') {
    if (unit === 'ratio' && Number.isFinite(input)) return { ok: true, value: input }
    return refuse(
      `${String(input)} has no unit; ${measures} is wanted here`,
      unit === 'Ω'
        ? `write the unit with it, such as ${String(input)} Ω or ${String(input)} kΩ`
        : `write the unit with it, such as ${example}`,
    )
  }
  if (input.length > longest)
    return refuse('this is too long for a quantity', `write ${measures} such as ${example}`)
  const text = normalise(input)
  const shown = `'${input.trim()}'`
  if (text === '')
    return refuse(`nothing is written here; ${measures} is wanted`, `write for example ${example}`)
  if (/^[+-]?[0-9]+,[0-9]/.test(text))
    return refuse(
      `${shown} has a comma in the number`,
      'write a decimal point, and no separators of thousands',
    )

  const coded = codeOf(text, unit)
  if (coded !== null) return finite(coded, shown, example)

  const match = number.exec(text)
  if (match === null)
    return refuse(`${shown} is not ${measures}`, `write a number with its unit, such as ${example}`)
  const [, digits = '', power = '0', suffix = ''] = match
  const table = suffixes[unit]
  if (suffix === '') {
    if (unit === 'ratio') return finite(scaled(digits, Number(power)), shown, example)
    return refuse(
      `${shown} has no unit; ${measures} is wanted here`,
      `write the unit with it, such as ${example}`,
    )
  }
  const known = table.get(suffix)
  if (known !== undefined)
    return finite(scaled(digits, Number(power) + known.exponent) * known.times, shown, example)
  return refuse(...explain(suffix, digits, unit, shown))
}

function explain(
  suffix: string,
  digits: string,
  unit: Unit,
  shown: string,
): [problem: string, remedy: string] {
  const { measures, example } = unitWords[unit]
  if (unit === 'F' && /^(?:mf|mfd|mF|MF|MFD|Mfd|uuF|mmf|mmfd|MMF|MMFD)$/.test(suffix))
    return [
      `'${suffix}' in ${shown} has two meanings: old parts lists write it for microfarads (or picofarads), SI for millifarads`,
      `write ${digits} µF or ${digits} pF`,
    ]
  if (unit === 'A' && suffix === 'MA') return [`'MA' in ${shown} would be megaamps`, `write ${digits} mA`]
  for (const [other, table] of Object.entries(suffixes)) {
    const is = other as Unit
    if (is !== unit && table.has(suffix))
      return [
        `${shown} is ${unitWords[is].measures}; ${measures} is wanted here`,
        `write it such as ${example}`,
      ]
  }
  if (/^[A-Za-z][0-9]+$/.test(suffix))
    return [`${shown} is a resistor or capacitor code, not ${measures}`, `write it such as ${example}`]
  const near = [...suffixes[unit].keys()].find((known) => known.toLowerCase() === suffix.toLowerCase())
  return near === undefined
    ? [`'${suffix}' in ${shown} is no unit of ${measures}`, `write it such as ${example}`]
    : [`'${suffix}' in ${shown} is not spelt as a unit`, `write ${digits} ${near.replace(/^u/, 'µ')}`]
}

/** One spelling for the look-alikes: µ and μ, Ω and the ohm sign, minus signs, hard spaces. */
function normalise(input: string): string {
  return input
    .replace(/[\u00b5\u03bc]/g, 'u')
    .replace(/\u2126/g, '\u03a9')
    .replace(/\u2212/g, '-')
    .replace(/[\s\u00a0\u202f\u2009]+/g, ' ')
    .trim()
}

/** IEC 60062: the letter stands where the decimal point would. Null when the text is no such code for this unit. */
function codeOf(text: string, unit: Unit): number | null {
  if (unit !== 'Ω' && unit !== 'F') return null
  const match = letterCode.exec(text)
  if (match === null) return null
  const [, sign = '', whole = '', letter = '', part = '', tail = ''] = match
  if (whole === '' && part === '') return null
  if (tail !== '' && (tail === 'F') !== (unit === 'F')) return null
  const exponent = (unit === 'Ω' ? resistorLetters : capacitorLetters)[letter]
  if (exponent === undefined) return null
  return scaled(`${sign}${whole === '' ? '0' : whole}.${part === '' ? '0' : part}`, exponent)
}

/** Decimal shift by text, so that `4k7` is the nearest number to 4700 and not a product of two roundings. */
function scaled(digits: string, exponent: number): number {
  return Number(`${digits}e${exponent}`)
}

function finite(value: number, shown: string, example: string): Parsed {
  if (Number.isFinite(value) && Math.abs(value) < 1e15) return { ok: true, value }
  return refuse(`${shown} is beyond anything on a bench`, `write a value such as ${example}`)
}

function refuse(problem: string, remedy: string): Parsed {
  return { ok: false, problem, remedy }
}
