import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { factor, layPattern, solveDense, substitute } from '../../src/network/sparse.js'

const size = 9
const entries = fc.array(
  fc.tuple(fc.nat(size - 1), fc.nat(size - 1), fc.double({ min: -1, max: 1, noNaN: true })),
  { maxLength: 30 },
)

describe('sparse equations', () => {
  it('with a strong diagonal, the replayed elimination solves what was asked, as the dense one does', () => {
    fc.assert(
      fc.property(entries, (list) => {
        const pattern = layPattern(
          size,
          list.map(([i, k]) => [i, k]),
        )
        const values = new Float64Array(pattern.size + 1)
        for (const d of pattern.diagonal) values[d] = 20
        for (const [i, k, value] of list) values[pattern.place(i, k)]! += value
        const wanted = Float64Array.from({ length: size + 1 }, (_, i) => (i < size ? i - 4 : 0))
        const right = new Float64Array(size + 1)
        for (let p = 0; p < pattern.size; p++) {
          right[pattern.rowOf[p]!]! += values[p]! * wanted[pattern.columnOf[p]!]!
        }
        const dense = right.slice()
        expect(solveDense(pattern, values, dense)).toBe(true)
        expect(factor(pattern, values)).toBe(true)
        substitute(pattern, values, right)
        for (let i = 0; i < size; i++) {
          expect(right[i]).toBeCloseTo(wanted[i]!, 9)
          expect(dense[i]).toBeCloseTo(wanted[i]!, 9)
        }
      }),
    )
  })
  it('a diagonal that will not serve is refused, and pivoting by rows solves it', () => {
    const pattern = layPattern(2, [[0, 1]])
    const values = new Float64Array(pattern.size + 1)
    values[pattern.place(0, 1)] = 2
    values[pattern.place(1, 0)] = 4
    const right = Float64Array.from([6, 8, 0])
    expect(factor(pattern, values.slice())).toBe(false)
    expect(solveDense(pattern, values, right)).toBe(true)
    expect([right[0], right[1]]).toEqual([2, 3])
  })
  it('equations without a solution are refused by both', () => {
    const pattern = layPattern(2, [[0, 1]])
    const values = new Float64Array(pattern.size + 1)
    values[pattern.place(0, 0)] = 1
    values[pattern.place(0, 1)] = 1
    values[pattern.place(1, 0)] = 1
    values[pattern.place(1, 1)] = 1
    expect(solveDense(pattern, values, Float64Array.from([1, 2, 0]))).toBe(false)
    expect(factor(pattern, values)).toBe(false)
  })
  it('a chain of nodes is eliminated without any fill', () => {
    const pattern = layPattern(
      50,
      Array.from({ length: 49 }, (_, i) => [i, i + 1]),
    )
    expect(pattern.size).toBe(50 + 2 * 49)
  })
})
