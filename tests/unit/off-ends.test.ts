import { describe, expect, it } from 'vitest'
import { biasStays, biasTakenFromKnob, handsMissing, handToAsk, offStep } from '../../src/off/index.js'
import type { OffPlan } from '../../src/plan/index.js'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, off_channel, offPlan } from '../helpers/safe-off-play.js'

/** How going off begins where nobody knows what is on, how long it tries, and what it says at its end. */

const HT = ht.channel
const screen = { ...off_channel('SCR.1', 'HT', 0), rail: 'screen', role: 'screen' as const }
const knob = (
  role: 'HT' | 'screen' | 'heater' | 'bias',
  over: Partial<NonNullable<OffPlan['knobs']>[number]> = {},
): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail: `${role} by hand`, role, class: 'hand', volts_meter: null, amps_meter: null, no_A: 0 },
  ...over,
})

describe('outputs of which nothing is known are looked at first', () => {
  const look = { look_first: true, outputs: {}, live: 'unknown' } as const

  it('only until each has answered', () => {
    const bench = new Bench(offPlan(), look)
    expect(bench.acts).toEqual([])
    bench.on[heater.channel] = false
    bench.pass(0.1)
    expect(bench.off(HT)).toEqual({ t_s: 0.1, how: 'urgent off' })
    expect(bench.records()).toContain('Outputs read back: found on: HTS.1, LV.2.')
  })

  it.each([
    ['two seconds', 0.5, 2],
    ['twice what is stale', 4, 8],
  ])('and where one does not answer for %s: then all are told OFF', (_, stale_s, until_s) => {
    const bench = new Bench(offPlan({}, { stale_s }), look)
    bench.away.add(bias.channel)
    expect(bench.pass(until_s - 0.1).off(HT)).toBeUndefined()
    expect(bench.pass(0.1).off(HT)).toEqual({ t_s: until_s, how: 'urgent off' })
  })

  it('and a bench that is found off is still told and measured', () => {
    const bench = new Bench(offPlan(), look)
    for (const { channel } of bench.plan.channels) bench.on[channel] = false
    bench.pass(2)
    expect(bench.records()).toContain('Outputs read back: no output found on.')
    expect(bench.off(HT)).toBeDefined()
    expect(bench.result?.outputs_off).toBe('confirmed')
  })

  it('one that answers at all is not given up as soon as one where nothing does', () => {
    const found = (answers: boolean): Bench => {
      const bench = new Bench(offPlan(), look)
      bench.on[HT] = false
      for (const { channel } of answers ? [heater, bias] : bench.plan.channels) bench.away.add(channel)
      return bench
    }
    expect(found(false).pass(14).result).toBeNull()
    expect(found(false).pass(18).result?.outputs_off).toBe('not confirmed')
    expect(found(true).pass(90).result).toBeNull()
  })
})

describe('it tries for a bounded time', () => {
  it('100 s where HT ignores OFF, or fell and stands: not as long as a fall is watched', () => {
    for (const stays of [() => 250, (t_s: number) => 250 * Math.exp(-Math.min(t_s, 3) / 10)]) {
      const bench = new Bench(offPlan())
      bench.stays[HT] = stays
      expect(bench.pass(99).result).toBeNull()
      expect(bench.pass(6).result?.outputs_off).toBe('not confirmed')
    }
  })

  it('as long as a charge is seen to go slowly, and no longer once it is not read', () => {
    const bench = new Bench(offPlan())
    bench.stays[HT] = (t_s) => 250 - t_s / 2
    expect(bench.pass(110).result).toBeNull()
    bench.away.add(HT)
    expect(bench.pass(3).result?.outputs_off).toBe('not confirmed')
  })

  it('no longer for a computed time that nothing begins: HT on a knob of which nobody is asked', () => {
    const release = { only_wire_between: false, discharge_s: 600 }
    const bench = new Bench(offPlan(release, { channels: [bias], knobs: [knob('HT')] }))
    expect(bench.pass(99).result).toBeNull()
    expect(bench.pass(6).result?.outputs_off).toBe('not confirmed')
  })

  it('as long as the computed time, and some more, where that is what lets the bias go', () => {
    const release = { only_wire_between: false, discharge_s: 150 }
    const bench = new Bench(offPlan(release)).pass(149)
    expect([bench.result, bench.off(bias.channel)]).toEqual([null, undefined])
    expect(bench.pass(5).result?.outputs_off).toBe('confirmed')
  })

  it('as long as cathodes take to be cold, and some more, where only that does', () => {
    const release = { only_wire_between: false, cathodes_cold_s: 150 }
    const bench = new Bench(offPlan(release)).pass(149)
    expect([bench.result, bench.off(bias.channel)]).toEqual([null, undefined])
    expect(bench.pass(5).result?.outputs_off).toBe('confirmed')
  })

  it('longer for a person who turns a knob that is watched', () => {
    const meters = { class: 'watched', volts_meter: 'V' } as const
    const bench = new Bench(offPlan({}, { channels: [heater], knobs: [knob('HT', meters)] }))
    bench.meters['V'] = 250
    expect(bench.pass(150).result).toBeNull()
    bench.meters['V'] = 0
    expect(bench.pass(1).result?.outputs_off).toBe('confirmed')
  })

  it('not at all for a rail by hand where nobody is asked: it ends with what is measured', () => {
    const bench = new Bench(offPlan({}, { channels: [heater], knobs: [knob('HT')] })).pass(32)
    expect(bench.result).toMatchObject({
      outputs_off: 'confirmed',
      hand_rails: { 'HT by hand': 'not confirmed by you' },
    })
  })

  it('not at all for a knob that was never turned up', () => {
    const plan = offPlan({}, { channels: [heater, bias], knobs: [knob('HT')] })
    const bench = new Bench(plan, { asks: true, knobs: { 'HT by hand': 'down' } }).pass(2)
    expect(bench.result).toMatchObject({ outputs_off: 'confirmed' })
    expect(bench.result?.hand_rails).toEqual({})
  })

  it('and says of a bias on a knob that nobody came to ask about that it is not confirmed', () => {
    const plan = offPlan({ cathodes_cold_s: 20 }, { channels: [heater], knobs: [knob('HT'), knob('bias')] })
    const bench = new Bench(plan, { asks: true })
    bench.feed({ kind: 'said', rail: 'HT by hand', volts: null })
    const unsaid = 'not confirmed by you'
    expect(bench.pass(105).result).toMatchObject({
      outputs_off: 'confirmed',
      hand_rails: { 'HT by hand': unsaid, 'bias by hand': unsaid },
      bias_released_by: null,
    })
  })

  it('and for a question as long as it is open', () => {
    const bench = new Bench(offPlan({}, { channels: [heater], knobs: [knob('HT')] }), { asks: true })
    expect(bench.pass(130).result).toBeNull()
    bench.feed({ kind: 'said', rail: 'HT by hand', volts: null })
    expect(bench.pass(1).result).toMatchObject({ hand_rails: { 'HT by hand': 'not confirmed by you' } })
  })

  it('takes no pause between two questions of a slow bench for a sleep', () => {
    const bench = new Bench(offPlan({}, { stale_s: 4 }), { live: 'no' })
    for (let i = 0; i < 4 && bench.result === null; i++) {
      bench.t_us += 8e6
      bench.feed({ kind: 'tick' })
    }
    expect(bench.result?.outputs_off).toBe('not confirmed')
  })

  it('takes six seconds without a tick of a quick one for a sleep, and tries again', () => {
    const bench = new Bench(offPlan({}, { stale_s: 0.5 }), { live: 'no' })
    for (let i = 0; i < 6; i++) {
      bench.t_us += 6e6
      bench.feed({ kind: 'tick' })
    }
    expect(bench.result).toBeNull()
  })
})

describe('its end', () => {
  it('says of each rail whether it was told, and how it stands', () => {
    const { result } = new Bench(offPlan()).ignores(HT, 250).pass(105)
    expect(result).toMatchObject({
      outputs_off: 'not confirmed',
      rails: {
        HT: { confirmed: false, volts: 250 },
        heater: { confirmed: true, volts: 0 },
        bias: { confirmed: false, volts: 100 },
      },
    })
    expect(result?.rails['HT']?.how).toContain('OFF was given and is not confirmed')
    expect(result?.rails['heater']?.how).toContain('read back as off')
    expect(result?.rails['bias']?.how).toContain('not told OFF: bias stays')
  })

  it('calls nothing confirmed that was read only before a sleep', () => {
    const bench = new Bench(offPlan({}, { channels: [ht, heater] })).ignores(heater.channel, 6).pass(2)
    expect(bench.confirmed[ht.rail]).toMatch(/off/)
    bench.t_us += 3600e6
    bench.away.add(HT)
    bench.on[heater.channel] = false
    bench.pass(80)
    expect(bench.result).toMatchObject({
      outputs_off: 'not confirmed',
      rails: { HT: { confirmed: false }, heater: { confirmed: true } },
    })
  })

  it('calls out each rail that is not confirmed, once', () => {
    const bench = new Bench(offPlan()).ignores(HT, 250).pass(105)
    expect(bench.alarms().map((text) => text.split(' (')[0])).toEqual([
      'OUTPUTS NOT CONFIRMED OFF: HT does not fall after OFF',
      'bias stays on: nothing here shows that HT is down',
    ])
  })

  it('comes once, and nothing moves it', () => {
    const bench = new Bench(offPlan()).pass(2)
    const { result } = bench
    bench.feed({ kind: 'output', channel: HT, on: true })
    bench.feed({ kind: 'tick' })
    expect(bench.result).toEqual(result)
    expect(bench.acts.filter((act) => act.do === 'end')).toHaveLength(1)
  })

  it('tells that a bias stays on a port with nothing hot beside it: there its dead-man must not take it', () => {
    const plan = offPlan({}, { channels: [ht, heater, bias, { ...bias, channel: 'HTS.2', port: 'HTS' }] })
    const end = { rails: {}, hand_rails: {}, bias_released_by: null }
    expect(biasStays(plan, { ...end, outputs_off: 'not confirmed' }, 'LV')).toBe(true)
    expect(biasStays(plan, { ...end, outputs_off: 'not confirmed' }, 'HTS')).toBe(false)
    expect(
      biasStays(offPlan({}, { channels: [heater] }), { ...end, outputs_off: 'not confirmed' }, 'LV'),
    ).toBe(false)
    expect(biasStays(plan, { ...end, outputs_off: 'confirmed' }, 'LV')).toBe(false)
    expect(biasStays(plan, { ...end, outputs_off: 'not confirmed', bias_released_by: 'a rule' }, 'LV')).toBe(
      false,
    )
  })
})

describe('between its decisions', () => {
  it('a reading alone asks for nothing', () => {
    const bench = new Bench(offPlan())
    const input = { kind: 'reading', channel: HT, quantity: 'V', value: 250, t_us: 1000 } as const
    expect(offStep(bench.plan, bench.state, input).acts).toEqual([])
  })
})

describe('rails on a person’s own knob', () => {
  const plan = offPlan(
    {},
    {
      channels: [],
      knobs: [
        knob('bias'),
        knob('heater'),
        knob('HT'),
        knob('screen'),
        knob('HT', { rail: 'HT 2', class: 'watched', volts_meter: 'V' }),
      ],
    },
  )

  it('are missing until they are said, except what was never turned up', () => {
    const bench = new Bench(plan, { asks: true, knobs: { 'screen by hand': 'down' } })
    const missing = (): readonly string[] => handsMissing(plan, bench.state)
    expect(missing()).toEqual(['HT by hand', 'heater by hand', 'bias by hand'])
    bench.feed({ kind: 'said', rail: 'HT by hand', volts: 0 })
    bench.feed({ kind: 'said', rail: 'heater by hand', volts: null })
    expect(missing()).toEqual(['bias by hand'])
  })

  it('are asked about in the order of going off: heaters and bias when their rule lets them go', () => {
    const bench = new Bench(plan, { asks: true })
    const asked = (): string | null => handToAsk(plan, bench.state)
    expect(asked()).toBe('screen by hand')
    bench.feed({ kind: 'said', rail: 'screen by hand', volts: 0 })
    expect(asked()).toBe('HT by hand')
    bench.feed({ kind: 'said', rail: 'HT by hand', volts: 0 })
    expect(asked()).toBeNull()
    bench.meters['V'] = 0
    bench.pass(0.3)
    expect(asked()).toBe('heater by hand')
    bench.feed({ kind: 'said', rail: 'heater by hand', volts: 0 })
    expect(asked()).toBe('bias by hand')
    expect(handToAsk(plan, new Bench(plan).state)).toBeNull()
  })

  it('warn of a bias that goes by the clock from under HT, where nobody is asked and one does', () => {
    const warned = (channels: OffPlan['channels'], ...knobs: Parameters<typeof knob>[0][]): string | null =>
      biasTakenFromKnob(offPlan({}, { channels, knobs: knobs.map((role) => knob(role)) }))
    expect(warned([heater, bias], 'HT')).toMatch(/^HT by hand: on your own knob, .* 300 s after the heaters/)
    expect(warned([heater, bias], 'HT', 'screen')).toMatch(/^screen by hand, HT by hand: /)
    expect(warned([ht, heater, bias])).toBeNull()
    expect(warned([bias], 'HT')).toBeNull()
    expect(warned([heater], 'HT', 'bias')).toBeNull()
    expect(warned([bias], 'HT', 'heater')).toBeNull()
    expect(warned([heater, bias], 'HT', 'heater')).toBeNull()
  })
})

describe('a screen beside HT', () => {
  it('that reads as on after three seconds of a run-down makes it urgent, and no sooner', () => {
    const plan = offPlan({}, { channels: [screen, ht, heater, bias] })
    const bench = new Bench(plan, { how: 'run down' }).ignores('SCR.1', 100)
    expect(bench.pass(2.9).off(HT)).toBeUndefined()
    expect(bench.pass(0.1).off(HT)).toEqual({ t_s: 3, how: 'urgent off' })
  })
})
