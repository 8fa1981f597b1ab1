/**
 * Units a file or a person may use. `ratio` is a pure number, written as `5 %` or `0.05`.
 * Values are held in the unit itself: volts, amps, ohms, farads, henries, watts, seconds, volts per second, joules, hertz, siemens,
 * degrees Celsius.
 */
export type Unit = 'V' | 'A' | 'Ω' | 'F' | 'H' | 'W' | 's' | 'V/s' | 'J' | 'Hz' | 'S' | '°C' | 'ratio'

/** What the unit measures, and one right way of writing it: used in messages. */
export const unitWords: Readonly<Record<Unit, { readonly measures: string; readonly example: string }>> = {
  V: { measures: 'a voltage', example: '250 V' },
  A: { measures: 'a current', example: '45 mA' },
  Ω: { measures: 'a resistance', example: '4k7 or 4.7 kΩ' },
  F: { measures: 'a capacitance', example: '16 µF' },
  H: { measures: 'an inductance', example: '10 H' },
  W: { measures: 'a power', example: '2 W' },
  s: { measures: 'a time', example: '10 min or 30 s' },
  'V/s': { measures: 'a slew', example: '2 V/s' },
  J: { measures: 'an energy', example: '3.8 J' },
  Hz: { measures: 'a frequency', example: '455 kHz' },
  S: { measures: 'a transconductance', example: '4100 µS or 4.1 mA/V' },
  '°C': { measures: 'a temperature', example: '60 °C' },
  ratio: { measures: 'a ratio', example: '5 %' },
}

/** SI prefixes as powers of ten. `K` is kilo only where IEC 60062 writes it (resistors). */
const prefixes: Readonly<Record<string, number>> = {
  '': 0,
  p: -12,
  n: -9,
  u: -6,
  m: -3,
  k: 3,
  M: 6,
  G: 9,
}

interface Suffix {
  /** Power of ten. */
  readonly exponent: number
  /** A further factor that is no power of ten (minutes, hours). */
  readonly times: number
}

const stems: Readonly<Record<Unit, readonly string[]>> = {
  V: ['V', 'volt', 'volts'],
  A: ['A', 'amp', 'amps', 'ampere', 'amperes'],
  Ω: ['Ω', 'ohm', 'ohms', 'Ohm', 'Ohms'],
  F: ['F', 'farad', 'farads'],
  H: ['H', 'henry', 'henries'],
  W: ['W', 'watt', 'watts'],
  s: ['s', 'sec', 'second', 'seconds'],
  'V/s': ['V/s'],
  J: ['J', 'joule', 'joules'],
  Hz: ['Hz'],
  S: ['S', 'A/V', 'mho', 'mhos'],
  '°C': ['°C', 'C', 'degC'],
  ratio: [],
}

/** Which prefixes are refused for a unit because people write them by mistake or with two meanings. */
const refused: Readonly<Partial<Record<Unit, readonly string[]>>> = {
  // Old parts lists write mF and MFD for microfarads: never guess between a thousandfold.
  F: ['m', 'k', 'M', 'G'],
  V: ['p', 'n', 'M', 'G'],
  A: ['M', 'G'],
  H: ['k', 'M', 'G'],
  s: ['k', 'M', 'G', 'p'],
  'V/s': ['p', 'n', 'M', 'G'],
  S: ['p', 'n', 'k', 'M', 'G'],
  '°C': ['p', 'n', 'u', 'm', 'k', 'M', 'G'],
}

function table(unit: Unit): ReadonlyMap<string, Suffix> {
  const made = new Map<string, Suffix>()
  for (const stem of stems[unit]) {
    for (const [prefix, exponent] of Object.entries(prefixes)) {
      if (refused[unit]?.includes(prefix) === true) continue
      if (prefix !== '' && stem.length > 3 && stem !== 'ohms' && stem !== 'Ohms' && stem !== 'mhos') continue
      made.set(prefix + stem, { exponent, times: 1 })
    }
  }
  if (unit === 'Ω') {
    for (const stem of ['Ω', 'ohm', 'ohms']) made.set(`K${stem}`, { exponent: 3, times: 1 })
    // IEC 60062 letters standing alone after the number: 100R, 47k, 2M.
    for (const [letter, exponent] of Object.entries(resistorLetters)) made.set(letter, { exponent, times: 1 })
  }
  if (unit === 'F')
    for (const letter of ['p', 'n', 'u']) made.set(letter, { exponent: prefixes[letter] ?? 0, times: 1 })
  if (unit === 's') {
    for (const word of ['min', 'minute', 'minutes']) made.set(word, { exponent: 0, times: 60 })
    for (const word of ['h', 'hour', 'hours']) made.set(word, { exponent: 0, times: 3600 })
    for (const word of ['d', 'day', 'days']) made.set(word, { exponent: 0, times: 86400 })
  }
  if (unit === 'V/s') {
    for (const prefix of ['', 'm', 'k'])
      made.set(`${prefix}V/min`, { exponent: prefixes[prefix] ?? 0, times: 1 / 60 })
  }
  if (unit === 'ratio') made.set('%', { exponent: -2, times: 1 })
  return made
}

/** IEC 60062 letter codes that stand in place of the decimal point, as powers of ten (from memory: R K M G, and L for milliohms). */
export const resistorLetters: Readonly<Record<string, number>> = { R: 0, k: 3, K: 3, M: 6, G: 9 }
/** The same for capacitors: p n µ F. `m` is left out: see `refused`. */
export const capacitorLetters: Readonly<Record<string, number>> = { p: -12, n: -9, u: -6, F: 0 }

export const suffixes: Readonly<Record<Unit, ReadonlyMap<string, Suffix>>> = {
  V: table('V'),
  A: table('A'),
  Ω: table('Ω'),
  F: table('F'),
  H: table('H'),
  W: table('W'),
  s: table('s'),
  'V/s': table('V/s'),
  J: table('J'),
  Hz: table('Hz'),
  S: table('S'),
  '°C': table('°C'),
  ratio: table('ratio'),
}
