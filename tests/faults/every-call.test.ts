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
