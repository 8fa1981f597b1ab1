import { describe, expect, it } from 'vitest'
import { type Kind, moments } from '../matrix/kind.js'
import { kinds } from '../matrix/kinds.js'
import { everyCell, selection } from '../matrix/selection.js'

const chosen = selection(kinds)
const lines = ['pty', 'tcp'] as const

describe('what continuous integration takes of the matrix of faults', () => {
  it('is some sixty cells of the whole, each once', () => {
    const names = chosen.map(({ kind, moment }) => `${kind.name}, ${moment}`)
    expect(new Set(names).size).toBe(names.length)
    expect(everyCell(kinds)).toHaveLength(kinds.length * moments.length)
    // Each is some 7 s of two cores, three at a time: .ci/run gives them their minutes.
    expect(names.length).toBeLessThanOrEqual(65)
  })

  it('has every kind with HT up, not only where a person had stopped the run before', () => {
    const met = (kind: Kind): boolean =>
      chosen.some((cell) => cell.kind === kind && cell.moment !== 'make-safe')
    expect(kinds.filter((kind) => !met(kind)).map(({ name }) => name)).toEqual([])
  })

  it('has every moment over every line, make-safe too, and those with HT up about equally often', () => {
    for (const moment of moments)
      for (const as of lines)
        expect(
          chosen.filter((cell) => cell.moment === moment && cell.as === as).length,
          `${moment}, ${as}`,
        ).toBeGreaterThan(0)
    const often = moments.slice(0, 4).map((moment) => chosen.filter((cell) => cell.moment === moment).length)
    expect(Math.max(...often) - Math.min(...often)).toBeLessThanOrEqual(5)
  })

  it('has what spoils a line, and what has lines opened anew, over both; and what one line alone can have on that', () => {
    const over = (kind: Kind): string[] => [
      ...new Set(chosen.flatMap((cell) => (cell.kind === kind ? [cell.as] : []))),
    ]
    for (const kind of kinds) {
      if (kind.only !== undefined) expect(over(kind), kind.name).toEqual([kind.only])
      else if (
        kind.fault?.startsWith('line.') === true ||
        /killed|stopped/.test(kind.name.replace(/recorder.*/, ''))
      )
        expect(over(kind).toSorted(), kind.name).toEqual(lines)
    }
  })
})
