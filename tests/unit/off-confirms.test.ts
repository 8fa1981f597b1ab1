import { describe, expect, it } from 'vitest'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, offPlan } from '../helpers/safe-off-play.js'

/** What is called off, and what takes it back. HT's stated path has 2 s: a third as fast is 6 s. */

const HT = ht.channel
const decay = (from_V: number, tau_s: number) => (t_s: number) => from_V * Math.exp(-t_s / tau_s)
const bench_of = (stays: (t_s: number) => number, plan = offPlan()): Bench => {
  const bench = new Bench(plan)
  bench.stays[HT] = stays
  return bench
}

describe('an output is confirmed off', () => {
  it('by three readings without volts and current, after it reads back as off: not while it reads as on', () => {
    const bench = new Bench(offPlan()).ignores(HT, 0)
    bench.flows[HT] = 0
    bench.pass(3)
    expect(bench.records().join()).not.toContain('HT: output confirmed off')
    bench.on[HT] = false
    expect(bench.pass(0.1).confirmed[ht.rail]).toMatch(/read back as off, no current/)
  })

  it('not while a current flows, whatever the volts: by three readings without', () => {
    const bench = new Bench(offPlan())
    bench.flows[HT] = 0.04
    expect(bench.pass(2).confirmed[ht.rail]).toBeNull()
    bench.flows[HT] = -0.04
    expect(bench.pass(2).confirmed[ht.rail]).toBeNull()
    bench.flows[HT] = 0
    expect(bench.pass(0.2).confirmed[ht.rail]).toBeNull()
    expect(bench.pass(0.1).confirmed[ht.rail]).toMatch(/no current/)
  })

  it('not at 5 V that stand, and by three readings below', () => {
    const bench = bench_of((t_s) => (t_s < 4.05 ? 5 : 4.9))
    expect(bench.pass(4).confirmed[ht.rail]).toBeNull()
    expect(bench.pass(0.2).confirmed[ht.rail]).toBeNull()
    expect(bench.pass(0.1).confirmed[ht.rail]).toContain('4.9 V')
  })

  it('not by what it read long ago', () => {
    const bench = new Bench(offPlan())
    bench.away.add(HT)
    const read = (quantity: 'V' | 'A'): void => {
      for (let i = 0; i < 3; i++) {
        bench.pass(0.1)
        bench.feed({ kind: 'reading', channel: HT, quantity, value: 0 })
      }
    }
    bench.feed({ kind: 'output', channel: HT, on: false })
    read('V')
    bench.pass(2.2)
    read('A')
    expect(bench.pass(0.1).confirmed[ht.rail]).toBeNull()
    read('V')
    expect(bench.pass(0.1).confirmed[ht.rail]).toMatch(/no current/)
  })

  it('also where one wrong figure was far lower than what then stands below 5 V', () => {
    const bench = new Bench(offPlan())
    bench.stays[heater.channel] = (t_s) => (t_s > 2 && t_s < 2.65 ? 0 : 1)
    bench.flows[heater.channel] = 0.3
    bench.pass(5)
    bench.flows[heater.channel] = 0
    expect(bench.pass(1).confirmed[heater.rail]).toMatch(/read back as off/)
  })

  it('a watched rail with its own ammeter: not while that shows a current', () => {
    const meters = { volts_meter: 'V', amps_meter: 'A', no_A: 0.001 }
    const knobs = [{ rail: 'HT', role: 'HT', class: 'watched', ...meters } as const]
    const bench = new Bench(offPlan({}, { channels: [heater, bias], knobs }))
    Object.assign(bench.meters, { V: 0.4, A: 0.002 })
    expect(bench.pass(2).confirmed['HT']).toBeNull()
    bench.meters['A'] = 0.001
    expect(bench.pass(0.3).confirmed['HT']).toContain('by its meter')
  })
})

describe('HT that falls is confirmed while it falls', () => {
  it('no slower than a third as fast as its stated path', () => {
    expect(bench_of(decay(250, 5.5)).pass(3).confirmed[ht.rail]).toMatch(/falling as the stated/)
    expect(bench_of(decay(250, 6.8)).pass(6).confirmed[ht.rail]).toBeNull()
  })

  it('not by two digits that it reads less: that is no fall', () => {
    const slow = { ...ht, expected_fall: { ohm: 100_000, F: 1e-3 } }
    const bench = bench_of(
      (t_s) => (t_s < 0.55 ? 250 : 249.8),
      offPlan({}, { channels: [slow, heater, bias] }),
    )
    expect(bench.pass(0.7).confirmed[ht.rail]).toBeNull()
    expect(bench.pass(0.8).confirmed[ht.rail]).toBeNull()
    bench.stays[HT] = (t_s) => 249.8 - t_s
    expect(bench.pass(2).confirmed[ht.rail]).toMatch(/falling as the stated/)
  })

  it('not where it fell while a current still flowed, and stands since', () => {
    const slow = { ...ht, expected_fall: { ohm: 100_000, F: 1e-3 } }
    const bench = bench_of((t_s) => (t_s < 0.25 ? 250 : 240), offPlan({}, { channels: [slow, heater, bias] }))
    bench.flows[HT] = 0.04
    bench.pass(2).flows[HT] = 0
    expect(bench.pass(2).records().join()).not.toContain('HT: output confirmed off')
  })

  it('not where no path is stated', () => {
    const plan = offPlan({}, { channels: [{ ...ht, expected_fall: null }, heater, bias] })
    expect(bench_of(decay(250, 2), plan).pass(5).confirmed[ht.rail]).toBeNull()
  })

  it('from when it was read back as off, however long before it was last measured', () => {
    const volts = { [ht.rail]: { value: 250, t_us: 0 } }
    const bench = new Bench(offPlan(), { volts })
    bench.away.add(HT)
    bench.stays[HT] = (t_s) => decay(250, 2)(t_s - 5)
    bench.pass(5).away.delete(HT)
    bench.feed({ kind: 'output', channel: HT, on: false })
    bench.on[HT] = false
    expect(bench.pass(1.2).confirmed[ht.rail]).toMatch(/falling as the stated/)
  })

  it('from where its volts last rose, where they rose after OFF', () => {
    const bench = bench_of((t_s) => (t_s < 8 ? 30 : decay(250, 2)(t_s - 8)))
    bench.flows[HT] = 0.04
    bench.pass(8).flows[HT] = 0
    expect(bench.pass(1.5).confirmed[ht.rail]).toMatch(/falling as the stated/)
  })

  it('and no longer once it stands', () => {
    const bench = bench_of((t_s) => decay(250, 2)(Math.min(t_s, 2)))
    expect(bench.pass(4).confirmed[ht.rail]).toMatch(/falling as the stated/)
    expect(bench.pass(4).confirmed[ht.rail]).toBeNull()
    expect(bench.records().join()).toContain('its volts came back or stopped falling')
  })
})

describe('the alarm for HT that is not confirmed', () => {
  it('waits while HT falls, as long as the time computed for it: 24 s from 250 V', () => {
    // In steps as wide as half a second's fall: what reads the same twice may still be falling.
    const bench = bench_of((t_s) => 5 * Math.round(decay(50, 20)(t_s)))
    expect(bench.pass(23).alarms()).toEqual([])
    expect(bench.pass(2).alarms().join()).toContain('HT does not fall')
  })

  it('comes at 10 s where it fell and stands, or has not begun to fall', () => {
    for (const stays of [(t_s: number) => decay(250, 20)(Math.min(t_s, 5)), () => 250]) {
      const bench = bench_of(stays)
      expect(bench.pass(9.9).alarms()).toEqual([])
      expect(bench.pass(0.2).alarms().join()).toContain('HT does not fall')
    }
  })

  it('comes two seconds after a falling HT is no longer read', () => {
    const bench = bench_of(decay(250, 20)).pass(12)
    bench.away.add(HT)
    expect(bench.pass(1.5).alarms()).toEqual([])
    expect(bench.pass(1.5).alarms().join()).toContain('HT does not fall')
  })
})

describe('what was confirmed is taken back', () => {
  const byTime = offPlan({ only_wire_between: false, discharge_s: 20 })
  const off = (plan = byTime): Bench => {
    const bench = new Bench(plan).pass(1)
    expect(bench.confirmed[ht.rail]).toMatch(/off/)
    expect(bench.confirmed[heater.rail]).toMatch(/off/)
    return bench
  }

  it('as soon as it reads as on again, without volts or current, and HT is told again at once', () => {
    const bench = off()
    const before = bench.acts.length
    bench.ignores(HT, 0).flows[HT] = 0
    expect(bench.pass(0.1).confirmed[ht.rail]).toBeNull()
    expect(bench.acts.slice(before)).toContainEqual(
      expect.objectContaining({ do: 'urgent off', channels: [HT] }),
    )
    expect(bench.records().join()).toContain('does not read back as off')
  })

  it('by three readings of a current, not by two', () => {
    const bench = off()
    bench.flows[HT] = 0.04
    expect(bench.pass(0.2).confirmed[ht.rail]).not.toBeNull()
    expect(bench.pass(0.1).confirmed[ht.rail]).toBeNull()
    expect(bench.records().join()).toContain('current flows again')
  })

  it('by volts above 10, not by those between', () => {
    const bench = off()
    bench.stays[HT] = () => 10
    expect(bench.pass(1).confirmed[ht.rail]).not.toBeNull()
    bench.stays[HT] = () => -10.1
    expect(bench.pass(0.1).confirmed[ht.rail]).toBeNull()
  })

  it('for a heater in the order of the queue, beside nothing', () => {
    const bench = off()
    const before = bench.acts.length
    bench.stays[heater.channel] = () => 12
    bench.pass(0.1)
    const told = bench.acts.slice(before).filter((act) => act.do !== 'record')
    expect(told).toMatchObject([{ do: 'off', channel: heater.channel }])
  })

  it('and the discharge time counts anew', () => {
    const bench = off()
    bench.pass(9).flows[HT] = 0.04
    bench.pass(1).flows[HT] = 0
    expect(bench.pass(19).off(bias.channel)).toBeUndefined()
    expect(bench.pass(2).off(bias.channel)).toBeDefined()
  })

  it('is believed again only by three readings of both, and called out the second time', () => {
    const bench = off()
    const comesBack = (): void => {
      bench.flows[HT] = 0.04
      bench.pass(0.3)
      bench.flows[HT] = 0
      expect(bench.pass(0.2).confirmed[ht.rail]).toBeNull()
    }
    comesBack()
    expect(bench.pass(0.1).confirmed[ht.rail]).not.toBeNull()
    expect(bench.alarms()).toEqual([])
    comesBack()
    expect(bench.alarms().join()).toContain('HT does not fall')
  })

  it.each([
    ['volts', 'A'],
    ['current', 'V'],
  ] as const)('and not believed again by one reading of its %s', (_, often) => {
    const bench = off()
    const read = (quantity: 'V' | 'A'): void =>
      bench.feed({ kind: 'reading', channel: HT, quantity, value: 0 })
    bench.away.add(HT)
    bench.feed({ kind: 'output', channel: HT, on: true })
    bench.pass(0.1).feed({ kind: 'output', channel: HT, on: false })
    bench.t_us += 1000
    for (const quantity of ['V', 'A', often, often, often] as const) read(quantity)
    expect(bench.pass(0.1).confirmed[ht.rail]).toBeNull()
    for (const quantity of ['V', 'A', 'V', 'A'] as const) read(quantity)
    expect(bench.pass(0.1).confirmed[ht.rail]).toMatch(/off/)
  })

  it('and has its ten seconds from then on before it is called out', () => {
    const bench = off().pass(11)
    bench.stays[HT] = () => 30
    expect(bench.pass(9.9).alarms()).toEqual([])
    expect(bench.confirmed[ht.rail]).toBeNull()
    expect(bench.pass(0.5).alarms().join()).toContain('HT does not fall')
  })

  it('and falls as predicted only from where it then stood', () => {
    const bench = bench_of((t_s) => (t_s < 9 ? decay(250, 2)(Math.min(t_s, 2)) : decay(92, 20)(t_s - 9)))
    expect(bench.pass(9).confirmed[ht.rail]).toBeNull()
    bench.pass(4)
    expect(bench.records().filter((text) => text.startsWith('HT: output confirmed off'))).toHaveLength(1)
  })

  it('and may then stand higher than before, below 5 V', () => {
    const bench = off().pass(2)
    bench.stays[heater.channel] = () => 12
    expect(bench.pass(1).confirmed[heater.rail]).toBeNull()
    bench.stays[heater.channel] = () => 3
    expect(bench.pass(1).confirmed[heater.rail]).toMatch(/off/)
  })

  it('on a watched rail, whose knob is called for again', () => {
    const meters = { volts_meter: 'V', amps_meter: null, no_A: 0 }
    const knobs = [{ rail: 'HT', role: 'HT', class: 'watched', ...meters } as const]
    const bench = new Bench(offPlan({ ...byTime.bias_release }, { channels: [heater, bias], knobs }))
    bench.meters['V'] = 0
    bench.pass(1).meters['V'] = 120
    expect(bench.pass(0.1).confirmed['HT']).toBeNull()
    expect(bench.alarms()).toContain('HT reads 120 V again: turn it down to zero by its knob now, one hand.')
  })

  it('by volts that keep climbing: it is not let pass for as long as they climb, and the bias stays', () => {
    const bench = new Bench(offPlan({ only_wire_between: false, discharge_s: 3 })).pass(1)
    expect(bench.confirmed[ht.rail]).toMatch(/off/)
    bench.stays[ht.channel] = (t_s) => 40 * (t_s - 1)
    bench.pass(0.4)
    expect(bench.confirmed[ht.rail]).toBeNull()
    expect(bench.pass(5).off(bias.channel)).toBeUndefined()
    expect(bench.result).toBeNull()
  })
})
