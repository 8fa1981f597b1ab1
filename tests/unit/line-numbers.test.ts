import { describe, expect, it } from 'vitest'
import {
  answerIn,
  fixedPoint,
  parseError,
  parseNumber,
  parseRegister,
  parseSwitch,
} from '../../src/line/numbers.js'

/* What a supply prints is read as it is printed, or not at all: a figure half understood would be limited and tripped by. */

describe('a number in a reply', () => {
  it.each([
    ['12.5', 125, 1],
    [' 12.5', 125, 1],
    ['\t12.5 \r', 125, 1],
    // What stands round it goes at either end, by itself and however much it is.
    ['  12.5', 125, 1],
    ['\t12.5', 125, 1],
    ['12.5 ', 125, 1],
    ['12.5\t', 125, 1],
    ['12.5\r', 125, 1],
    ['.5', 5, 1],
    ['-.5', -5, 1],
    ['.5E1', 5, 0],
    // Nothing is nothing, however many times ten it is taken.
    ['0E20', 0, 0],
    ['+5.', 5, 0],
    ['007', 7, 0],
    ['-0', 0, 0],
    ['-0.00', 0, 2],
    ['-0E0', 0, 0],
    // As many digits as can be kept, and leading zeros that are none of them.
    ['123456789012345', 123_456_789_012_345, 0],
    ['12345678901234.5', 123_456_789_012_345, 1],
    ['-000000000000000000012', -12, 0],
    ['1E14', 100_000_000_000_000, 0],
  ])('"%s" is kept as printed', (text, n, k) => {
    expect(parseNumber(text)).toEqual({ n, k })
  })

  it('finer than 10^-15 loses those digits, cut and not rounded, and is nothing where no other is left', () => {
    expect(parseNumber('1.23456E-12')).toEqual({ n: 1234, k: 15 })
    expect(parseNumber('1.99999E-12')).toEqual({ n: 1999, k: 15 })
    expect(parseNumber('-1E-15')).toEqual({ n: -1, k: 15 })
    expect(parseNumber('-9E-16')).toEqual({ n: 0, k: 15 })
    expect(parseNumber('123E-20')).toEqual({ n: 0, k: 15 })
    expect(parseNumber('0E-20')).toEqual({ n: 0, k: 15 })
  })

  it.each([
    '',
    ' ',
    '.',
    '+',
    '-.',
    '.5.5',
    '1.5.2',
    '..5',
    '1 2',
    ' 1 2',
    '1 2 ',
    '1\t2 ',
    '1\n2',
    '1234567890123456',
    '1234567890.123456',
    '1E15',
    '12E14',
    '--1',
    '1-',
    '12/',
    '12:',
  ])('"%s" is none', (text) => {
    expect(parseNumber(text)).toBeNull()
  })

  it('may have its own unit glued to it where that is the habit, and no other', () => {
    for (const text of ['12.5', '12.5V', '12.5 V', ' 12.5 V\r'])
      expect(parseNumber(text, 'V'), text).toEqual({ n: 125, k: 1 })
    expect(parseNumber('-0.25A', 'A')).toEqual({ n: -25, k: 2 })
    for (const text of ['12.5A', 'V', '12.5VV', 'V12.5', '12V5'])
      expect(parseNumber(text, 'V'), text).toBeNull()
    expect(parseNumber('12.5V')).toBeNull()
  })
})

describe('a number in a command', () => {
  it('is never more than was asked: cut at the digits the supply takes', () => {
    expect(fixedPoint(12.349, 2)).toBe('12.34')
    expect(fixedPoint(0.9999, 3)).toBe('0.999')
    expect(fixedPoint(5.9, 0)).toBe('5')
    expect(fixedPoint(0, 2)).toBe('0.00')
    expect(fixedPoint(7, 3)).toBe('7.000')
  })

  it('does not lose its last digit to the binary form of 0.3', () => {
    expect(fixedPoint(0.1 + 0.2, 1)).toBe('0.3')
    expect(fixedPoint(1.005, 3)).toBe('1.005')
    expect(fixedPoint(0.29, 2)).toBe('0.29')
    expect(fixedPoint(4.35, 2)).toBe('4.35')
  })

  it('that cannot be said is not said: below nothing, a million, no number', () => {
    expect(fixedPoint(999_999.99, 2)).toBe('999999.99')
    for (const value of [-0.01, 1e6, 1e21, Number.NaN, Number.POSITIVE_INFINITY])
      expect(fixedPoint(value, 2), String(value)).toBeNull()
  })
})

describe('on and off', () => {
  it('are one of eight words and nothing like them', () => {
    for (const text of ['1', '+1', 'ON', ' on\r']) expect(parseSwitch(text), text).toBe(true)
    for (const text of ['0', '+0', 'OFF', ' Off ']) expect(parseSwitch(text), text).toBe(false)
    for (const text of ['', '2', '-1', '-0', '1.0', 'O', 'ONE', 'OFFS', 'TRUE'])
      expect(parseSwitch(text), text).toBeNull()
  })
})

describe('a status register', () => {
  it('is a whole number of sixteen bits', () => {
    expect([' 0 ', '+7', '65535'].map(parseRegister)).toEqual([0, 7, 65_535])
    for (const text of ['65536', '99999', '123456', '-1', '1.0', '0x1', '', '1 2'])
      expect(parseRegister(text), text).toBeNull()
  })
})

describe('a queued error', () => {
  it('is its number, with or without its words', () => {
    expect(parseError(' 0,"No error"\r')).toEqual({ code: 0, text: 'No error' })
    expect(parseError('-222 , "Data out of range"')).toEqual({ code: -222, text: 'Data out of range' })
    expect(parseError('+0')).toEqual({ code: 0, text: '' })
    expect(parseError('-0,""')).toEqual({ code: 0, text: '' })
    expect(parseError('32767,"x"')).toEqual({ code: 32_767, text: 'x' })
  })

  it('is nothing else', () => {
    for (const text of ['', 'No error', '0,No error', '0,"No error', '123456', '1.5', '0,"a"b', '0,"\x07"'])
      expect(parseError(text), text).toBeNull()
  })
})

describe('an answer with words round it', () => {
  it('is what stands between them, all of them there and none of them shared', () => {
    expect(answerIn(' 12.5 ', null)).toBe(' 12.5 ')
    expect(answerIn(' VSET 12.5 ', 'VSET {x}')).toBe('12.5')
    // A blank in the words of the dialect is none that must come.
    expect(answerIn('VSET12.5', 'VSET {x}')).toBe('12.5')
    expect(answerIn('12.5 Volt', '{x} Volt')).toBe('12.5')
    expect(answerIn('<1>', '<{x}>')).toBe('1')
    for (const text of ['12.5', 'ISET 12.5', 'VSE', '']) expect(answerIn(text, 'VSET {x}'), text).toBeNull()
    for (const text of ['<1', '1>', '<1>.']) expect(answerIn(text, '<{x}>'), text).toBeNull()
    // One bar is not both of them.
    expect(answerIn('|', '|{x}|')).toBeNull()
    expect(answerIn('||', '|{x}|')).toBe('')
  })
})
