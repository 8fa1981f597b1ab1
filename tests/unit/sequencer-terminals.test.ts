import { describe, expect, it } from 'vitest'
import type { State } from '../../src/sequencer/index.js'
import { noteNothing, outputsProved } from '../../src/sequencer/start.js'
import { momentOf, now_us } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What is read of an output before anything is switched on, looked at in one moment. */

describe('the terminals of an output, before it is believed to be off', () => {
  interface Seen {
    readonly channel?: Partial<State['channels'][string]>
    /** Since the cautions, and since HT last fell, s. */
    readonly waited_s?: number
    readonly still_s?: number
  }
  const quiet = { output: 'off', nothing: { V: 3, A: 3 } } as const
  /** Heaters and bias are off and quiet; HT is as it is said. */
  const proved = ({ channel = {}, waited_s = 0, still_s = 0 }: Seen) => {
    const plan = smallPlan()
    const { channels } = momentOf(plan, 0).s
    const zero = { value: 0, t_us: now_us }
    const known = Object.entries(channels).map(([name, each]) => [
      name,
      { ...each, ...quiet, V: zero, A: zero, lowest: { ...zero, t_us: now_us - still_s * 1e6 } },
    ])
    const all = Object.fromEntries(known) as State['channels']
    const d = momentOf(plan, 0, {
      ...{ outputs_proved: false, begun_us: now_us - waited_s * 1e6 },
      channels: { ...all, 'ht.1': { ...all['ht.1']!, ...channel } },
    })
    return { open: outputsProved(d), broken: d.broken, warnings: d.s.warnings, kept: d.s.outputs_proved }
  }
  const waits = { open: false, broken: [], warnings: [], kept: false }

  it('are three readings each that show nothing, of an output that reads as off', () => {
    expect(proved({})).toMatchObject({ open: true, kept: true })
    for (const nothing of [
      { V: 2, A: 3 },
      { V: 3, A: 2 },
    ])
      expect(proved({ channel: { nothing } })).toEqual(waits)
    for (const output of ['on', 'unknown'] as const) expect(proved({ channel: { output } })).toEqual(waits)
  })

  it('that were not read, or whose output says nothing of itself, are a line that does not answer: ten seconds', () => {
    for (const unread of [{ V: null }, { A: null }, { lowest: null }, { output: 'unknown' }] as const) {
      const channel = { nothing: { V: 0, A: 0 }, ...unread }
      expect(proved({ channel, waited_s: 10, still_s: 10 })).toEqual(waits)
      const late = proved({ channel, waited_s: 10.1, still_s: 10.1 })
      expect(late).toMatchObject({ open: false, broken: [{ code: 'line-lost' }] })
      expect(late.broken[0]?.text).toMatch(/^ht\.1 did not answer or did not read back as off within 10 s/)
    }
  })

  it('that stand are waited for as long as they fall, ten minutes at most, and refused then', () => {
    const channel = { nothing: { V: 0, A: 3 }, V: { value: -40, t_us: now_us } }
    const falls = proved({ channel, waited_s: 500, still_s: 10 })
    expect([falls.broken, falls.warnings]).toEqual([
      [],
      [expect.stringContaining('HT (ht.1) is off and its')],
    ])
    for (const over of [
      { waited_s: 500, still_s: 10.1 },
      { waited_s: 600.1, still_s: 1 },
    ]) {
      const [first] = proved({ channel, ...over }).broken
      expect(first).toMatchObject({ code: 'read-back' })
      expect(first?.text).toMatch(/^HT \(ht\.1\) stands at -40 V, though/)
    }
    expect(proved({ channel, waited_s: 600, still_s: 1 }).broken).toEqual([])
  })

  it('that carry a current are refused with that, and nobody waits for a charge there', () => {
    const channel = { nothing: { V: 3, A: 0 }, A: { value: 0.004, t_us: now_us } }
    const { broken, warnings } = proved({ channel, waited_s: 11, still_s: 11 })
    expect(broken[0]?.text).toMatch(/^HT \(ht\.1\) stands at 0(\.0+)? V and carries 4 mA, though/)
    expect(warnings).toEqual([])
  })

  /** How many readings in a row showed nothing, once this came after two that did. */
  const counted = (quantity: 'V' | 'A', value: number, more: Partial<State> = {}, plus = 0.0002): number => {
    const plan = smallPlan((small) => {
      const HT = small.rails['HT']!
      const part = { ...HT.channels[0]!, accuracy_A: { of_reading: 0.002, plus } }
      return { ...small, rails: { ...small.rails, HT: { ...HT, channels: [part] } } }
    })
    const { channels } = momentOf(plan, 0).s
    const seen = { nothing: { V: 2, A: 2 }, [quantity]: { value, t_us: now_us } }
    const d = momentOf(plan, 0, {
      ...{ outputs_proved: false, channels: { ...channels, 'ht.1': { ...channels['ht.1']!, ...seen } } },
      ...more,
    })
    noteNothing(d, 'ht.1', quantity)
    expect(d.s.channels['ht.1']?.nothing[quantity === 'V' ? 'A' : 'V']).toBe(2)
    return d.s.channels['ht.1']!.nothing[quantity]
  }

  it('show nothing below five volts of either sign, and up to the zero error or the last digit of a current', () => {
    expect([counted('V', 4.9), counted('V', -4.9), counted('V', 5), counted('V', -5)]).toEqual([3, 3, 0, 0])
    expect([counted('A', 0.0002), counted('A', -0.0002), counted('A', 0.0003)]).toEqual([3, 3, 0])
    expect([counted('A', 0.0001, {}, 0.00001), counted('A', 0.0002, {}, 0.00001)]).toEqual([3, 0])
  })

  it('are not counted before the cautions, nor once they were proved', () => {
    expect([counted('V', 0, { begun_us: null }), counted('V', 0, { outputs_proved: true })]).toEqual([2, 2])
  })

  it('have fallen by three last digits, or they stand', () => {
    const lowest = (before: number | null, now: number): number | undefined => {
      const plan = smallPlan()
      const { channels } = momentOf(plan, 0).s
      const known = {
        V: { value: now, t_us: now_us },
        lowest: before === null ? null : { value: before, t_us: now_us - 5e6 },
      }
      const d = momentOf(plan, 0, {
        outputs_proved: false,
        channels: { ...channels, 'ht.1': { ...channels['ht.1']!, ...known } },
      })
      noteNothing(d, 'ht.1', 'V')
      return d.s.channels['ht.1']?.lowest?.t_us
    }
    const [fell, stood] = [now_us, now_us - 5e6]
    expect([lowest(null, 40), lowest(40, 39.6), lowest(-40, -39.6)]).toEqual([fell, fell, fell])
    expect([lowest(40, 39.8), lowest(40, 41), lowest(-40, -41)]).toEqual([stood, stood, stood])
    const amps = momentOf(smallPlan(), 0, { outputs_proved: false })
    amps.s.channels['ht.1']!.A = { value: 0, t_us: now_us }
    noteNothing(amps, 'ht.1', 'A')
    expect(amps.s.channels['ht.1']).toMatchObject({ lowest: null, nothing: { V: 0, A: 1 } })
  })
})
