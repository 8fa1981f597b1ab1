import { describe, expect, it } from 'vitest'
import { outOfOrder } from '../matrix/cell.js'
import type { Truth } from '../matrix/inside.js'
import { unsaidBy } from '../matrix/shown.js'

/* What judges real runs is itself tried, on what such a run could have left. */

/** What stood at the set: ms, volts of HT, and which outputs were on (H, heaters F, bias B). */
const seen = (...rows: readonly (readonly [number, number, string])[]): Truth[] =>
  rows.map(([at, HT, on]) => ({
    at,
    volts: { HT },
    outputs: { 'high.out': on.includes('H'), 'low.heaters': on.includes('F'), 'low.bias': on.includes('B') },
  }))

describe('the order in which outputs went off', () => {
  it('is right where HT was low before heaters, and bias last', () => {
    expect(outOfOrder(seen([0, 200, 'HFB'], [50, 190, 'FB'], [900, 40, 'B'], [950, 30, '']), 0)).toEqual([])
  })

  it('is wrong where bias or heaters went with HT up', () => {
    expect(outOfOrder(seen([0, 200, 'HFB'], [50, 190, 'FB'], [100, 180, 'F']), 0)).toEqual([
      'bias off with HT at 180 V',
    ])
    expect(outOfOrder(seen([0, 200, 'HFB'], [50, 190, 'FB'], [100, 180, 'B']), 0)).toEqual([
      'heaters off with HT at 180 V',
    ])
  })

  it('lets heaters go by time alone, 30 s of the bench after HT was told off or would not obey', () => {
    expect(outOfOrder(seen([0, 200, 'HFB'], [50, 190, 'FB'], [3100, 90, 'B']), 0)).toEqual([])
    expect(outOfOrder(seen([0, 200, 'HFB'], [3100, 200, 'HB']), 0)).toEqual([])
    expect(outOfOrder(seen([0, 200, 'HFB'], [1100, 200, 'HB']), 0)).toHaveLength(1)
    // That HT was off before, in its hook-up check, counts for nothing.
    expect(
      outOfOrder(seen([0, 3, 'HFB'], [50, 0, 'FB'], [9000, 200, 'HFB'], [9100, 200, 'HB']), 9050),
    ).toHaveLength(1)
    // Where the fault itself moves time it cannot be told.
    expect(outOfOrder(seen([0, 200, 'HFB'], [50, 190, 'FB'], [100, 180, 'B']), null)).toEqual([])
  })
})

describe('what show says of a run that was killed', () => {
  const page = (end: string): string =>
    `Run 1\n${end}\nSteps: 4 of 9 done\n  step  stage, mode  rail\n  4     heaters      heaters\n                     bias\n  5     bias         bias\n  3 not begun\nSupply: high\n`

  it('is enough where it names the interruption and the last step', () => {
    expect(unsaidBy(page('INTERRUPTED: this record has no ending.'), null, 5)).toEqual([])
  })

  it('is not where either is missing, or another step is the last', () => {
    expect(unsaidBy(page(''), null, 5)).toEqual(['show does not say that it has no ending'])
    expect(unsaidBy(page('INTERRUPTED'), null, 6)).toEqual(['show tells of step 5 as the last, and it was 6'])
    expect(unsaidBy('INTERRUPTED', null, 1)).toEqual(['show tells of step none as the last, and it was 1'])
  })

  it('is enough where it gives the reason of an ending, however it is broken into lines', () => {
    const reason = { code: 'controller-lost', text: 'The controller is lost.' }
    const ended = {
      outcome: 'failed',
      reason: { ...reason, rail: null, step: 5, measured: null, limit: null, unit: '' },
    } as const
    expect(unsaidBy(page('Failed in step 5: The controller\n  is lost.'), ended, 5)).toEqual([])
    expect(unsaidBy(page('Failed.'), ended, 5)).toHaveLength(1)
  })
})
