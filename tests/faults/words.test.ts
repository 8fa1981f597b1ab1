import { describe, expect, it } from 'vitest'
import { rehearse } from '../../src/rehearse/index.js'
import { brisk, demo, fault } from './demo.js'

const receiver = demo(undefined, brisk)

describe('steps', () => {
  it('count from 1 alike in the plan, on the screen, in a fault and in the reason', () => {
    expect(receiver.plan.steps[0]?.index).toBe(1)
    const shown: number[] = []
    const { ending } = rehearse(receiver.plan, receiver.equipment, receiver.bench, {
      seed: 1,
      faults: [fault('line.high:silent@step=6')],
      record: () => undefined,
      watch: (seen) => {
        if (seen.phase === 'running') shown.push(seen.step)
        return undefined
      },
    })
    expect(shown[0]).toBe(1)
    expect(shown.at(-1)).toBe(6)
    expect(ending.reason?.step).toBe(6)
    expect(ending.steps_done).toBe(5)
  })
})
