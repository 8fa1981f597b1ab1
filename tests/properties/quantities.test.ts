import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { formatQuantity, parseQuantity, type Unit } from '../../src/quantities/index.js'

const units: readonly Unit[] = ['V', 'A', 'Ω', 'F', 'H', 'W', 's', 'V/s', 'J', 'Hz', 'S', 'ratio']
const unit = fc.constantFrom(...units)

describe('quantities', () => {
  it('what is printed reads back as the same value within four digits, in every unit', () => {
    fc.assert(
      fc.property(
        unit,
        fc.double({ min: 1e-9, max: 1e9, noNaN: true }),
        fc.boolean(),
        (u, size, negative) => {
          const value = negative ? -size : size
          const back = parseQuantity(formatQuantity(value, u), u)
          expect(back.ok, formatQuantity(value, u)).toBe(true)
          if (back.ok)
            expect(Math.abs(back.value - value)).toBeLessThanOrEqual(Math.abs(value) * 6e-4 + 1e-12)
        },
      ),
      { numRuns: 2000 },
    )
  })

  it('any text at all is read or refused with a problem and a remedy, never an exception', () => {
    fc.assert(
      fc.property(unit, fc.oneof(fc.string(), fc.string({ unit: 'binary' }), fc.double()), (u, input) => {
        const result = parseQuantity(input, u)
        if (result.ok) expect(Number.isFinite(result.value)).toBe(true)
        else expect(result.problem.length > 0 && result.remedy.length > 0).toBe(true)
      }),
      { numRuns: 2000 },
    )
  })
})
