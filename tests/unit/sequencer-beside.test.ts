import { describe, expect, it } from 'vitest'
import type { Proof } from '../../src/plan/index.js'
import {
  besideAt,
  besideOff,
  besideSeen,
  besideTaken,
  isBeside,
  takenWords,
} from '../../src/sequencer/beside.js'
import type { Draft, ProofState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Outputs of a supply that stand beside the one whose dead-man is proved: what became of them, from fresh readings alone. */

const plan = smallPlan()
const alone: Proof = {
  ...{ of: 'dead-man', channel: 'ht.1', limit_A: null, level: null, within_s: 4 },
  because: 'invented for this test',
}
const proof: Proof = { ...alone, others: [{ channel: 'bias.1', rail: 'BIAS', stated: 'stays' }] }
const both: Proof = {
  ...proof,
  others: [...(proof.others ?? []), { channel: 'lt.1', rail: 'LT', stated: 'stays' }],
}
/** The timer ran out 30 s ago: time to look at what stands beside is over. */
const out_us = now_us - 30e6
const before_us = out_us - 1e6
const after_us = out_us + 1e6

const begun: ProofState = {
  ...{ told_us: out_us - 4e6, from_V: 3, said_before: 'unknown', said_during: 'unknown', seen_us: null },
  ...{ fired: null, off: false, refused: null, result: null, zeroed: false, others: {} },
}
type Other = ProofState['others'][string]
const at = (
  V: { value: number; t_us: number } | null,
  read: Other['read'],
  more: Partial<State> = {},
): Draft => {
  const other: Other = { from_V: 3, read, did: null, told_off: false }
  return momentOf(plan, 0, {
    proof: { ...begun, others: { 'bias.1': other } },
    rails: standing(plan, 'BIAS', 3, 0.001, { V }),
    ...more,
  })
}
/** What is found of the output beside. */
function found(d: Draft): string {
  besideSeen(d, proof)
  return besideTaken(d.s, proof)[0]?.did ?? ''
}

describe('an output beside one whose dead-man was let run out', () => {
  it('stayed on or went off by what was read after the timer ran out', () => {
    expect(found(at({ value: 3, t_us: after_us }, { on: true, t_us: after_us }))).toBe('stayed on')
    expect(found(at({ value: 0.1, t_us: after_us }, { on: false, t_us: after_us }))).toBe('went off')
    // A charge holds the volts up half way: what the supply says of its output tells.
    expect(found(at({ value: 2, t_us: after_us }, { on: false, t_us: after_us }))).toBe('went off')
  })

  it('is not clear where volts or state were last read before the timer ran out, or never', () => {
    const on = { on: true, t_us: after_us }
    expect(found(at({ value: 3, t_us: before_us }, on))).toBe('not clear')
    expect(found(at({ value: 0.1, t_us: before_us }, { on: false, t_us: after_us }))).toBe('not clear')
    expect(found(at(null, on))).toBe('not clear')
    expect(found(at({ value: 3, t_us: after_us }, { on: true, t_us: before_us }))).toBe('not clear')
    expect(found(at({ value: 0.1, t_us: after_us }, { on: false, t_us: before_us }))).toBe('not clear')
    expect(found(at({ value: 3, t_us: after_us }, null))).toBe('not clear')
  })

  it('counts as off below half its volts whatever is said of it, and as on within what its read-back can tell', () => {
    const said = (value: number, on: boolean, from_V = 3): string => {
      const other: Other = { from_V, read: { on, t_us: after_us }, did: null, told_off: false }
      return found(at({ value, t_us: after_us }, null, { proof: { ...begun, others: { 'bias.1': other } } }))
    }
    expect([1.4, 1.5, 2.7].map((value) => said(value, true))).toEqual(['went off', 'not clear', 'not clear'])
    // Two last digits of 0.1 V, or a fiftieth where that is more: 19.6 V of 20 V.
    expect([2.79, 2.81].map((value) => said(value, true))).toEqual(['not clear', 'stayed on'])
    expect([19.59, 19.6, 19.7].map((value) => said(value, true, 20))).toEqual([
      ...['not clear', 'stayed on', 'stayed on'],
    ])
    expect(said(19.7, false, 20)).toBe('not clear')
  })

  it('is not clear where it was read in the very moment in which the timer ran out', () => {
    const on = { on: true, t_us: after_us }
    expect(found(at({ value: 3, t_us: out_us }, on))).toBe('not clear')
    expect(found(at({ value: 3, t_us: after_us }, { on: true, t_us: out_us }))).toBe('not clear')
    expect(takenWords([{ channel: 'bias.1', did: 'not clear', stated: 'stays' }])).toBe(
      ' bias.1 did not show clearly whether it went, though the dead-man is stated to take this output alone.',
    )
    expect(takenWords([])).toBe('')
    const one = { did: 'went off', stated: 'goes' } as const
    expect(
      takenWords([
        { channel: 'a.1', ...one },
        { channel: 'b.1', ...one },
      ]),
    ).toBe(' a.1 went off, as it should. b.1 went off, as it should.')
  })

  it('is looked at no sooner than five seconds after the timer ran out, and waited for until every one is known', () => {
    const told_us = (since_s: number): number => now_us - (4 + since_s) * 1e6
    const known = { value: 3, t_us: now_us }
    const other: Other = { from_V: 3, read: { on: true, t_us: now_us }, did: null, told_off: false }
    const seen = (since_s: number, two: Readonly<Record<string, Other>> = {}): boolean => {
      const others = { 'bias.1': other, ...two }
      const d = at(known, null, { proof: { ...begun, told_us: told_us(since_s), others } })
      return besideSeen(d, two['lt.1'] === undefined ? proof : both)
    }
    expect([4.9, 5, 6].map((since_s) => seen(since_s))).toEqual([false, true, true])
    // Of the heaters nothing was read yet: twenty seconds, and no longer.
    const unknown: Other = { ...other, read: null }
    expect([6, 19.9, 20].map((since_s) => seen(since_s, { 'lt.1': unknown }))).toEqual([false, false, true])
  })

  it('is each that the proof names, and no other rail', () => {
    expect(['BIAS', 'LT', 'HT'].map((rail) => isBeside(both, rail))).toEqual([true, true, false])
    expect(isBeside(alone, 'BIAS')).toBe(false)
  })

  it('is called as it should be only where it did what is stated of it', () => {
    const said = (did: 'went off' | 'stayed on', stated: 'goes' | 'stays'): string =>
      takenWords([{ channel: 'bias.1', did, stated }])
    expect(said('went off', 'goes')).toBe(' bias.1 went off, as it should.')
    expect(said('stayed on', 'stays')).toBe(' bias.1 stayed on, as it should.')
    expect(said('went off', 'stays')).toMatch(
      /went off, though the dead-man is stated to take this output alone/,
    )
    expect(said('stayed on', 'goes')).toMatch(/stayed on, though the dead-man is stated to take every output/)
  })

  it('is none where nothing stands beside', () => {
    expect(besideAt(momentOf(plan, 0).s, alone)).toEqual({})
    expect(besideAt(at({ value: 3, t_us: after_us }, null).s, proof)).toEqual({
      'bias.1': { from_V: 3, read: null, did: null, told_off: false },
    })
  })
})

describe('an output beside the proof, when that is over', () => {
  const channels = (output: 'on' | 'off'): Pick<State, 'channels'> => {
    const { channels } = momentOf(plan, 0).s
    return { channels: { ...channels, 'bias.1': { ...channels['bias.1']!, output } } }
  }
  const sent = (d: Draft): string[] =>
    d.out.flatMap((each) => (each.kind === 'line' ? [`${each.do} ${each.channel}`] : []))

  it('is told OFF whatever it did, without waiting for what is under way on another', () => {
    const d = at(null, null, {
      ...channels('off'),
      pending: { 7: { channel: 'ht.1', request: { do: 'off' }, t_us: now_us } },
    })
    expect(besideOff(d, proof)).toBe(false)
    expect(sent(d)).toEqual(['off bias.1'])
    expect(d.s.proof?.others['bias.1']?.told_off).toBe(true)
    const busy = at(null, null, {
      ...channels('off'),
      pending: { 7: { channel: 'bias.1', request: { do: 'off' }, t_us: now_us } },
    })
    expect(besideOff(busy, proof)).toBe(false)
    expect(sent(busy)).toEqual([])
  })

  it('is told beside others without forgetting them, and each of them must have been told', () => {
    const waits: Other = { from_V: 3, read: null, did: 'went off', told_off: false }
    const d = at(null, null, {
      ...channels('off'),
      proof: { ...begun, others: { 'bias.1': waits, 'lt.1': waits } },
    })
    besideOff(d, both)
    expect(sent(d)).toEqual(['off bias.1', 'off lt.1'])
    expect(Object.keys(d.s.proof?.others ?? {})).toEqual(['bias.1', 'lt.1'])
    // It reads back as off by itself, and nothing is known of it: it was not told.
    const unknown = at(null, null, { ...channels('off'), proof: { ...begun, others: {} } })
    expect(besideOff(unknown, proof)).toBe(false)
  })

  it('holds the proof until it reads back as off', () => {
    const told: ProofState = {
      ...begun,
      others: { 'bias.1': { from_V: 3, read: null, did: 'stayed on', told_off: true } },
    }
    expect(besideOff(at(null, null, { ...channels('on'), proof: told }), proof)).toBe(false)
    expect(besideOff(at(null, null, { ...channels('off'), proof: told }), proof)).toBe(true)
  })
})
