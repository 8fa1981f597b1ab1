import { existsSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { ruleCodes } from '../../src/plan/index.js'
import { isWhole, type Result } from '../matrix/cell.js'
import { rightExit } from '../matrix/exit.js'
import type { Killed } from '../matrix/kills.js'
import { moments } from '../matrix/kind.js'
import { kinds } from '../matrix/kinds.js'
import { resultsTable } from '../matrix/table.js'

const table = readFileSync(new URL('./RESULTS.md', import.meta.url), 'utf8')
const file = <T>(name: string): T[] => JSON.parse(readFileSync(new URL(name, import.meta.url), 'utf8')) as T[]
const kept = file<Result>('./results.json')
const kills = file<Killed>('./results.json.kills')

/** The matrix and the kills are `npm run faults`: too dear for every run of the tests. */
describe('the matrix of faults done to real runs', () => {
  it('has at least thirty kinds, and its table is made of the cells and kills that were kept, none of them not as it must be', () => {
    expect(kinds.length).toBeGreaterThanOrEqual(30)
    expect(table).toBe(resultsTable(kept, kills))
    expect(table).not.toContain('NOT AS IT MUST BE')
    expect(readFileSync('SAFETY.md', 'utf8')).toContain(`does each of ${kinds.length} things`)
  })

  it('keeps every kind at every moment, each whole, and two hundred kills: a smaller file put over them would be noticed', () => {
    const missing = kinds.flatMap(({ name }) =>
      moments
        .filter((moment) => !kept.some((one) => one.kind === name && one.moment === moment && isWhole(one)))
        .map((moment) => `${name}, ${moment}`),
    )
    expect(missing).toEqual([])
    expect(kills.length).toBeGreaterThanOrEqual(200)
    expect(new Set(kills.map(({ n }) => n)).size).toBe(kills.length)
    expect(kills.filter(({ wrong }) => wrong.length > 0)).toEqual([])
  })

  it('names for each kind a test that holds it in detail, where there is one', () => {
    const lost = kinds.flatMap(({ name, in_detail }) => {
      if (in_detail === null) return []
      const [file, words] = in_detail
      if (existsSync(file) && readFileSync(file, 'utf8').includes(words)) return []
      return [
        `The fault "${name}" is held in detail by the test "${words}" in ${file}, and those words stand there no more: if the test was renamed or moved, write where it is now into tests/matrix/kinds-at-bench.ts or kinds-at-computer.ts; if it was taken out, put one there that holds it.`,
      ]
    })
    expect(lost.join('\n')).toBe('')
    expect(kinds.filter(({ in_detail }) => in_detail === null).length).toBeLessThanOrEqual(2)
  })

  it('knows the one right exit code of each end, whatever the rule', () => {
    const usual = { name: 'any', end: 'either' } as const
    const of = (code: string | null, confirmed = true, warned = false) =>
      rightExit(usual, { code, confirmed, warned })
    expect([of(null), of(null, true, true), of('over-ceiling'), of('operator'), of('stale')]).toEqual([
      0, 1, 3, 7, 8,
    ])
    expect(of('over-ceiling', false)).toBe(4)
    expect(of(null, false)).toBe(4)
    // A code that the matrix cannot place would be judged as our own fault.
    const elsewhere = ['drive-lost', 'watched-input', 'wont-fall', 'unproved', 'given-up']
    expect(ruleCodes.filter((code) => of(code) === 70)).toEqual(elsewhere)
    for (const { codes = [] } of kinds) for (const code of codes) expect(of(code), code).not.toBe(70)
  })
})
