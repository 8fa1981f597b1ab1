import { describe, expect, it } from 'vitest'
import type { Plan, Proof } from '../../src/plan/index.js'
import { advanceProof, notZeroed } from '../../src/sequencer/prove.js'
import type { Draft } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { onChannels } from '../helpers/advanced.js'
import { proofOf, told_us, under } from '../helpers/proving.js'
import { smallPlan } from '../helpers/small-plan.js'

/* One moment of a proof: what is told to the channel, what is a sign of it, what is kept, and who may be left to a person's panel. */

const judged = (d: Draft) =>
  d.out.flatMap((one) => (one.kind === 'record' && one.entry.what === 'judgement' ? [one.entry.data] : []))

describe('the proof of a current limit', () => {
  const limit = proofOf('current limit', { limit_A: 0.03 })

  it('is told to its own channel, with that channel’s own share of the volts', () => {
    const plan = smallPlan((made): Plan => {
      const two = onChannels({ share: 0.25 }, { channel: 'ht.2', share: 0.75 })(made)
      const proof: Proof = { ...limit, channel: 'ht.2' }
      return {
        ...two,
        kind: 'qualify',
        steps: two.steps.map((step) =>
          step.index === 8 ? { ...step, do: 'prove', rail: 'HT', proof } : step,
        ),
      }
    })
    const d = momentOf(plan, 7, {
      ...{ part: 'prove tell', rails: standing(plan, 'HT', 250, 0.05), intent: { id: 1, recorded: true } },
    })
    advanceProof(d, d.s.plan.steps[7]!)
    const lines = d.out.filter((one) => one.kind === 'line')
    expect(lines).toMatchObject([{ channel: 'ht.2', do: 'limits', limit_A: 0.03 }])
    const [line] = lines
    const level = line?.kind === 'line' && line.do === 'limits' ? line.over_voltage_V : null
    expect(level).toBeCloseTo(0.75 * plan.steps[7]!.limits['HT']!.over_voltage_V, 6)
  })

  it('has a sign only in the third reading in a row at the limit, and no output is off by it', () => {
    const seen = (A: number, count: number) => {
      const HT = { A: { value: A, t_us: now_us }, in_window: { count, at_us: told_us + 1 } }
      const { d, step } = under(limit, { HT })
      advanceProof(d, step)
      return d.s.proof
    }
    expect(seen(0.03, 2)).toMatchObject({ seen_us: now_us, off: false })
    expect(seen(0.03, 1)?.seen_us).toBeNull()
    expect(seen(0.05, 2)?.seen_us).toBeNull()
  })
})

describe('a protection that says it fired while its terminals stand', () => {
  it('is kept as a contradiction, with no word of other outputs where none stand beside', () => {
    const { d, step } = under(proofOf('over-current', { level: 0.03 }), {
      proof: { fired: 'over-current', seen_us: now_us - 6e6, told_us: now_us - 7e6 },
    })
    advanceProof(d, step)
    expect(d.broken).toMatchObject([{ code: 'protection', rail: 'HT' }])
    const [data] = judged(d)
    expect(data).toMatchObject({ proof: 'over-current', result: 'contradicts', said: true })
    expect(Object.keys(data ?? {})).not.toContain('outputs')
  })
})

describe('a set-point that a latched supply does not take to zero', () => {
  const others: Proof['others'] = [
    { channel: 'bias.1', rail: 'BIAS', stated: 'goes' },
    { channel: 'lt.1', rail: 'LT', stated: 'goes' },
  ]
  const left = (channel: string, phase: 'running' | 'making off' = 'running'): boolean => {
    const { d } = under(proofOf('dead-man', { others }), { part: 'prove off', more: { phase } })
    return notZeroed(d, channel, 'latched')
  }

  it('is left to a person where it is the output that was proved, or any that stood beside it', () => {
    expect(['ht.1', 'bias.1', 'lt.1', 'other.1'].map((channel) => left(channel))).toEqual([
      ...[true, true, true, false],
    ])
  })

  it('is not while a run goes off: there it is told again until it is down', () => {
    expect(left('ht.1', 'making off')).toBe(false)
  })
})
