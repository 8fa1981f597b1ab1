import { describe, expect, it } from 'vitest'
import { willing } from '../../src/rehearse/index.js'
import { brisk, demo, fault, told } from './demo.js'
import { rehearse } from '../helpers/replayed.js'

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

describe('heaters that drop out below the volts where their loss trips', () => {
  it('are asked about at once, with the chain that fits the loss, while HT stays', () => {
    let asked: string | null = null
    const run = told(receiver, ['V1:heater-open@HT>20V'], 1, (ask, at) => {
      if (ask.about !== 'below-ask heaters') return willing(ask, at)
      asked ??= ask.text
      return { after_s: 3, value: 'no' }
    })
    expect(asked).toMatch(
      /less than expected is what one open heater in chain A, .*\(V1, V2.* HT does not rise meanwhile/,
    )
    expect(run.ending).toMatchObject({ outcome: 'stopped', reason: { code: 'operator' } })
    expect(run.virtual_s).toBeLessThan(600)
    expect(run.highest('high.out.V')).toBeLessThan(60)
  })
})

describe('the reason of a trip', () => {
  it('calls collapsed volts at the supply’s limit a short, not a current that was drawn, and says what is next', () => {
    const { reason } = told(receiver, ['C1a:short@HT>80V']).ending
    expect(reason?.text).toMatch(
      /^HT fell from 80(\.\d)? V to .*V with the supply at its .*mA limit: a short, or near it/,
    )
    expect(reason?.text).toMatch(
      /Next: measure before touching; when HT is read as dead at pin 8 of the rectifier socket/,
    )
    expect(reason?.text).not.toMatch(/drew/)
    // The limit it was held against stands beside it, with where it comes from: between two steps it is neither's.
    expect(reason?.text).toMatch(
      /Ceiling [\d.]+ mA at 80(\.\d)? V set.*, between [\d.]+ mA of step \d+ .* and [\d.]+ mA of step/,
    )
  })

  it('names the chain that fits a heater loss', () => {
    const { reason } = told(receiver, ['V3:heater-open@HT>120V']).ending
    expect(reason?.code).toBe('heater-lost')
    expect(reason?.text).toMatch(
      /read each heater pin to pin: \d+ mA less than expected is what one open heater in chain A, B, .*V3, V4/,
    )
  })
})

describe('questions', () => {
  it('name a point in the words of the set’s own file', () => {
    const asked: string[] = []
    told(receiver, [], 1, (ask, at) => {
      asked.push(ask.text)
      return willing(ask, at)
    })
    expect(asked.join('\n')).toContain(
      'Read the volts at heater terminal A on the power chassis (heater line) against chassis',
    )
  })
})
