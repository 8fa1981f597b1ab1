import { describe, expect, it } from 'vitest'
import type { OffPlan } from '../../src/plan/index.js'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, off_channel, offPlan } from '../helpers/safe-off-play.js'

/** When heaters and bias go, to the tenth of a second: each rule at its bound, and with one of two rails behind. */

const [HT, HEATER, BIAS] = [ht.channel, heater.channel, bias.channel]
const screen = { ...off_channel('SCR.1', 'HT', 0), rail: 'screen', role: 'screen' as const }
const hand = (role: 'heater' | 'bias'): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail: role, role, class: 'hand', volts_meter: null, amps_meter: null, no_A: 0 },
})
const both = { channels: [screen, ht, heater, bias] }
const soon = { heaters_off_after_s: 0.5 }
const byTime = { only_wire_between: false, discharge_s: 2 }
const byCold = { only_wire_between: false, cathodes_cold_s: 1 }

describe('to the moment', () => {
  it('heaters go when they have waited their time for HT that does not fall', () => {
    const bench = new Bench(offPlan({}, { heaters_off_after_s: 1 }), { t_us: 50e6 }).ignores(HT, 250)
    expect(bench.pass(1.2).off(HEATER)?.t_s).toBe(51)
  })

  it('heaters wait as long after a sleep, in which the OFF may have waited too', () => {
    const bench = new Bench(offPlan({}, { heaters_off_after_s: 3 })).ignores(HT, 250).pass(0.2)
    bench.t_us += 30e6
    // Of the sleep one second counts: so old a reading may be.
    expect(bench.pass(3.5).off(HEATER)?.t_s).toBe(32.1)
  })

  it('heaters of a slow bench wait out a stop that is shorter than the gap it would have to be for a sleep', () => {
    const bench = new Bench(offPlan({}, { heaters_off_after_s: 30, stale_s: 8 })).ignores(HT, 250).pass(0.2)
    bench.t_us += 30e6
    expect(bench.pass(1).state.awake_us).toBe(0)
    expect(bench.off(HEATER)).toBeUndefined()
  })

  it('the bias goes when the computed time since HT read back as off is over', () => {
    const bench = new Bench(offPlan(byTime)).pass(2.3)
    expect(bench.state.rails[ht.rail]?.down_us).toBe(100_000)
    expect(bench.off(BIAS)?.t_s).toBe(2.1)
  })

  it('the bias goes when a heater that was late has been confirmed off for as long as cathodes take', () => {
    const bench = new Bench(offPlan(byCold)).ignores(HEATER, 6).pass(1)
    bench.on[HEATER] = false
    bench.pass(1.5)
    expect(bench.state.heaters_off_us).toBe(300_000)
    expect(bench.state.rails[heater.rail]?.confirmed_us).toBe(1_300_000)
    expect(bench.off(BIAS)?.t_s).toBe(2.3)
  })

  it('HT goes three seconds after a run-down told a screen that does not obey, whenever that began', () => {
    const bench = new Bench(offPlan({}, both), { how: 'run down', t_us: 100e6 }).ignores('SCR.1', 100)
    expect(bench.pass(3.2).off(HT)).toEqual({ t_s: 103, how: 'urgent off' })
  })
})

describe('one of two that is not down holds the bias', () => {
  it.each([
    ['the screen', 'SCR.1'],
    ['HT', HT],
  ])('%s, by measured volts and by cold cathodes', (_, stands) => {
    for (const release of [{}, byCold]) {
      const bench = new Bench(offPlan(release, { ...both, ...soon }))
      bench.stays[stands] = () => 80
      expect(bench.pass(2.5).off(BIAS)).toBeUndefined()
      expect(bench.confirmed[heater.rail]).toMatch(/off/)
    }
  })

  it.each([
    ['the screen', 'SCR.1'],
    ['HT', HT],
  ])(
    '%s, which is not read again after a sleep; and in the moment in which it is, the bias goes',
    (_, away) => {
      const bench = new Bench(offPlan({ ...byTime, discharge_s: 60 }, both)).pass(0.5)
      bench.away.add(away)
      bench.t_us += 3600e6
      expect(bench.pass(0.5).off(BIAS)).toBeUndefined()
      bench.away.delete(away)
      expect(bench.pass(0.2).off(BIAS)?.t_s).toBe(3601.1)
    },
  )

  it('a reading in the very moment of waking is one after the sleep', () => {
    const bench = new Bench(offPlan({ ...byTime, discharge_s: 60 })).pass(0.5)
    bench.t_us += 3600e6
    expect(bench.pass(0.2).off(BIAS)?.t_s).toBe(3600.6)
  })

  it('a second bias that is on: it holds the tubes, whatever the other does', () => {
    const other = { ...bias, channel: 'LV.3', rail: 'bias 2' }
    const outputs = { [HT]: 'on', [HEATER]: 'on', [BIAS]: 'off', 'LV.3': 'on' } as const
    const plan = offPlan({}, { ...soon, channels: [ht, heater, bias, other] })
    const bench = new Bench(plan, { outputs }).ignores(HT, 250)
    bench.on[BIAS] = false
    expect(bench.pass(1).state.bias_released_by).toBeNull()
    expect(bench.off('LV.3')).toBeUndefined()
  })
})

describe('the bench file alone', () => {
  it('lets heaters go by HT that it measures low, the bias neither by that nor by a computed time', () => {
    const bench = new Bench(offPlan({ discharge_s: 0.2 }, { knobs: null, heaters_off_after_s: 1 })).pass(1.5)
    expect(bench.off(HEATER)?.t_s).toBe(0.3)
    expect(bench.state.bias_released_by).toBeNull()
  })

  it('lets heaters go only by their time where it knows of no HT', () => {
    const plan = offPlan({}, { channels: [heater, bias], knobs: null, heaters_off_after_s: 1 })
    const bench = new Bench(plan).pass(1.5)
    expect(bench.off(HEATER)?.t_s).toBe(1)
    expect(bench.state.bias_released_by).toBeNull()
  })
})

describe('a set without a heater rail', () => {
  it('has no cold cathodes to wait for, and nothing is said of heaters that went off', () => {
    const bench = new Bench(offPlan(byCold, { channels: [ht, bias] })).pass(2.5)
    expect(bench.confirmed[ht.rail]).toMatch(/off/)
    expect(bench.off(BIAS)).toBeUndefined()
    expect(bench.records().join()).not.toContain('Heaters off')
  })
})

describe('a run-down', () => {
  it('tells HT once, when the screen is off', () => {
    const bench = new Bench(offPlan({}, both), { how: 'run down' }).pass(1)
    const told = bench.acts.filter((act) => act.do === 'off' && act.channel === HT)
    expect(told).toMatchObject([{ t_s: 0.1 }])
  })

  it('that was made urgent tells HT once, and does not find out later that it should', () => {
    const bench = new Bench(offPlan({}, both), { how: 'run down' }).ignores('SCR.1', 100).pass(0.5)
    bench.feed({ kind: 'urgent' })
    expect(bench.off(HT)).toEqual({ t_s: 0.5, how: 'urgent off' })
    expect(bench.pass(2.7).records().join()).not.toContain('A screen or drive output')
    bench.on['SCR.1'] = false
    bench.pass(0.2)
    expect(bench.acts.filter((act) => act.do === 'off' && act.channel === HT)).toEqual([])
  })
})

describe('what a person says of a knob', () => {
  const begin = (): Bench => {
    const plan = offPlan({}, { ...soon, channels: [ht], knobs: [hand('heater'), hand('bias')] })
    return new Bench(plan, { asks: true }).ignores(HT, 250)
  }

  it('is said of this one, and of no other', () => {
    const bench = begin()
    bench.feed({ kind: 'said', rail: 'bias', volts: 0 })
    expect(bench.pass(1).state.bias_released_by).toBe('it was off already')
  })

  it('of one that is not in the set counts for nothing', () => {
    const bench = begin()
    const before = bench.state
    bench.feed({ kind: 'said', rail: 'drive', volts: 0 })
    expect(bench.state).toEqual({ ...before, t_us: bench.t_us })
  })
})
