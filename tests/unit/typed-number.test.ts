import { describe, expect, it } from 'vitest'
import { twoMeanings, typedNumber } from '../../src/console/words/figures.js'

describe('a figure typed at the bench', () => {
  // This machine's own locale writes a point before decimals.
  const other = (1.5).toLocaleString().includes(',') ? '.' : ','
  it('is not guessed at where it can mean two things a thousand times apart', () => {
    for (const text of [`1${other}050`, `-12${other}500`, ` 1${other}050`, `1${other}050 V`])
      expect(twoMeanings(text)).toBe(true)
    expect(typedNumber(`1${other}050`)).toBeNull()
  })
  it('is taken with either mark where it means one thing', () => {
    for (const text of ['3.2', '3,2', `0${other}05`, `1${other}0505`, '1050'])
      expect(twoMeanings(text)).toBe(false)
    expect(typedNumber('3,2')).toBe(3.2)
    expect(typedNumber('-0.05')).toBe(-0.05)
  })
})
