import { describe, expect, it } from 'vitest'
import type { OffPlan } from '../../src/plan/index.js'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, off_channel, offPlan } from '../helpers/safe-off-play.js'

/** When heaters follow, and which rule lets the bias go: architecture.md, invariant 2. */

const HT = ht.channel
const byTime = { only_wire_between: false, discharge_s: 20 }
const byCold = { only_wire_between: false, cathodes_cold_s: 20 }
const screen = { ...off_channel('SCR.1', 'HT', 0), rail: 'screen', role: 'screen' as const }
const hand = (role: 'HT' | 'bias' | 'screen' | 'heater'): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail: role, role, class: 'hand', volts_meter: null, amps_meter: null, no_A: 0 },
})
/** HT on a person's own knob. */
const byHand = (release: Partial<OffPlan['bias_release']>): OffPlan =>
  offPlan(release, { channels: [heater, bias], knobs: [hand('HT')] })

describe('heaters follow', () => {
  it('after 30 s where HT reads low on an output that still reads as on: not before, and the bias stays', () => {
    const bench = new Bench(offPlan()).ignores(HT, 40)
    expect(bench.pass(29).off(heater.channel)).toBeUndefined()
    expect(bench.pass(2).off(heater.channel)).toBeDefined()
    expect(bench.pass(10).off(bias.channel)).toBeUndefined()
    expect(bench.records().join()).toContain('HT is not known to be low after 30 s')
  })

  it('at once in a set without HT, and the record says that it has none', () => {
    const bench = new Bench(offPlan({}, { channels: [heater, bias] })).pass(0.1)
    expect(bench.records()).toContain('Heaters off: the set has no HT rail.')
    expect(bench.state.bias_released_by).toBe('the set has no plate or screen rail')
  })

  it('when HT has been below the release volts three times, and the record says so', () => {
    const bench = new Bench(offPlan())
    bench.stays[HT] = (t_s) => (t_s < 3.05 ? 60 : 59.9)
    expect(bench.pass(3.2).off(heater.channel)).toBeUndefined()
    expect(bench.pass(0.1).off(heater.channel)).toBeDefined()
    expect(bench.records()).toContain('Heaters off: HT is below 60 V.')
    expect(bench.state.bias_released_by).toMatch(/^\(a\)/)
  })

  it('not while only one of screen and HT is low', () => {
    const bench = new Bench(offPlan({}, { channels: [screen, ht, heater, bias] }))
    bench.stays['SCR.1'] = () => 61
    expect(bench.pass(5).off(heater.channel)).toBeUndefined()
    expect(bench.pass(30).off(heater.channel)).toBeDefined()
    expect(bench.off(bias.channel)).toBeUndefined()
  })

  it('not by HT that was low and is no longer read', () => {
    const bench = new Bench(offPlan({}, { channels: [screen, ht, heater, bias] }))
    bench.stays['SCR.1'] = (t_s) => (t_s < 3 ? 61 : 0)
    bench.pass(0.5).away.add(HT)
    expect(bench.pass(5).off(heater.channel)).toBeUndefined()
  })
})

describe('the bench file alone', () => {
  it('lets no bias go by low or absent HT, nor by a computed time: HT may come from elsewhere', () => {
    const release = { cathodes_cold_s: 20, discharge_s: 5 }
    for (const channels of [
      [heater, bias],
      [ht, heater, bias],
    ])
      for (const ht_was_up of [false, true]) {
        const bench = new Bench(offPlan(release, { channels, knobs: null }), { ht_was_up })
        const heaters_s = channels.length === 2 ? 30 : 0.3
        expect(bench.pass(heaters_s + 19).off(bias.channel)).toBeUndefined()
        expect(bench.pass(3).off(bias.channel)).toBeDefined()
        expect(bench.state.bias_released_by).toMatch(/^\(c\)/)
      }
  })
})

describe('the bias that is on', () => {
  it('goes with the heaters where plates and screens never stood above the touch limit', () => {
    const bench = new Bench(offPlan(byTime), { ht_was_up: false }).pass(0.5)
    expect(bench.state.bias_released_by).toContain('never above 60 V')
  })

  it('stays where they stand above it now, though they are said never to have', () => {
    const bench = new Bench(offPlan(byTime), { ht_was_up: false })
    bench.stays[HT] = () => 80
    expect(bench.pass(32).off(heater.channel)).toBeDefined()
    expect(bench.off(bias.channel)).toBeUndefined()
  })

  it('is not spoken of in a set that has none', () => {
    const bench = new Bench(offPlan({}, { channels: [ht, heater] })).pass(2)
    expect(bench.result).toMatchObject({ outputs_off: 'confirmed', bias_released_by: null })
    expect(bench.records().join()).not.toContain('Bias off')
  })

  it('stays without a heater rail to be cold, and without a computed time: to the end, with an alarm', () => {
    const bench = new Bench(offPlan(byCold, { channels: [ht, bias] })).pass(120)
    expect(bench.off(bias.channel)).toBeUndefined()
    expect(bench.result).toMatchObject({ outputs_off: 'not confirmed', bias_released_by: null })
    expect(bench.alarms().join()).toContain('bias stays on')
  })

  it.each([
    ['HT', HT],
    ['the screen', 'SCR.1'],
  ])('goes by the computed time since the last was off: %s, which was late', (_, late) => {
    const bench = new Bench(offPlan(byTime, { channels: [screen, ht, heater, bias] })).ignores(late, 100)
    bench.pass(8).on[late] = false
    expect(bench.pass(19).off(bias.channel)).toBeUndefined()
    expect(bench.pass(2).off(bias.channel)).toBeDefined()
    expect(bench.state.bias_released_by).toMatch(/^\(b\)/)
  })

  it('goes by the computed time since HT was read back as off, though a current was read for longer', () => {
    const bench = new Bench(offPlan(byTime))
    bench.flows[HT] = 0.04
    bench.pass(5).flows[HT] = 0
    expect(bench.pass(14).off(bias.channel)).toBeUndefined()
    expect(bench.pass(2).off(bias.channel)).toBeDefined()
  })

  it.each([['LV.1'], ['LT.1']])(
    'goes by cold cathodes since the last heater was confirmed off: %s',
    (late) => {
      const other = { ...heater, channel: 'LT.1', port: 'LT', rail: 'heater 2' }
      const plan = offPlan(byCold, { channels: [ht, heater, other, bias] })
      const bench = new Bench(plan).ignores(late, 6)
      expect(bench.pass(24).off(bias.channel)).toBeUndefined()
      bench.on[late] = false
      expect(bench.pass(19).off(bias.channel)).toBeUndefined()
      expect(bench.pass(3).state.bias_released_by).toMatch(/^\(c\)/)
    },
  )

  it('goes by cold cathodes after a sleep only once the heaters are read again: they may have been switched on', () => {
    const LT = { ...heater, channel: 'LT.1', port: 'LT' }
    const bench = new Bench(offPlan(byCold, { channels: [ht, LT, bias] })).pass(1)
    expect(bench.confirmed[LT.rail]).toMatch(/off/)
    bench.away.add('LT.1')
    bench.t_us += 3600 * 1e6
    expect(bench.pass(10).off(bias.channel)).toBeUndefined()
    bench.away.delete('LT.1')
    expect(bench.pass(1).state.bias_released_by).toMatch(/^\(c\)/)
  })

  it('stays by cold cathodes or time while HT stands at what is not low', () => {
    const bench = new Bench(offPlan({ ...byTime, cathodes_cold_s: 5 }))
    bench.stays[HT] = () => 80
    expect(bench.pass(60).off(heater.channel)).toBeDefined()
    expect(bench.off(bias.channel)).toBeUndefined()
  })
})

describe('a bias that is off already', () => {
  const outputs = { [HT]: 'on', [heater.channel]: 'on', [bias.channel]: 'off' } as const
  const found = (plan: OffPlan, stays_V: number): Bench => {
    const bench = new Bench(plan, { outputs }).ignores(HT, 250)
    bench.on[bias.channel] = false
    bench.stays[bias.channel] = () => stays_V
    expect(bench.pass(29).off(bias.channel)).toBeUndefined()
    return bench.pass(3)
  }

  it('is told so with the heaters: it holds nothing back', () => {
    expect(found(offPlan(), 0).state.bias_released_by).toBe('it was off already')
  })

  it('is not taken for it while volts stand at its terminals, or while another bias is on', () => {
    expect(found(offPlan(), 5).off(bias.channel)).toBeUndefined()
    const other = { ...bias, channel: 'LV.3', rail: 'bias 2' }
    expect(found(offPlan({}, { channels: [ht, heater, bias, other] }), 0).state.bias_released_by).toBeNull()
  })

  it('by a knob and typed as off, is no more waited for than one that is measured', () => {
    const bench = new Bench(offPlan({}, { channels: [ht, heater], knobs: [hand('bias')] }), { asks: true })
    bench.ignores(HT, 250).pass(1).feed({ kind: 'said', rail: 'bias', volts: 0 })
    expect(bench.pass(31).state.bias_released_by).toBe('it was off already')
  })
})

describe('what a person says', () => {
  it('of a rail that is measured counts for nothing', () => {
    const bench = new Bench(offPlan()).ignores(HT, 250).pass(1)
    const before = bench.state
    bench.feed({ kind: 'said', rail: ht.rail, volts: 0 })
    expect(bench.state).toEqual({ ...before, t_us: bench.t_us })
  })

  it('of a bias on a knob counts only as a figure: no answer is not off', () => {
    const bench = new Bench(offPlan({}, { channels: [ht, heater], knobs: [hand('bias')] }), { asks: true })
    bench.ignores(HT, 250).pass(1).feed({ kind: 'said', rail: 'bias', volts: null })
    expect(bench.pass(31).state.bias_released_by).toBeNull()
  })
})

describe('heaters and bias on a knob', () => {
  const called = (role: 'heater' | 'bias', asks: boolean, ht_V: number): string[] => {
    const channels = role === 'bias' ? [ht, heater] : [ht, bias]
    const bench = new Bench(offPlan({}, { channels, knobs: [hand(role)] }), { asks })
    bench.stays[HT] = () => ht_V
    return bench
      .pass(31)
      .alarms()
      .filter((text) => text.startsWith(`Turn ${role} `))
  }

  it('are called for in their turn where nobody is asked', () => {
    expect(called('bias', false, 0)).toEqual(['Turn bias down to zero by its knob now; HT is low.'])
    expect(called('heater', false, 0)).toEqual(['Turn heater down to zero by its knob now.'])
  })

  it('are asked for without an alarm, except heaters while HT is not low', () => {
    expect(called('bias', true, 0)).toEqual([])
    expect(called('heater', true, 0)).toEqual([])
    expect(called('bias', true, 250)).toEqual([])
    expect(called('heater', true, 250)).toEqual(['Turn heater down to zero by its knob now.'])
  })
})

describe('HT on a knob that only a person reads', () => {
  it('lets the bias go by the computed time since it was typed as down', () => {
    const bench = new Bench(byHand(byTime), { asks: true }).pass(8)
    bench.feed({ kind: 'said', rail: 'HT', volts: 0 })
    expect(bench.pass(19).off(bias.channel)).toBeUndefined()
    expect(bench.pass(2).state.bias_released_by).toMatch(/^\(b\)/)
  })

  it('keeps it where somebody was asked and did not say', () => {
    const bench = new Bench(byHand({ ...byTime, cathodes_cold_s: 20 }), { asks: true }).pass(8)
    bench.feed({ kind: 'said', rail: 'HT', volts: null })
    expect(bench.pass(80).off(bias.channel)).toBeUndefined()
  })

  it('lets it go by cold cathodes alone where nobody can be asked, not by a computed time', () => {
    const bench = new Bench(byHand({ ...byTime, cathodes_cold_s: 20 }))
    expect(bench.pass(49).off(bias.channel)).toBeUndefined()
    expect(bench.pass(3).state.bias_released_by).toMatch(/^\(c\)/)
  })

  it('counts from the beginning where it was never turned up', () => {
    const bench = new Bench(byHand(byTime), { asks: true, knobs: { HT: 'down' } })
    expect(bench.pass(19).off(bias.channel)).toBeUndefined()
    expect(bench.pass(2).state.bias_released_by).toMatch(/^\(b\)/)
  })

  it.each([[true], [false]])(
    'holds nothing up for a computer that slept meanwhile (somebody asked: %s)',
    (asks) => {
      const bench = new Bench(byHand({ ...byTime, cathodes_cold_s: 20 }), { asks, t_us: 7e6 }).pass(1)
      if (asks) bench.feed({ kind: 'said', rail: 'HT', volts: 0 })
      bench.t_us += 3600 * 1e6
      expect(bench.pass(60).state.bias_released_by).toMatch(asks ? /^\(b\)/ : /^\(c\)/)
    },
  )
})

describe('a run-down', () => {
  it('tells HT at once where the screen is on a knob: there is no output to wait for', () => {
    const plan = offPlan({}, { knobs: [hand('screen')] })
    const bench = new Bench(plan, { how: 'run down' }).pass(5)
    expect(bench.off(HT)).toEqual({ t_s: 0, how: 'off' })
    const told = bench.acts.filter((act) => act.do === 'urgent off')
    expect(told).toEqual([])
  })

  const drive = { ...screen, channel: 'DRV.1', rail: 'drive', role: 'drive' as const }

  it('tells HT as soon as the drive is off where the screen is on a knob', () => {
    const plan = offPlan({}, { channels: [drive, ht, heater, bias], knobs: [hand('screen')] })
    const bench = new Bench(plan, { how: 'run down' }).pass(0.5)
    expect(bench.off(HT)).toEqual({ t_s: 0.1, how: 'off' })
  })

  it('waits for both drive and screen, and tells each of them once', () => {
    const plan = offPlan({}, { channels: [drive, screen, ht, heater, bias] })
    const bench = new Bench(plan, { how: 'run down' }).ignores('SCR.1', 100).pass(1)
    expect(bench.off(HT)).toBeUndefined()
    bench.on['SCR.1'] = false
    expect(bench.pass(0.5).off(HT)?.how).toBe('off')
    const told = bench.acts.flatMap((act) => (act.do === 'off' ? [act.channel] : []))
    expect(told.slice(0, 3)).toEqual(['DRV.1', 'SCR.1', HT])
    expect(told.filter((channel) => channel === 'SCR.1')).toHaveLength(1)
  })

  it('calls for a knob only where the question for it is not enough', () => {
    for (const calls_hands of [true, false]) {
      const bench = new Bench(byHand({}), { asks: true, calls_hands })
      expect(bench.alarms()).toHaveLength(calls_hands ? 1 : 0)
    }
  })

  it('becomes urgent for screen and HT together when asked to, and only once', () => {
    const bench = new Bench(offPlan({}, { channels: [screen, ht, heater, bias] }), { how: 'run down' })
    const before = bench.acts.length
    bench.feed({ kind: 'urgent' })
    bench.feed({ kind: 'urgent' })
    expect(bench.acts.slice(before)).toMatchObject([{ do: 'urgent off', channels: ['SCR.1', HT] }])
    expect(bench.pass(0.2).acts.filter((act) => act.do === 'off' && act.channel === HT)).toEqual([])
  })
})
