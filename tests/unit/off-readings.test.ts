import { describe, expect, it } from 'vitest'
import { doubted, lastRead } from '../../src/off/heard.js'
import { isFresh, railsOf } from '../../src/off/rails.js'
import type { Draft, OffStart } from '../../src/off/types.js'
import type { OffPlan } from '../../src/plan/index.js'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, offPlan } from '../helpers/safe-off-play.js'

/** What readings make known of a rail: what counts, how often, how old it may be, and how it is put into words. */

const [HT, HT2, HEATER] = [ht.channel, 'HTS.2', heater.channel]
const other = { ...ht, channel: HT2 }
const stack = offPlan({}, { channels: [ht, other, heater, bias] })
const knob = {
  rail: 'HT',
  role: 'HT',
  class: 'watched',
  volts_meter: 'V',
  amps_meter: null,
  no_A: 0,
} as const
const watched = offPlan({}, { channels: [heater, bias], knobs: [knob] })
const railOf = (plan: OffPlan, name: string) => railsOf(plan).find((rail) => rail.name === name)!
/** The bench at its moment, as what decides is given it. */
const draftOf = (bench: Bench): Draft => ({ s: { ...bench.state }, rails: railsOf(bench.plan), out: [] })
const known = (bench: Bench) => bench.state.rails['HT']!

describe('two channels in a row', () => {
  it('are one rail: their digits add up, and it may be as old as the slower of them allows', () => {
    const rail = (stale_s: number | undefined, other_s: number | undefined) =>
      railOf(
        offPlan(
          {},
          {
            channels: [
              { ...ht, ...(stale_s === undefined ? {} : { stale_s }) },
              { ...other, resolution_V: 0.5, ...(other_s === undefined ? {} : { stale_s: other_s }) },
            ],
          },
        ),
        'HT',
      )
    expect(rail(undefined, undefined)).toMatchObject({ resolution_V: 0.6, stale_s: null })
    expect(rail(1, 4).stale_s).toBe(4)
    expect(rail(4, 1).stale_s).toBe(4)
  })

  it('are one reading a round, not two: three rounds make it believed', () => {
    const bench = new Bench(stack)
    expect(bench.pass(0.3).confirmed['HT']).toBeNull()
    expect(bench.pass(0.1).confirmed['HT']).toMatch(/off/)
  })

  it('are as old as the older of their readings', () => {
    const bench = new Bench(stack)
    bench.stays[HT] = (t_s) => (t_s < 3 ? 61 : 0)
    bench.pass(0.5).away.add(HT2)
    expect(bench.pass(4).off(HEATER)).toBeUndefined()
    bench.away.delete(HT2)
    expect(bench.pass(0.5).off(HEATER)).toBeDefined()
  })

  it.each([
    ['the first', HT],
    ['the second', HT2],
  ])('are off only when both are read so: not while %s is on, without volts or current', (_, stays) => {
    const bench = new Bench(stack).ignores(stays, 0)
    bench.flows[stays] = 0
    expect(bench.pass(1).confirmed['HT']).toBeNull()
    expect(known(bench).down_us).toBeNull()
    bench.on[stays] = false
    expect(bench.pass(0.1).confirmed['HT']).toMatch(/off/)
  })

  it('on two ports are both doubted where one is, and a rail on a knob by neither', () => {
    const plan = offPlan({}, { channels: [ht, { ...other, port: 'B' }], knobs: [{ ...knob, rail: 'HT 2' }] })
    const bench = new Bench(plan)
    bench.meters['V'] = 0
    bench.pass(0.3)
    for (const port of [ht.port, 'B']) {
      const d = draftOf(bench)
      expect(d.s.rails['HT']).toMatchObject({ quiet: 3, low: 2, gone: 2 })
      doubted(d, port)
      expect(d.s.rails['HT']).toMatchObject({ quiet: 0, low: 0, gone: 0 })
      expect(d.s.rails['HT 2']).toMatchObject({ low: 3, gone: 3 })
    }
  })
})

describe('a reading says something about now', () => {
  it.each([
    [0.5, undefined, 1],
    [4, undefined, 8],
    [1, 4, 8],
    [4, 0.5, 1],
  ])('where %s s are stale, or %s s for this rail: for %s s', (stale_s, own_s, until_s) => {
    const channel = { ...ht, ...(own_s === undefined ? {} : { stale_s: own_s }) }
    const bench = new Bench(offPlan({}, { stale_s, channels: [channel] }))
    const fresh = (old_s: number): boolean => {
      const d = draftOf(bench)
      d.s.t_us = 100e6
      const V = { value: 0, t_us: 100e6 - Math.round(old_s * 1e6) }
      return isFresh(d, bench.plan, railOf(bench.plan, 'HT'), V)
    }
    expect([0, until_s, until_s + 0.001].map(fresh)).toEqual([true, true, false])
  })
})

describe('an output that is found on', () => {
  it('is one of which nothing was known: it is named once, and what was known is not', () => {
    const outputs = { [HT]: 'on', [HEATER]: 'off' } as const
    const bench = new Bench(offPlan(), { look_first: true, outputs, live: 'no' })
    for (const channel of [HT, HEATER]) bench.feed({ kind: 'output', channel, on: true })
    expect([bench.state.found_on, bench.state.live]).toEqual([[], 'yes'])
    bench.feed({ kind: 'output', channel: bias.channel, on: true })
    expect([bench.state.found_on, bench.state.live]).toEqual([[bias.channel], 'yes'])
  })
})

describe('the volts that are kept', () => {
  /** HT read so often, with its output off and a current that keeps it from being confirmed. */
  const read = (values: readonly number[], every_s: number, plan = offPlan()): Bench => {
    const bench = new Bench(plan)
    bench.feed({ kind: 'output', channel: HT, on: false })
    for (const value of values) {
      bench.t_us += every_s * 1e6
      bench.feed({ kind: 'reading', channel: HT, quantity: 'V', value })
    }
    return bench
  }
  const times_s = (bench: Bench): number[] => known(bench).fall.map(({ t_us }) => t_us / 1e6)

  it('are two a second, of the last twenty', () => {
    expect(times_s(read(Array<number>(15).fill(40), 0.1))).toEqual([0.1, 0.6, 1.1])
    const long = times_s(read(Array<number>(50).fill(40), 0.5))
    expect([long.length, long[0], long[39]]).toEqual([40, 5.5, 25])
  })

  it('say how low it stood only by three in a row, of the last three, and never higher than before', () => {
    const lowest = (...values: number[]): number | null => known(read(values, 0.5)).lowest_V
    expect(lowest(3, 3)).toBeNull()
    expect(lowest(3, -3, 3)).toBe(3)
    expect(lowest(3, 3, 3, 1, 1)).toBe(3)
    expect(lowest(3, 3, 3, 1, 1, 1)).toBe(1)
    expect(lowest(1, 1, 1, 2, 2, 2)).toBe(1)
    expect(lowest(1, 1, 2, 2, 2)).toBe(2)
  })

  it('begin their fall anew where they rose by more than three digits', () => {
    const wide = offPlan({}, { channels: [{ ...ht, resolution_V: 0.5 }, heater, bias] })
    const from = (...values: number[]) => known(read(values, 0.1, wide)).from
    expect(from(100, 99, 101.5)).toEqual({ value: 100, t_us: 100_000 })
    expect(from(100, 99, 101.6)).toEqual({ value: 101.6, t_us: 300_000 })
    expect(from(-100, -101.6)).toEqual({ value: -101.6, t_us: 200_000 })
  })

  it('begin their fall where the output is read back as off, not where it still was on', () => {
    const bench = new Bench(offPlan(), { volts: { HT: { value: 250, t_us: 0 } } }).ignores(HT, 100)
    bench.flows[HT] = 0
    bench.pass(1)
    expect(known(bench).from).toEqual({ value: 100, t_us: 1e6 })
    // From 100 V this is no fall as stated, from 250 V it would be.
    bench.on[HT] = false
    bench.stays[HT] = (t_s) => 100 - 0.5 * (t_s - 1)
    expect(bench.pass(1.5).confirmed['HT']).toBeNull()
  })
})

describe('what was last read back, in words', () => {
  const words = (plan: OffPlan, start: Partial<OffStart>, name = 'HT'): string => {
    const bench = new Bench(plan, start)
    return lastRead(draftOf(bench), railOf(plan, name))
  }
  const volts = { HT: { value: 30, t_us: 0 } }

  it.each([
    ['on', { [HT]: 'on' }, 'last read back: output on, 30 V at the supply'],
    ['off', { [HT]: 'off' }, 'last read back: output off, 30 V at the supply'],
    ['unknown', { [HT]: 'unknown' }, 'last read back: 30 V at the supply'],
    ['never read', {}, 'last read back: 30 V at the supply'],
  ] as const)('tells of an output that is %s, with the volts at the supply', (_, outputs, told) => {
    expect(words(offPlan(), { outputs, volts })).toBe(told)
  })

  it('tells of a stack that is on where one of it is, and off only where both are', () => {
    const told = (first: 'on' | 'off', second: 'on' | 'off' | 'unknown'): string =>
      words(stack, { outputs: { [HT]: first, [HT2]: second } })
    expect(told('off', 'on')).toBe('last read back: output on')
    expect(told('off', 'off')).toBe('last read back: output off')
    expect(told('off', 'unknown')).toBe('nothing was read back of it')
  })

  it('tells of a knob what its meter shows, and of no output', () => {
    expect(words(watched, { volts })).toBe('last read back: 30 V by its meter')
    expect(words(watched, {})).toBe('nothing was read back of it')
  })
})
