import { describe, expect, it } from 'vitest'
import { formatQuantity, parseQuantity, quantityPattern, type Unit } from '../../src/quantities/index.js'

const read: readonly (readonly [text: string, unit: Unit, value: number])[] = [
  ['250 V', 'V', 250],
  ['250V', 'V', 250],
  ['-45 V', 'V', -45],
  ['−45 V', 'V', -45],
  ['1.5 kV', 'V', 1500],
  ['50 mV', 'V', 0.05],
  ['4100 µS', 'S', 4.1e-3],
  ['4.1 mA/V', 'S', 4.1e-3],
  ['4100 umhos', 'S', 4.1e-3],
  ['45 mA', 'A', 0.045],
  ['300 µA', 'A', 300e-6],
  ['300 μA', 'A', 300e-6],
  ['300uA', 'A', 300e-6],
  ['4k7', 'Ω', 4700],
  ['4K7', 'Ω', 4700],
  ['4R7', 'Ω', 4.7],
  ['R47', 'Ω', 0.47],
  ['2M2', 'Ω', 2.2e6],
  ['100R', 'Ω', 100],
  ['47k', 'Ω', 47e3],
  ['47 kΩ', 'Ω', 47e3],
  ['47 kohm', 'Ω', 47e3],
  ['4.7 kΩ', 'Ω', 4700],
  ['10 Ω', 'Ω', 10],
  ['10 \u2126', 'Ω', 10],
  ['16 µF', 'F', 16e-6],
  ['16uF', 'F', 16e-6],
  ['4n7', 'F', 4.7e-9],
  ['4µ7', 'F', 4.7e-6],
  ['100p', 'F', 100e-12],
  ['0.1 µF', 'F', 1e-7],
  ['10 H', 'H', 10],
  ['2 W', 'W', 2],
  ['10 min', 's', 600],
  ['1.5 h', 's', 5400],
  ['250 ms', 's', 0.25],
  ['2 V/s', 'V/s', 2],
  ['30 V/min', 'V/s', 0.5],
  ['5 %', 'ratio', 0.05],
  ['0.05', 'ratio', 0.05],
  ['1e-3 A', 'A', 0.001],
]

describe('reading a quantity', () => {
  it.each(read)('reads %s as %s', (text, unit, value) => {
    expect(parseQuantity(text, unit)).toEqual({ ok: true, value })
    expect(text).toMatch(quantityPattern(unit))
  })

  const refused: readonly (readonly [input: string | number, unit: Unit, says: RegExp, advises: RegExp])[] = [
    [250, 'V', /250 has no unit; a voltage/, /250 V/],
    ['250', 'V', /no unit; a voltage/, /250 V/],
    [47, 'Ω', /47 has no unit/, /47 Ω/],
    ['45 mA', 'V', /is a current; a voltage is wanted/, /250 V/],
    ['16 mF', 'F', /two meanings/, /16 µF/],
    ['16 MFD', 'F', /two meanings/, /16 µF/],
    ['16 uuF', 'F', /two meanings/, /pF/],
    ['45 MA', 'A', /megaamps/, /45 mA/],
    ['1,5 V', 'V', /comma/, /decimal point/],
    ['250 v', 'V', /not spelt as a unit/, /250 V/],
    ['lots', 'A', /is not a current/, /45 mA/],
    ['', 'A', /nothing is written/, /45 mA/],
    ['4k7', 'V', /not a voltage/, /250 V/],
    ['4k7', 'F', /not a capacitance/, /µF/],
    ['1e99 V', 'V', /beyond anything/, /250 V/],
    [Number.NaN, 'ratio', /no unit/, /5 %/],
    ['9'.repeat(100), 'V', /too long/, /250 V/],
  ]
  it.each(refused)(
    'refuses %s where %s is wanted, and says what would be right',
    (input, unit, says, advises) => {
      const result = parseQuantity(input, unit)
      expect(result.ok).toBe(false)
      if (result.ok) return
      expect(result.problem).toMatch(says)
      expect(result.remedy).toMatch(advises)
    },
  )
})

describe('printing a quantity', () => {
  it.each([
    [0.045, 'A', '45 mA'],
    [250, 'V', '250 V'],
    [4700, 'Ω', '4.7 kΩ'],
    [16e-6, 'F', '16 µF'],
    [4700e-6, 'F', '4700 µF'],
    [600, 's', '10 min'],
    [90, 's', '90 s'],
    [86400, 's', '24 h'],
    [0.05, 'ratio', '5 %'],
    [-59.3, 'V', '-59.3 V'],
    [0, 'A', '0 A'],
    [0.99999, 'A', '1 A'],
    [0.0999996, 'A', '100 mA'],
    [1e-13, 'A', '0.1 pA'],
    [1e-30, 'A', '0 A'],
    [0.5, 'V/s', '500 mV/s'],
    [Number.NaN, 'V', 'no value'],
  ] as const)('prints %s %s as %s', (value, unit, text) => {
    expect(formatQuantity(value, unit)).toBe(text)
  })
})
