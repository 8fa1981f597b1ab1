import { describe, expect, it } from 'vitest'
import type { Proof } from '../../src/plan/index.js'
import { putBack, holdsLimit } from '../../src/sequencer/prove-limit.js'
import { leave } from '../../src/sequencer/prove-parts.js'
import { advanceProof, notZeroed } from '../../src/sequencer/prove.js'
import type { ChannelState, Draft, State } from '../../src/sequencer/state.js'
import { isDown } from '../../src/sequencer/under-proof.js'
import { now_us } from '../helpers/moment.js'
import { type At, proofOf, sent, told_us, under } from '../helpers/proving.js'

/* Which readings count in a proof, and what is left behind: usual limits, or an output that is off with nothing set. */

const limit = proofOf('current limit', { limit_A: 0.03 })
const dead = proofOf('dead-man', { others: [{ channel: 'bias.1', rail: 'BIAS', stated: 'goes' }] })
const besideTold = {
  'bias.1': { from_V: 3, read: null, did: 'went off' as const, told_off: true },
}

const onItsWay = (channel: string): Partial<State> => ({
  pending: { 7: { channel, request: { do: 'off' }, t_us: now_us } },
})

describe('what shows in a proof', () => {
  /** What came of these readings of HT, each so long after the telling, s. */
  const down = (readings: readonly (readonly [number, number])[], from_V = 250): boolean[] => {
    const proving = under(proofOf('off'), { proof: { from_V } })
    return readings.map(([after_s, value]) => {
      proving.state.V = { value, t_us: told_us + after_s * 1e6 }
      return isDown(proving)
    })
  }
  const four = (volts: number, from_V = 250): boolean =>
    down(
      [0.1, 0.2, 0.3, 0.4].map((s) => [s, volts]),
      from_V,
    ).at(-1) === true

  it('is down with the third reading in a row since it was told', () => {
    expect(down([0.1, 0.2, 0.3].map((s) => [s, 0]))).toEqual([false, false, true])
    expect(down([-0.2, -0.1, 0, 0.1, 0.2, 0.3].map((s) => [s, 0]))).toEqual([
      ...[false, false, false],
      ...[false, false, true],
    ])
    expect(down([0.1, 0.1, 0.1, 0.1].map((s) => [s, 0])).at(-1)).toBe(false)
  })

  it('is not down by two readings and two more with one between that stands', () => {
    const [low, high] = [0, 40]
    const volts = [low, low, high, low, low, low]
    expect(down(volts.map((V, i) => [0.1 * (i + 1), V]))).toEqual([...Array<boolean>(5).fill(false), true])
  })

  it('is down at what counts as off, or at a tenth of the few volts that stood; below its last digits nothing is told apart', () => {
    expect([four(4.9), four(5.1), four(-4.9), four(-5.1)]).toEqual([true, false, true, false])
    expect([four(1.1, 12), four(1.3, 12)]).toEqual([true, false])
    expect([four(0.29, 1), four(0.31, 1)]).toEqual([true, false])
  })

  it('was never read, is nothing', () => {
    expect(isDown(under(proofOf('off'), { HT: { V: null } }))).toBe(false)
    expect(holdsLimit(under(limit, { HT: { A: null } }), 0.03)).toBe(false)
  })

  const holds = (readings: readonly (readonly [number, number])[]): boolean[] => {
    const proving = under(limit)
    return readings.map(([after_s, value]) => {
      proving.state.A = { value, t_us: told_us + after_s * 1e6 }
      return holdsLimit(proving, 0.03)
    })
  }

  it('holds its limit with the third reading in a row since it was told, not by what flowed before', () => {
    expect(holds([-0.1, 0, 0.1, 0.2, 0.3].map((s) => [s, 0.03]))).toEqual([
      ...[false, false],
      ...[false, false, true],
    ])
  })

  it('holds its limit within a fiftieth and what its read-back may be off, above as below', () => {
    const three = (amps: number): boolean => holds([0.1, 0.2, 0.3].map((s) => [s, amps])).at(-1) === true
    expect([three(0.031), three(0.0312), three(0.029), three(0.0288)]).toEqual([true, false, true, false])
  })
})

describe('the usual limits, once a proof has no more need of its own', () => {
  const back = (over: At = {}, proof = limit): Draft => {
    const proving = under(proof, { part: 'prove back', ...over })
    putBack(proving)
    return proving.d
  }
  const usual = {
    do: 'limits',
    channel: 'ht.1',
    limit_A: expect.closeTo(0.09) as number,
    over_voltage_V: 263.5,
  }

  it('are told once the channel has nothing else on its way, and waited for', () => {
    expect(back().out).toMatchObject([usual])
    expect(sent(back({ more: onItsWay('ht.1') }))).toEqual([])
    expect(sent(back({ more: onItsWay('lt.1') }))).toEqual(['limits ht.1'])
    expect(back().s.step).toBe(7)
  })

  /** What became of it so long after they were read back, s, with HT read at so many volts so long after. */
  const after = (
    waited_s: number,
    V: number,
    regulation: 'voltage' | 'current' | 'unknown',
    read_s = waited_s,
  ) => {
    const limits_us = now_us - waited_s * 1e6
    const d = back({
      HT: { V: { value: V, t_us: limits_us + read_s * 1e6 } },
      channels: { 'ht.1': { regulation } },
      more: { limits_us, part_us: limits_us - 1e6 },
    })
    return d.broken[0] ?? (d.s.step === 8 ? 'goes on' : 'waits')
  }

  it('let it go on as soon as its volts are back and its supply says that it holds them', () => {
    expect(after(0.9, 250, 'voltage')).toBe('waits')
    expect(after(1, 250, 'voltage')).toBe('goes on')
    expect(after(2, 244, 'voltage')).toBe('waits')
    expect([after(2, 245.1, 'voltage'), after(2, 254.9, 'voltage')]).toEqual(['goes on', 'goes on'])
    expect(after(2, 256, 'voltage')).toBe('waits')
  })

  it('give a supply six seconds to say so, and then go by the volts alone', () => {
    for (const said of ['unknown', 'current'] as const) {
      expect(after(5.9, 250, said)).toBe('waits')
      expect(after(6, 250, said)).toBe('goes on')
    }
  })

  it('that bring the volts back to no more than this, or were not followed by a reading, end the run', () => {
    const lost = { code: 'off-set-point', rail: 'HT', limit: 250, unit: 'V' }
    expect(after(6, 244, 'voltage')).toMatchObject({ ...lost, measured: 244 })
    expect(after(6, 250, 'voltage', 0)).toMatchObject(lost)
    expect(after(6, 250, 'voltage', 0.1)).toBe('goes on')
    const never = back({ HT: { V: null }, more: { limits_us: now_us - 7e6, part_us: now_us - 8e6 } })
    expect(never.broken).toMatchObject([{ ...lost, measured: 0 }])
  })

  /** What the record and the warnings say of what a supply said of its own regulation before, at its limit, and after. */
  const said = (before: string, during: string, last: 'voltage' | 'current' | 'unknown', proof = limit) => {
    const d = back(
      {
        channels: { 'ht.1': { regulation: last } },
        proof: { said_before: before, said_during: during },
        more: { limits_us: now_us - 7e6, part_us: now_us - 8e6 },
      },
      proof,
    )
    expect(d.s.step).toBe(8)
    const judged = d.out.flatMap((each) =>
      each.kind === 'record' && each.entry.what === 'judgement' && 'proof' in each.entry.data
        ? [each.entry.data['result']]
        : [],
    )
    return [...judged, d.s.warnings.join()]
  }

  it('show what the word of a supply for its regulation is worth', () => {
    expect(said('voltage', 'current', 'voltage')).toEqual(['as it should', ''])
    for (const [before, during, last] of [
      ['voltage', 'voltage', 'voltage'],
      ['current', 'unknown', 'unknown'],
      ['current', 'current', 'voltage'],
      ['unknown', 'current', 'current'],
    ] as const)
      expect(said(before, during, last)).toEqual([
        'contradicts',
        expect.stringContaining('(ask_cc) is wrong'),
      ])
    expect(said('unknown', 'unknown', 'unknown')).toEqual([
      'does not tell',
      expect.stringContaining('(ask_cc) is never seen'),
    ])
    expect(said('voltage', 'unknown', 'voltage')[0]).toBe('does not tell')
    expect(said('voltage', 'current', 'unknown')[0]).toBe('does not tell')
  })

  it('show nothing of it where no current limit was proved', () => {
    expect(said('voltage', 'voltage', 'voltage', proofOf('over-current', { level: 0.03 }))).toEqual([''])
  })
})

describe('what is off at the end of a proof', () => {
  const left = (proof: Proof, output: Readonly<Record<string, ChannelState['output']>>) => {
    const proving = under(proof, {
      channels: Object.fromEntries(Object.entries(output).map(([name, each]) => [name, { output: each }])),
    })
    leave(proving)
    const { s } = proving.d
    expect(s).toMatchObject({ step: 8, proof: null, part: 'gate' })
    return ['HT', 'BIAS'].map((name) => [s.rails[name]?.energised, s.rails[name]?.set_V])
  }

  it('stands at nothing from then on, beside it too; what is on stands as it did', () => {
    const [nothing, ht, bias] = [
      [false, 0],
      [true, 250],
      [true, 40],
    ]
    expect(left(dead, { 'ht.1': 'off', 'bias.1': 'off' })).toEqual([nothing, nothing])
    expect(left(dead, { 'ht.1': 'off' })).toEqual([nothing, bias])
    expect(left(dead, { 'bias.1': 'off' })).toEqual([ht, nothing])
    expect(left(limit, { 'ht.1': 'on', 'bias.1': 'off' })).toEqual([ht, bias])
    expect(left(limit, { 'ht.1': 'unknown' })).toEqual([ht, bias])
  })

  it('has no set-point that anybody knows: it is set anew before it comes on', () => {
    const proving = under(limit, { channels: { 'ht.1': { output: 'off', set_V: 250 } } })
    leave(proving)
    expect(proving.d.s.channels['ht.1']?.set_V).toBeNull()
  })
})

describe('an output that has proved something, on its way off', () => {
  const off = { output: 'off' as const }
  /** Two readings of nothing are in: the next is the third. */
  const fallen = { V: { value: 0.1, t_us: now_us }, in_window: { count: 2, at_us: now_us - 1e5 } }
  const goesOff = (over: At = {}, proof = dead): Draft => {
    const { d, step } = under(proof, {
      part: 'prove off',
      HT: fallen,
      ...over,
      channels: { 'ht.1': off, 'bias.1': off, ...over.channels },
      proof: { others: besideTold, ...over.proof },
    })
    advanceProof(d, step)
    return d
  }

  it('is told OFF, also where it went off by itself: what stands behind a latch must not come back', () => {
    for (const over of [
      { channels: { 'ht.1': { output: 'on' } } },
      { channels: { 'ht.1': { output: 'unknown' } } },
      { proof: { off: true } },
    ] as const) {
      const d = goesOff(over)
      expect(sent(d)).toEqual(['off ht.1'])
      expect(d.s.proof).toMatchObject({ off: false, zeroed: false })
      expect(sent(goesOff({ ...over, more: onItsWay('ht.1') }))).toEqual([])
    }
  })

  it('is set to nothing once it is down and all beside it are off, and only then left', () => {
    const d = goesOff()
    expect(sent(d)).toEqual(['zero ht.1', 'zero bias.1'])
    expect(d.s).toMatchObject({ step: 7, proof: { zeroed: true } })
    expect(goesOff({ proof: { zeroed: true } }).s).toMatchObject({ step: 8, proof: null })
    expect(goesOff({ proof: { zeroed: true }, more: onItsWay('ht.1') }).s.step).toBe(7)
  })

  it('is not set to nothing while its volts stand, or one beside it does', () => {
    const stands = { HT: { V: { value: 40, t_us: now_us } } }
    for (const over of [stands, { channels: { 'bias.1': { output: 'on' } } }] as const) {
      const d = goesOff(over)
      expect([sent(d), d.s.proof?.zeroed, d.s.step]).toEqual([[], false, 7])
    }
  })

  it('has ten seconds for it', () => {
    const stands = { HT: { V: { value: 40, t_us: now_us } } }
    const after = (waited_s: number) => goesOff({ ...stands, more: { part_us: now_us - waited_s * 1e6 } })
    expect(after(10).broken).toEqual([])
    expect(after(10.1).broken).toMatchObject([{ code: 'wont-fall', rail: 'HT', measured: 40, limit: 5 }])
  })

  it('is no more than a refusal to set it to nothing that a person can see to, here alone', () => {
    const refused = (part: State['part'], channel: string, proves = true): boolean => {
      const { d, step } = under(dead, { part })
      const { proof, ...rest } = step
      d.s.plan = {
        ...d.s.plan,
        steps: d.s.plan.steps.map((each) =>
          each === step ? { ...rest, ...(proves && proof && { proof }) } : each,
        ),
      }
      const seen = notZeroed(d, channel, 'latched.')
      expect(d.s.warnings.length).toBe(seen ? 1 : 0)
      return seen
    }
    expect([refused('prove off', 'ht.1'), refused('prove off', 'bias.1')]).toEqual([true, true])
    expect([refused('prove off', 'lt.1'), refused('prove watch', 'ht.1')]).toEqual([false, false])
    expect(refused('prove off', 'ht.1', false)).toBe(false)
  })
})
