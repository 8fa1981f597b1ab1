import { describe, expect, it } from 'vitest'
import { handToAsk } from '../../src/off/index.js'
import type { OffPlan } from '../../src/plan/index.js'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, offPlan } from '../helpers/safe-off-play.js'

/** What going off takes over at its beginning, and what it makes of being fed, of a gap and of its own end. */

const [HT, HEATER, BIAS] = [ht.channel, heater.channel, bias.channel]
const knob = (
  role: 'HT' | 'heater' | 'bias',
  volts_meter: string | null = null,
): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail: role, role, volts_meter, amps_meter: null, no_A: 0 },
  class: volts_meter === null ? 'hand' : 'watched',
})
const soon = { heaters_off_after_s: 0.5 }

describe('the bench file alone', () => {
  const said = (channels: OffPlan['channels'], knobs: OffPlan['knobs'] = null): string[] =>
    new Bench(offPlan({}, { channels, knobs })).acts.flatMap((act) =>
      'text' in act && act.text.startsWith('The bench file alone') ? [act.do] : [],
    )

  it('says that HT may come from elsewhere where a bias is kept for it: by an alarm where it knows of no HT', () => {
    expect(said([ht, heater, bias])).toEqual(['record'])
    expect(said([heater, bias])).toEqual(['alarm'])
    expect(said([bias])).toEqual(['alarm'])
  })

  it('says nothing of it where there is no bias, nor does the file of a set', () => {
    expect(said([ht, heater])).toEqual([])
    expect(said([ht, heater, bias], [])).toEqual([])
  })
})

describe('what was known before', () => {
  it('of one half of a stack that is off begins no time: it is counted from when both are', () => {
    const other = { ...ht, channel: 'HTS.2' }
    const plan = offPlan(
      { only_wire_between: false, discharge_s: 2 },
      { channels: [ht, other, heater, bias] },
    )
    const outputs = { [HT]: 'on', 'HTS.2': 'off', [HEATER]: 'on', [BIAS]: 'on' } as const
    const bench = new Bench(plan, { outputs })
    bench.away.add(HT).add('HTS.2')
    bench.pass(1).away.clear()
    expect(bench.pass(2.5).off(BIAS)?.t_s).toBe(3.1)
  })

  it('of a bias on a knob, typed as nothing before it was turned up, is not that it is off', () => {
    const plan = offPlan({}, { ...soon, channels: [ht, heater], knobs: [knob('bias')] })
    const volts = { bias: { value: 0, t_us: 0 } }
    const bench = new Bench(plan, { asks: true, knobs: { bias: 'up' }, volts }).ignores(HT, 250).pass(1)
    expect(bench.off(HEATER)).toBeDefined()
    expect(bench.state.bias_released_by).toBeNull()
  })

  it('is only of rails by hand that nobody was there to say', () => {
    const plan = offPlan({}, { knobs: [knob('HT'), { ...knob('HT', 'V'), rail: 'HT 2' }] })
    expect(new Bench(plan).state.hand).toEqual({ HT: 'not confirmed by you' })
    expect(new Bench(plan, { knobs: { HT: 'down' } }).state.hand).toEqual({})
    expect(new Bench(plan, { asks: true }).state.hand).toEqual({})
  })

  it('and nobody is asked where nobody is there, though nothing was said of a knob', () => {
    const plan = offPlan({}, { knobs: [knob('HT')] })
    const { state } = new Bench(plan, { asks: true })
    expect(handToAsk(plan, state)).toBe('HT')
    expect(handToAsk(plan, { ...state, asks: false })).toBeNull()
  })
})

describe('while it only looks', () => {
  it('nothing is decided: no HT waits, no knob was called for, and of no other rail than the set’s is anything known', () => {
    const { state, acts } = new Bench(offPlan(), { look_first: true, how: 'run down' })
    expect(acts).toEqual([])
    expect(state).toMatchObject({ ht_waits: false, knob_alarms: [], hand: {}, result: null })
    expect(Object.keys(state.rails)).toEqual([ht.rail, heater.rail, bias.rail])
  })
})

describe('a rail', () => {
  it('keeps when it was first told, though it came back and was told again', () => {
    const plan = offPlan({ only_wire_between: false, discharge_s: 60 })
    const bench = new Bench(plan, { t_us: 7e6 }).pass(0.5)
    bench.flows[HT] = 0.04
    expect(bench.pass(0.3).state.rails[ht.rail]).toMatchObject({ first_us: 7e6, given_us: 7.8e6 })
    expect(bench.state.rails[heater.rail]).toMatchObject({ first_us: 7.3e6, given_us: 7.3e6 })
  })
})

describe('something may be on', () => {
  const answers = {
    volts: { kind: 'reading', channel: HT, quantity: 'V', value: 0 },
    amps: { kind: 'reading', channel: HT, quantity: 'A', value: 0 },
    'a meter': { kind: 'meter', meter: 'V', value: 0 },
    'an output that is off': { kind: 'output', channel: HT, on: false },
  } as const
  const fed = (live: 'unknown' | 'no', input: Parameters<Bench['feed']>[0]): string => {
    const bench = new Bench(offPlan(), { outputs: {}, live })
    bench.feed(input)
    return bench.state.live
  }

  it('where anything answers, unless it is known that nothing was', () => {
    for (const input of Object.values(answers)) {
      expect(fed('unknown', input)).toBe('yes')
      expect(fed('no', input)).toBe('no')
    }
  })

  it('where an output is found on, known as off before or not known', () => {
    expect(fed('no', { kind: 'output', channel: HT, on: true })).toBe('yes')
    const bench = new Bench(offPlan(), { outputs: { [HT]: 'off' }, live: 'no' })
    bench.feed({ kind: 'output', channel: HT, on: true })
    expect(bench.state.live).toBe('yes')
  })

  it('is not known by a tick, a doubt or a word', () => {
    expect(fed('unknown', { kind: 'tick' })).toBe('unknown')
    expect(fed('unknown', { kind: 'doubt', port: ht.port })).toBe('unknown')
    expect(fed('unknown', { kind: 'said', rail: 'HT', volts: 0 })).toBe('unknown')
  })
})

describe('a pause', () => {
  it.each([
    [0.5, 5, 5.1],
    [1, 5, 5.1],
    [4, 20, 20.1],
  ])('where %s s are stale: %s s are none, %s s are a gap', (stale_s, none_s, gap_s) => {
    const awake_s = (pause_s: number): number => {
      const bench = new Bench(offPlan({}, { stale_s })).pass(0.1)
      bench.t_us += Math.round(pause_s * 1e6)
      bench.feed({ kind: 'tick' })
      return bench.state.awake_us / 1e6
    }
    expect(awake_s(none_s)).toBe(0)
    expect(awake_s(gap_s)).toBeCloseTo(0.1 + gap_s)
  })
})

describe('a knob that is watched', () => {
  it('is called for as soon as its meter shows 5 V either way, in the words for HT', () => {
    const alarms = (value_V: number): string[] => {
      const bench = new Bench(offPlan({}, { channels: [heater, bias], knobs: [knob('HT', 'V')] }))
      bench.meters['V'] = value_V
      return bench.pass(0.2).alarms()
    }
    const call = ['Turn HT down to zero by its knob now, one hand.']
    expect([4.9, 5, -5].map(alarms)).toEqual([[], call, call])
  })

  it('is not called for in the words for HT where it is the bias, which stays', () => {
    const plan = offPlan({}, { channels: [ht, heater], knobs: [knob('bias', 'V')] })
    const bench = new Bench(plan).ignores(HT, 250)
    bench.meters['V'] = 50
    expect(bench.pass(0.5).alarms()).toEqual([])
  })

  it('and shows volts takes nothing from what is known of the other knobs', () => {
    const plan = offPlan({}, { channels: [heater], knobs: [knob('bias'), knob('HT', 'V')] })
    const bench = new Bench(plan, { asks: true, knobs: { bias: 'down' } })
    bench.feed({ kind: 'meter', meter: 'V', value: 250 })
    expect(bench.state.knobs).toEqual({ bias: 'down', HT: 'up' })
  })
})

describe('after its end', () => {
  it('nothing is said any more, nor ended again', () => {
    const bench = new Bench(offPlan({}, { channels: [heater] })).pass(1)
    expect(bench.result?.outputs_off).toBe('confirmed')
    const { state, acts } = bench
    const before = acts.length
    bench.t_us += 1e6
    for (const kind of ['tick', 'urgent'] as const) bench.feed({ kind })
    expect(bench.state).toBe(state)
    expect(acts).toHaveLength(before)
  })
})
