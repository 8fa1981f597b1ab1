import { describe, expect, it } from 'vitest'
import { brisk, demo, told } from './demo.js'

const receiver = demo(undefined, brisk)

/* What a run makes of a supply that answers wrongly: its code, its sentence, what to do, and how it ends. */
describe('bad input from a supply, HT up', () => {
  it.each([
    [
      'binary noise',
      'line.high:noise',
      ['bad-reply', 'line-lost'],
      /line noise/,
      /compare its speed, parity and stop bits/,
      false,
    ],
    ['an echo', 'line.high:echo', ['bad-reply', 'line-lost'], /an echo/, /switch the echo off/, true],
    [
      'replies late by one',
      'line.high:behind',
      ['stale', 'line-lost'],
      /a reply to a question of before/,
      /give it more in the bench file/,
      false,
    ],
    [
      'replies from another instrument',
      'line.high:another',
      ['line-lost', 'stale'],
      /another supply answers/,
      /Look where the plug/,
      false,
    ],
    [
      'another instrument on the line of heaters and bias',
      'line.low:another',
      ['heater-lost', 'bias-low', 'error-integral', 'line-lost'],
      /another supply answers/,
      /Look where the plug/,
      false,
    ],
    [
      'volts out of any plausible range',
      'high.out:reads-volts=9000V',
      ['bad-reply'],
      /a number out of range \("9000\.0"\)/,
      /its read-back is broken/,
      false,
    ],
    [
      'amps out of any plausible range',
      'high.out:reads-amps=9A',
      ['bad-reply'],
      /a number out of range \("9\.0+"\)/,
      /its read-back is broken/,
      false,
    ],
    [
      'a panel that somebody took',
      'high.out:local',
      ['read-back'],
      /the supply says -201/,
      /somebody has its panel/,
      false,
    ],
    [
      'a set-point that reads back higher',
      'high.out:mis-sets=1.05',
      ['read-back'],
      /its set-point reads back as/,
      /see whether somebody has its panel/,
      true,
    ],
    [
      'nothing at all',
      'line.high:silent',
      ['stale', 'line-lost'],
      /no reply|nobody answers/,
      /look at its mains, its plug/,
      false,
    ],
  ])('%s', (_what, fault, codes, says, todo, confirmed) => {
    const run = told(receiver, [`${fault}@HT>90V`])
    const { reason, warnings, outputs_off, details } = run.ending
    const text = [reason?.text ?? '', ...warnings].join('\n')
    expect(codes).toContain(reason?.code)
    expect(text).toMatch(says)
    expect(text).toMatch(todo)
    expect(text).not.toMatch(/\.\.|\.:/)
    expect(outputs_off).toBe(confirmed ? 'confirmed' : 'not confirmed')
    if (!confirmed) {
      expect(run.said('alarm').join(' ')).toMatch(/mains|its own switch/)
      expect(details['off']).toMatchObject({ bias: { confirmed: false } })
    }
    // It rises no further.
    expect(run.highest('high.out.V')).toBeLessThan(100)
  })
})
