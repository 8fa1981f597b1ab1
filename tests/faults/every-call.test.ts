import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import {
  callKinds,
  callsOf,
  failCall,
  firstOfEach,
  recordCalls,
  spread,
  waysOf,
} from '../simulator/every-call.js'
import { loadParts } from '../simulator/parts.js'

const parts = loadParts()

describe.each(callKinds)('a call fails: %s', (kind) => {
  const untouched = callsOf(parts, kind)

  it('is asked often enough in a run that nothing happens to', () => {
    expect(untouched.how).toBe('ended: completed')
    expect(untouched.calls.length).toBeGreaterThan(kind === 'record late' ? 3 : 30)
  })

  it.each(waysOf(kind))('%s: every invariant holds and the run ends', (way) => {
    const some = new Set([...firstOfEach(untouched.calls), ...spread(untouched.calls, 2)])
    const found = [...some].flatMap((n) => {
      const { what, run } = failCall(parts, kind, n, way)
      return run.broken.map(({ invariant, text }) => `call ${n} (${what.trim()}): ${invariant}: ${text}`)
    })
    expect(found).toEqual([])
  })
})

it('what came of them stands in the table: all of those to the record, those on the lines over the whole run', () => {
  const table = readFileSync(new URL('../simulator/EVERY-CALL.md', import.meta.url), 'utf8')
  for (const kind of callKinds)
    for (const way of waysOf(kind)) {
      const [, calls, runs, broken] =
        new RegExp(`\\| ${kind} \\| ${way} \\| (\\d+) \\| (\\d+) \\| [^|]+ \\| (\\d+) \\|`).exec(table) ?? []
      const whole = recordCalls.some((each) => each === kind)
      expect([kind, way, broken]).toEqual([kind, way, '0'])
      expect(Number(runs), kind).toBeGreaterThanOrEqual(whole ? Number(calls) : 40)
    }
})
