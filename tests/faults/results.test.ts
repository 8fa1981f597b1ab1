import { existsSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { kinds } from '../matrix/kinds.js'

/** The matrix and the kills are `npm run faults`: too dear for every run of the tests. */
describe('the matrix of faults done to real runs', () => {
  it('has at least thirty kinds, each with a row in the table, and no cell in it that is not as it must be', () => {
    const table = readFileSync(new URL('../faults/RESULTS.md', import.meta.url), 'utf8')
    expect(kinds.length).toBeGreaterThanOrEqual(30)
    for (const { name, row_of } of kinds) {
      expect(table).toContain(`\n| ${name} |`)
      expect(existsSync(row_of), row_of).toBe(true)
    }
    expect(table).not.toContain('NOT AS IT MUST BE')
  })
})
