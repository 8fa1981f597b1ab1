import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import {
  type CallKind,
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

/** As many as there must be at least in a run of so many seconds. */
function fewest(kind: CallKind, run_s: number): number {
  switch (kind) {
    case 'record late':
      return raises
    // A commit a second, and each thing that must be in the record before the run goes on.
    case 'disk full':
    case 'disk slow':
      return run_s + raises
    // Five times a second every supply's volts and amps, and what the meter reads.
    case 'record port closes':
      return 5 * run_s
    default:
      return 5 * run_s * lines
  }
}
/** Steps that put energy on a rail: each has its intent confirmed by the record. */
const raises = parts.plan.steps.filter(({ rail }) => rail !== null).length
const lines = Object.keys(parts.bench.supplies).length + Object.keys(parts.bench.meters).length

describe.each(callKinds)('a call fails: %s', (kind) => {
  const untouched = callsOf(parts, kind)

  it('is asked often enough in a run that nothing happens to', () => {
    expect(untouched.how).toBe('ended: completed')
    expect(untouched.calls.length).toBeGreaterThanOrEqual(fewest(kind, untouched.virtual_s))
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
      const today = callsOf(parts, kind).calls.length
      const [, calls, runs, broken] =
        new RegExp(`\\| ${kind} \\| ${way} \\| (\\d+) \\| (\\d+) \\| [^|]+ \\| (\\d+) \\|`).exec(table) ?? []
      const whole = recordCalls.some((each) => each === kind)
      expect([kind, way, broken]).toEqual([kind, way, '0'])
      expect(Number(runs), kind).toBeGreaterThanOrEqual(whole ? Number(calls) : 40)
      // Of a run as it is by now: what is asked more often since was not made to fail.
      expect(Number(calls) / today, `${kind}: the table is of another run, make it anew`).toBeCloseTo(1, 1)
    }
})
