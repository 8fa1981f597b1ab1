import { describe, expect, it } from 'vitest'
import { decimalValue } from '../../src/exchange/index.js'
import { fixedPoint, parseNumber } from '../../src/line/index.js'
import { grammar } from '../../src/virtual/scpi.js'

/**
 * Sources: IEEE 488.2-1992, 8.7.2 (NR1), 8.7.3 (NR2), 8.7.4 (NR3) and 7.7.2 (decimal program data), by their section numbers
 * and the examples that a power meter's programming guide prints for 8.7.4; SCPI-1999 volume 1, numbers for infinity and
 * not-a-number (9.9E37, 9.91E37), as printed in a counter's programming guide, table of response data types; the keyword rule
 * (long or short form, nothing between) of SCPI-1999 volume 1 chapter 6, as restated in a published parser's documentation.
 */
describe('numbers as IEEE 488.2 writes them', () => {
  it.each([
    // 8.7.2: integer, sign optional, leading zeros allowed.
    ['0', 0, 0],
    ['42', 42, 0],
    ['-7', -7, 0],
    ['+007', 7, 0],
    // 8.7.3: explicit point.
    ['12.003', 12003, 3],
    ['-0.50', -50, 2],
    ['+01.150', 1150, 3],
    ['5.', 5, 0],
    ['.25', 25, 2],
    // 8.7.4: the first is an example of the published guide.
    ['1.23E+6', 1_230_000, 0],
    ['1.23E+1', 123, 1],
    ['+1.500000E-03', 1_500_000, 9],
    ['-2.5e2', -250, 0],
    ['0.0E+00', 0, 1],
  ])('%s is read as it is printed', (text, n, k) => {
    expect(parseNumber(text)).toEqual({ n, k })
  })

  it('a published example too small to be a reading is nothing, and one too large is refused', () => {
    expect(decimalValue(parseNumber('123.4E-54') ?? { n: 1, k: 0 })).toBe(0)
    expect(parseNumber('-1234.567E+90')).toBeNull()
  })

  it.each(['9.91E37', '9.91 E37', '9.9E37', '-9.9E37', '9.910000E+37', '+9.90000000E+37'])(
    'the word for no number or infinity, %s, is no reading',
    (text) => {
      expect(parseNumber(text)).toBeNull()
    },
  )

  it.each([
    '',
    '.',
    '-',
    '+',
    'E5',
    '1E',
    '1.5.2',
    '1,5',
    '0x10',
    'NaN',
    'Infinity',
    '1 2',
    '--1',
    '1.5V',
    '1e+',
    '１',
    '1\u00b5',
  ])('what JavaScript might take for a number, "%s", is none', (text) => {
    expect(parseNumber(text)).toBeNull()
  })

  it('a unit letter is taken off only where a supply is known to print it', () => {
    expect(parseNumber('1.1234E-3A', 'A')).toEqual({ n: 11234, k: 7 })
    expect(parseNumber('1.1234E-3A')).toBeNull()
    expect(parseNumber('1.1V', 'A')).toBeNull()
  })
})

describe('numbers as they are sent', () => {
  it.each([
    [0.3, 2, '0.30'],
    [0.1 + 0.2, 4, '0.3000'],
    [250, 0, '250'],
    [99.999, 2, '99.99'],
    [0, 3, '0.000'],
    [12.6, 3, '12.600'],
  ])('%d with %d digits is said as fixed point, never rounded up', (value, digits, text) => {
    expect(fixedPoint(value, digits)).toBe(text)
  })

  it.each([-1, Number.NaN, Number.POSITIVE_INFINITY, 1e21])('%d is never said', (value) => {
    expect(fixedPoint(value, 2)).toBeNull()
  })
})

describe('keywords', () => {
  const known = grammar([{ header: 'STATus:QUEStionable[:EVENt]', ask: () => '0' }])
  const understood = (text: string): boolean => known.units(text).every((found) => !('error' in found))
  it('are understood in exactly the short or the long form, in any case, with optional ones left out', () => {
    for (const text of ['STAT:QUES?', 'status:questionable?', ':STATUS:QUES:EVEN?', 'stat:ques:event?']) {
      expect(understood(text), text).toBe(true)
    }
    for (const text of ['STATU:QUES?', 'STA:QUES?', 'STAT:QUEST?', 'STAT?', 'STAT:QUES:EVENTS?']) {
      expect(understood(text), text).toBe(false)
    }
  })
})
