import { describe, expect, it } from 'vitest'
import type { Proof } from '../../src/plan/index.js'
import { advanceProof, leftAlone, proofUnderWay } from '../../src/sequencer/prove.js'
import type { Draft, State } from '../../src/sequencer/state.js'
import { now_us, recorded } from '../helpers/moment.js'
import { type At, proofOf, sent, under } from '../helpers/proving.js'

/* What is brought about on purpose: how it is told, what shows that it happened, and what is no part of it. */

const limit = proofOf('current limit', { limit_A: 0.03 })
const level = proofOf('over-current', { level: 0.03 })
const dead = proofOf('dead-man', { others: [{ channel: 'bias.1', rail: 'BIAS', stated: 'goes' }] })
const says = proofOf('dead-man', { says: true })

/** Two readings of nothing are in: the next is the third. */
const fallen = { V: { value: 0.1, t_us: now_us }, in_window: { count: 2, at_us: now_us - 1e5 } }
const stands = { V: { value: 250, t_us: now_us } }
const advanced = (proof: Proof, over: At = {}): Draft => {
  const { d, step } = under(proof, over)
  advanceProof(d, step)
  return d
}
type Told = NonNullable<At['proof']>
const result = (d: Draft): unknown =>
  d.out.flatMap((each) =>
    each.kind === 'record' && each.entry.what === 'judgement' && each.entry.data['proof'] !== undefined
      ? [each.entry.data['result']]
      : [],
  )[0]

describe('a proof under way', () => {
  const of = (proof: Proof, rail: string, part: State['part'], more: Partial<State> = {}) => {
    const { s } = under(proof, { part, more }).d
    return [proofUnderWay(s, rail)?.of ?? null, leftAlone(s, rail)]
  }

  it('is that of its own rail, and of those beside it, as long as one of its parts lasts', () => {
    for (const part of ['prove tell', 'prove watch', 'prove back', 'prove off'] as const) {
      expect(of(level, 'HT', part)).toEqual(['over-current', false])
      expect(of(dead, 'BIAS', part)[0]).toBe('dead-man')
      expect([of(level, 'BIAS', part), of(dead, 'LT', part)]).toEqual([
        [null, false],
        [null, false],
      ])
    }
    for (const part of ['gate', 'intent', 'hold'] as const)
      expect(of(dead, 'HT', part)).toEqual([null, false])
    expect(of(dead, 'HT', 'prove watch', { phase: 'making off' })).toEqual([null, false])
    expect(of(dead, 'HT', 'prove watch', { step: 8 })).toEqual([null, false])
  })

  it('leaves a supply alone only while its dead-man is to run out', () => {
    expect([of(dead, 'HT', 'prove watch')[1], of(dead, 'BIAS', 'prove watch')[1]]).toEqual([true, true])
    expect([of(dead, 'HT', 'prove off')[1], of(proofOf('cut-off relay'), 'HT', 'prove watch')[1]]).toEqual([
      ...[false, false],
    ])
  })
})

describe('what a supply is told for its proof', () => {
  const told = (proof: Proof, over: At = {}) => advanced(proof, { part: 'prove tell', ...over })
  const usual = { limit_A: expect.closeTo(0.09) as number, over_voltage_V: 263.5 }
  const line = (proof: Proof, over?: At) => told(proof, over).out.filter(({ kind }) => kind === 'line')

  it('is OFF, or one limit or level with all else as it was, or nothing for as long as its timer has', () => {
    expect(line(proofOf('off'))).toMatchObject([{ do: 'off', channel: 'ht.1' }])
    expect(line(limit)).toMatchObject([{ do: 'limits', ...usual, limit_A: 0.03 }])
    expect(line(limit)[0]).not.toHaveProperty('over_current_A')
    expect(line({ ...limit, level: 0.06 })).toMatchObject([{ limit_A: 0.03, over_current_A: 0.06 }])
    expect(line(proofOf('over-voltage', { level: 200 }))).toMatchObject([
      { do: 'limits', ...usual, over_voltage_V: 200 },
    ])
    expect(line(level)).toMatchObject([{ do: 'limits', ...usual, over_current_A: 0.03 }])
    expect([line(proofOf('cut-off relay')), line(proofOf('outside timer'))]).toEqual([[], []])
  })

  it('of a dead-man is to be left unfed for its time, below the touch limit, and armed again only for a run', () => {
    const fed = (kind: 'qualify' | 'receive', target_V: number) => {
      const { d, step } = under(dead, { part: 'prove tell', kind })
      const at = { ...step, target_V }
      d.s.plan = { ...d.s.plan, steps: d.s.plan.steps.map((each) => (each === step ? at : each)) }
      advanceProof(d, at)
      return d.out.filter(({ kind: what }) => what === 'line')
    }
    expect(fed('qualify', 60)).toEqual([{ kind: 'line', id: 1, channel: 'ht.1', do: 'starve', for_s: 10 }])
    expect(fed('receive', 5)).toMatchObject([{ do: 'starve', arm_again: true }])
    expect([fed('qualify', 61), fed('receive', 6)]).toEqual([[], []])
  })

  it('waits for what is on its way to that channel', () => {
    const pending = (channel: string): At => ({
      more: { pending: { 7: { channel, request: { do: 'off' }, t_us: now_us } } },
    })
    expect(sent(told(level, pending('ht.1')))).toEqual([])
    expect(sent(told(level, pending('lt.1')))).toEqual(['limits ht.1'])
  })

  it('is kept with what stood and what the supply said of itself before, and watched from then on', () => {
    const d = told(level, {
      HT: stands,
      channels: { 'ht.1': { regulation: 'voltage' } },
      proof: { fired: 'x' },
    })
    expect(d.s).toMatchObject({
      part: 'prove watch',
      part_us: now_us,
      proof: {
        told_us: now_us,
        from_V: 250,
        said_before: 'voltage',
        seen_us: null,
        fired: null,
        result: null,
      },
    })
    expect(told(level, { HT: { V: null, set_V: 240 } }).s.proof?.from_V).toBe(240)
    const fresh = { said_during: 'unknown', off: false, refused: null, zeroed: false }
    const old = { said_during: 'current', off: true, refused: 'x', zeroed: true, result: 'x' }
    expect(told(level, { proof: old }).s.proof).toMatchObject({ ...fresh, result: null })
    expect(told(dead).s.proof?.others).toMatchObject({ 'bias.1': { from_V: 40, told_off: false } })
  })

  it('is told in the record as well, with what stood', () => {
    const [first] = told({ ...limit, level: 0.06 }, { HT: stands }).out
    expect(first).toMatchObject({
      entry: {
        ...{ what: 'command', rail: 'HT' },
        data: { proof: 'current limit', told: true, limit_A: 0.03, level: 0.06, volts: 250 },
      },
    })
    const unread = told(limit, { HT: { V: null } }).out[0]
    expect(unread).toMatchObject({ entry: { data: { volts: null } } })
    for (const [proof, words] of [
      [proofOf('off'), 'told OFF, and its fall is measured'],
      [limit, 'told to limit at 30 mA, less than its load draws'],
      [proofOf('over-voltage', { level: 200 }), 'over-voltage level put to 200 V, below what stands'],
      [level, 'over-current level put to 30 mA, below what flows'],
      [dead, 'its dead-man is not fed for 10.0 s'],
      [proofOf('cut-off relay'), 'the cut-off relay is not fed for up to 10.0 s'],
      [proofOf('outside timer'), 'the outside timer has up to 10 s to cut'],
    ] as const)
      expect(recorded(told(proof))).toBe(`HT (ht.1): ${words}.`)
  })

  it('is nothing without limits, and ends the run', () => {
    const { d, step } = under(level, { part: 'prove tell' })
    advanceProof(d, { ...step, limits: {} })
    expect([d.broken[0]?.code, sent(d), d.s.part]).toEqual(['invariant', [], 'prove tell'])
    const { d: other, step: nowhere } = under(proofOf('off', { channel: 'other.1' }), { part: 'prove tell' })
    advanceProof(other, nowhere)
    expect(other.broken[0]?.code).toBe('invariant')
  })

  it('is told anew by nobody: a proof that was not begun begins', () => {
    const d = advanced(level, { part: 'gate' })
    expect([d.s.part, sent(d)]).toEqual(['prove tell', []])
  })
})

describe('a current limit', () => {
  const held = { A: { value: 0.03, t_us: now_us }, in_window: { count: 2, at_us: now_us - 1e5 } }
  const after = (waited_s: number, over: At = {}) =>
    advanced(limit, { ...over, proof: { told_us: now_us - waited_s * 1e6, ...over.proof } })

  it('that does not hold within its time ends the run with what flows', () => {
    expect(after(10, { HT: { A: { value: 0.05, t_us: now_us } } }).broken).toEqual([])
    const d = after(10.1, { HT: { A: { value: 0.05, t_us: now_us } } })
    expect(d.broken).toMatchObject([
      { code: 'current-limit', rail: 'HT', measured: 0.05, limit: 0.03, unit: 'A' },
    ])
    expect(result(d)).toBe('does not hold')
  })

  it('that holds is held as long as the step says, with what the supply says of itself then', () => {
    expect(after(3, { HT: held }).s).toMatchObject({ part: 'prove watch', proof: { seen_us: now_us } })
    const seen = { seen_us: now_us - 5e6 }
    expect(after(29.9, { HT: held, proof: seen }).s.part).toBe('prove watch')
    const d = after(30, { HT: held, proof: seen, channels: { 'ht.1': { regulation: 'current' } } })
    expect(d.s).toMatchObject({ part: 'prove back', proof: { said_during: 'current' } })
  })
})

describe('OFF', () => {
  const off = { channels: { 'ht.1': { output: 'off' } } } as const
  const after = (waited_s: number, over: At) =>
    advanced(proofOf('off'), { ...over, proof: { told_us: now_us - waited_s * 1e6 } })

  it('is done once it reads back and the volts are gone, and how long that took is kept', () => {
    const d = after(2.5, { ...off, HT: fallen })
    expect([d.s.step, result(d)]).toEqual([8, 'went off'])
    expect(d.out[0]).toMatchObject({ entry: { data: { after_s: 2.5 } } })
  })

  it('that reads back while the volts stand, or the other way round, is none, and is waited for in its time', () => {
    for (const over of [{ ...off, HT: stands }, { HT: fallen }]) {
      expect(after(10, over)).toMatchObject({ broken: [], s: { step: 7 } })
      expect(after(10.1, over).broken).toMatchObject([{ code: 'wont-fall', rail: 'HT' }])
    }
  })
})

describe('an outside timer', () => {
  const timer = proofOf('outside timer')
  const ago = (told_s: number, seen_s: number | null): Told => ({
    ...{ told_us: now_us - told_s * 1e6, seen_us: seen_s === null ? null : now_us - seen_s * 1e6 },
  })

  it('has cut when the volts went and stayed away for fifteen seconds, and the output is put off then', () => {
    const seen = advanced(timer, { HT: fallen, proof: ago(9, null) })
    expect(seen.s).toMatchObject({ part: 'prove watch', proof: { seen_us: now_us } })
    expect(advanced(timer, { HT: fallen, proof: ago(20, 14.9) }).s.part).toBe('prove watch')
    const d = advanced(timer, { HT: fallen, proof: ago(20, 15) })
    expect(d.s).toMatchObject({ part: 'prove off', latched: true, proof: { result: 'fired' } })
    expect(d.out[0]).toMatchObject({
      entry: {
        data: {
          result: 'fired',
          said: false,
          after_s: 5,
          within_s: 10,
          from_V: 250,
          left_V: 0.1,
          away_s: 15,
        },
      },
    })
  })

  it('that does not cut in its time has not fired', () => {
    expect(advanced(timer, { HT: stands, proof: ago(10, null) }).out).toEqual([])
    const d = advanced(timer, { HT: stands, proof: ago(10.1, null) })
    expect([d.s.part, result(d)]).toEqual(['prove off', 'did not fire'])
  })

  it('that closes again more than five seconds after it cut ends the run with what came back', () => {
    expect(advanced(timer, { HT: stands, proof: ago(9, 5) })).toMatchObject({
      broken: [],
      s: { part: 'prove watch' },
    })
    const d = advanced(timer, { HT: stands, proof: ago(9, 5.1) })
    expect([result(d), d.broken[0]?.measured, d.broken[0]?.unit]).toEqual(['came back', 250, 'V'])
  })
})

describe('what was provoked', () => {
  const seen = (ago_s: number, more: Told = {}): Told => ({
    told_us: now_us - 9e6,
    seen_us: now_us - ago_s * 1e6,
    ...more,
  })

  it('happened when the volts went and the supply says so: it may be latched then, and is put off', () => {
    const d = advanced(level, { HT: fallen, proof: { fired: 'over-current' } })
    expect(d.s).toMatchObject({ part: 'prove off', latched: true, proof: { result: 'fired' }, warnings: [] })
    expect(result(d)).toBe('fired')
    expect(recorded(d)).toContain('the terminals fell, and the supply says so.')
    const said = { proof: 'over-current', result: 'fired', said: true, after_s: 3 }
    expect(d.out[0]).toMatchObject({ entry: { data: said } })
    const before = advanced(level, { HT: fallen, proof: seen(4, { fired: 'over-current' }) })
    expect(before.out[0]).toMatchObject({ entry: { data: { ...said, after_s: 5 } } })
    expect(before.out[0]).not.toHaveProperty('entry.data.outputs')
    const itself = advanced(says, { HT: fallen, proof: { fired: 'dead-man' } })
    expect([result(itself), itself.broken]).toEqual(['fired', []])
  })

  it('is waited for while it is not clear what became of the outputs beside it, up to half a minute', () => {
    const others = { 'bias.1': { from_V: 40, read: null, did: null, told_off: false } }
    const after = (HT: typeof fallen | typeof stands, ago_s: number) =>
      advanced(dead, {
        HT,
        proof: { told_us: now_us - ago_s * 1e6, ...(HT === fallen && { fired: 'dead-man' }), others },
      })
    for (const HT of [fallen, stands]) {
      const waits = after(HT, 29.9)
      expect([waits.s.part, waits.out, waits.broken]).toEqual(['prove watch', [], []])
      expect(after(HT, 30).s).toMatchObject({
        part: 'prove off',
        proof: { others: { 'bias.1': { did: 'not clear' } } },
      })
    }
  })

  it('is kept with what became of those, whether it fired or not', () => {
    const outputs = [{ channel: 'bias.1', did: 'went off', stated: 'goes' }]
    const others = { 'bias.1': { from_V: 40, read: null, did: 'went off' as const, told_off: false } }
    const long: Told = { told_us: now_us - 60e6, others }
    const fired: Told = { ...long, fired: 'dead-man' }
    for (const proof of [fired, long])
      expect(advanced(dead, { HT: proof === long ? stands : fallen, proof }).out[0]).toMatchObject({
        entry: { data: { outputs } },
      })
    const denied = advanced(dead, {
      HT: stands,
      proof: { ...fired, seen_us: now_us - 50e6 },
    })
    expect(denied.out[0]).toMatchObject({ entry: { data: { result: 'contradicts', said: true, outputs } } })
  })

  it('shows for the first time in this moment, or showed before', () => {
    expect(advanced(level, { HT: fallen, proof: { fired: null } }).s.proof?.seen_us).toBe(now_us)
    expect(advanced(level, { HT: fallen, proof: seen(4) }).s.proof?.seen_us).toBe(now_us - 4e6)
  })

  it('is waited for five seconds where only the volts went, and then the supply is said not to tell', () => {
    expect(advanced(level, { HT: fallen, proof: seen(5) }).s).toMatchObject({
      part: 'prove watch',
      latched: false,
    })
    const d = advanced(level, { HT: fallen, proof: seen(5.1) })
    expect([d.s.part, d.s.latched, result(d)]).toEqual(['prove off', true, 'fired'])
    expect(d.s.warnings.join()).toContain('fired without the supply saying so')
    const quiet = advanced(proofOf('dead-man'), { HT: fallen, proof: seen(5.1) })
    expect([quiet.s.part, quiet.s.warnings]).toEqual(['prove off', []])
  })

  it('needs no word of a supply where it cuts from outside', () => {
    const d = advanced(proofOf('cut-off relay'), { HT: fallen, proof: { seen_us: null } })
    expect([d.s.part, d.s.warnings, result(d)]).toEqual(['prove off', [], 'fired'])
  })

  it('is none where the supply says so and the volts stand: it does not switch off', () => {
    const fired = { fired: 'over-current' }
    expect(advanced(level, { HT: stands, proof: seen(5, fired) })).toMatchObject({
      broken: [],
      s: { part: 'prove watch' },
    })
    const d = advanced(level, { HT: stands, proof: seen(5.1, fired) })
    expect(d.broken).toMatchObject([{ code: 'protection', rail: 'HT' }])
    expect([result(d), d.s.latched]).toEqual(['contradicts', false])
  })

  it('that does not come in its time and five seconds more is said, and the next is proved on a dummy load', () => {
    const after = (waited_s: number) =>
      advanced(level, { HT: stands, proof: { told_us: now_us - waited_s * 1e6 } })
    expect(after(15).out).toEqual([])
    const d = after(15.1)
    expect([d.s.part, d.s.latched, d.broken]).toEqual(['prove off', false, []])
    expect([result(d), d.s.proof?.result]).toEqual(['did not fire', 'did not fire'])
    expect(d.s.warnings.join()).toContain('It protects nothing')
  })

  it('that does not come before a run of a set ends it', () => {
    const d = advanced(level, { HT: stands, kind: 'receive', proof: { told_us: now_us - 15.1e6 } })
    expect(d.broken).toMatchObject([{ rail: 'HT', limit: 10, unit: 's' }])
    expect(d.broken[0]?.measured).toBeCloseTo(15.1)
    expect(d.s.part).toBe('prove watch')
  })

  it('is not waited for where the supply took no level for it', () => {
    const d = advanced(level, { HT: stands, proof: { refused: 'no such level' } })
    expect([d.s.part, d.s.proof?.result, result(d)]).toEqual(['prove back', 'refused', 'refused'])
  })

  it('takes another output along, or leaves it, against what is stated: that is warned of', () => {
    const of = (stated: 'goes' | 'stays', did: 'went off' | 'stayed on') => {
      const proof = proofOf('dead-man', { others: [{ channel: 'bias.1', rail: 'BIAS', stated }] })
      const others = { 'bias.1': { from_V: 40, read: null, did, told_off: false } }
      return advanced(proof, {
        HT: fallen,
        proof: { told_us: now_us - 60e6, seen_us: now_us - 50e6, fired: 'dead-man', others },
      }).s.warnings
    }
    expect([of('goes', 'went off'), of('stays', 'stayed on')]).toEqual([[], []])
    for (const warnings of [of('goes', 'stayed on'), of('stays', 'went off')])
      expect(warnings).toEqual([expect.stringContaining('When the dead-man of ht.1 was left unfed: bias.1')])
  })
})

it('volts that fell without the word of a supply that could say so are recorded as not said', () => {
  const d = advanced(says, { HT: fallen, proof: { told_us: now_us - 20e6, seen_us: now_us - 9e6 } })
  expect(d.out).toMatchObject([
    {
      kind: 'record',
      entry: { what: 'judgement', data: { proof: 'dead-man', result: 'not by itself', said: false } },
    },
  ])
  expect(recorded(d)).toContain('the supply does not say that it fired')
})
