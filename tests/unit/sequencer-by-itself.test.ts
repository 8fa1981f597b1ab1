import { describe, expect, it } from 'vitest'
import type { Protection } from '../../src/exchange/index.js'
import type { Proof } from '../../src/plan/index.js'
import { proofFired, proofOff, proofRefused } from '../../src/sequencer/prove.js'
import type { State } from '../../src/sequencer/state.js'
import { now_us } from '../helpers/moment.js'
import { proofOf, under } from '../helpers/proving.js'

/* What a supply says of itself in a proof: a protection that fired, an output that went off, a level that it does not take. */

const limit = proofOf('current limit', { limit_A: 0.03 })
const level = proofOf('over-current', { level: 0.03 })
const dead = proofOf('dead-man', { others: [{ channel: 'bias.1', rail: 'BIAS', stated: 'goes' }] })

describe('a supply that takes something not', () => {
  const refuses = (proof: Proof, channel = 'ht.1', part: State['part'] = 'prove watch') => {
    const { d } = under(proof, { part })
    const answers = proofRefused(d, channel, 'not taken')
    expect(d.s.proof?.refused).toBe(answers ? 'not taken' : null)
    return answers
  }

  it('has answered where that was a level to provoke it by, and in nothing else', () => {
    expect([refuses(proofOf('over-voltage', { level: 200 })), refuses(level)]).toEqual([true, true])
    for (const proof of [proofOf('off'), limit, dead]) expect(refuses(proof)).toBe(false)
    expect(refuses(level, 'bias.1')).toBe(false)
    expect(refuses(level, 'ht.1', 'prove back')).toBe(false)
    expect(refuses(level, 'nowhere')).toBe(false)
  })
})

describe('a protection that fires in a proof', () => {
  /** Whether it was meant to, in the proof under way. */
  const meant = (proof: Proof, which: Protection, channel = 'ht.1', more: Partial<State> = {}): boolean => {
    const { d } = under(proof, { more })
    const is = proofFired(d, channel, which)
    const { fired, seen_us } = d.s.proof!
    expect([fired, seen_us]).toEqual(is && !d.s.latched ? [which, now_us] : [null, null])
    return is
  }

  it('of whatever name is a sign of what cuts from outside, on its own output; nothing that stands or flows too high is', () => {
    for (const of of ['outside timer', 'cut-off relay'] as const) {
      const outside = proofOf(of)
      expect([meant(outside, 'over-temperature'), meant(outside, 'dead-man')]).toEqual([true, true])
      expect([meant(outside, 'over-current'), meant(outside, 'over-voltage')]).toEqual([false, false])
      expect(meant(outside, 'over-temperature', 'bias.1')).toBe(false)
    }
  })

  it('is what is provoked by its name, on its own output; what is not fed is told by any output of that supply', () => {
    expect([meant(level, 'over-current'), meant(level, 'over-current', 'bias.1')]).toEqual([true, false])
    expect([meant(level, 'over-voltage'), meant(level, 'over-temperature')]).toEqual([false, false])
    expect([meant(dead, 'dead-man'), meant(dead, 'dead-man', 'bias.1')]).toEqual([true, false])
    expect(meant(dead, 'dead-man', 'ht.1', { part: 'hold' })).toBe(false)
  })

  /** Told in the hold that follows the proof of this. */
  const late = (of: Proof['of'], which: Protection, channel = 'ht.1', latched = true): boolean =>
    meant(proofOf(of), which, channel, { step: 8, part: 'hold', latched })

  it('is told late by the timer that was proved, until it is cleared, and by no other thing', () => {
    expect([late('dead-man', 'dead-man'), late('dead-man', 'dead-man', 'ht.1', false)]).toEqual([true, false])
    expect(late('dead-man', 'dead-man', 'lt.1')).toBe(false)
    for (const which of ['over-temperature', 'over-current', 'over-voltage'] as const)
      expect(late('dead-man', which)).toBe(false)
    expect(late('over-current', 'dead-man')).toBe(false)
    expect(meant(proofOf('dead-man'), 'dead-man', 'ht.1', { step: 6, part: 'hold', latched: true })).toBe(
      false,
    )
  })

  it('is told late by whatever name where it was cut from outside, but never as too much', () => {
    for (const of of ['outside timer', 'cut-off relay'] as const) {
      expect([late(of, 'over-temperature'), late(of, 'dead-man')]).toEqual([true, true])
      expect([late(of, 'over-current'), late(of, 'over-voltage')]).toEqual([false, false])
      expect(late(of, 'over-temperature', 'ht.1', false)).toBe(false)
    }
  })
})

describe('an output that goes off by itself', () => {
  const meant = (proof: Proof, channel = 'ht.1', part: State['part'] = 'prove watch'): boolean => {
    const { d } = under(proof, { part })
    const is = proofOff(d, channel)
    expect(d.s.proof).toMatchObject(is ? { off: true, seen_us: now_us } : { off: false, seen_us: null })
    return is
  }

  it('was meant to in its own proof, of whatever but a current limit', () => {
    for (const of of ['off', 'over-voltage', 'over-current', 'dead-man', 'outside timer'] as const)
      expect(meant(proofOf(of))).toBe(true)
    expect(meant(limit)).toBe(false)
    expect(meant(proofOf('off'), 'bias.1')).toBe(false)
    expect(meant(proofOf('off'), 'other.1')).toBe(false)
    expect(meant(proofOf('off'), 'ht.1', 'hold')).toBe(false)
  })
})
