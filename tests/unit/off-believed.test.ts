import { describe, expect, it } from 'vitest'
import { offStep } from '../../src/off/index.js'
import type { RailOff } from '../../src/off/types.js'
import type { OffPlan } from '../../src/plan/index.js'
import { at_us, falling, gone, offAt, read, saidIn, told } from '../helpers/off-moment.js'
import { ht, offPlan } from '../helpers/safe-off-play.js'

/** At which figures an output counts as off, and no longer does. HT's stated path has 2 s; the bound of its fall has 6 s. */

const HT = (over: Partial<OffPlan['channels'][number]> = {}): OffPlan =>
  offPlan({}, { channels: [{ ...ht, ...over }] })
/** Whole volts: the bounds are then figures. */
const coarse = HT({ resolution_V: 1 })
const watched = offPlan(
  {},
  {
    channels: [],
    knobs: [{ rail: 'HT', role: 'HT', class: 'watched', volts_meter: 'V', amps_meter: null, no_A: 0 }],
  },
)
const believed = (plan: OffPlan, t_s: number, known: Partial<RailOff>): string | null =>
  offAt(plan, t_s, { HT: { ...told, quiet: 3, ...known } }).state.confirmed['HT'] ?? null

describe('below 5 V', () => {
  const low = (V: number, lowest_V: number | null): Partial<RailOff> => ({
    ...{ V: read(V, 5), gone: 3, lowest_V },
  })

  it('an output is off up to half a volt above where it stood: more comes from something', () => {
    expect(believed(HT(), 5, low(1.5, 1))).toMatch(/measured 1.5 V at the supply's terminals/)
    expect(believed(HT(), 5, low(1.6, 1))).toBeNull()
    expect(believed(HT(), 5, low(-1.6, 1))).toBeNull()
    expect(believed(HT(), 5, low(4.9, null))).toMatch(/read back as off/)
  })

  it('a knob that a meter shows is down however it came there, and the record says by what', () => {
    const { state, acts } = offAt(watched, 5, { HT: { ...told, down_us: null, ...low(3, 1) } })
    expect(state.confirmed['HT']).toBe('measured 3 V by its meter, three times')
    expect(saidIn(acts, 'record')).toEqual(['HT: confirmed down (measured 3 V by its meter, three times).'])
    expect(state.rails['HT']).toMatchObject({ down_us: at_us(5), confirmed_us: at_us(5) })
  })

  it('an output says so of itself, and is down since it read as off', () => {
    const { acts, state } = offAt(HT(), 5, { HT: { ...told, quiet: 3, ...low(0, 0) } })
    expect(state.rails['HT']).toMatchObject({ down_us: at_us(1), confirmed_us: at_us(5) })
    expect(saidIn(acts, 'record').join()).toMatch(/^HT: output confirmed off \(read back as off, no current/)
  })
})

describe('a fall', () => {
  const fell = (V: number, t_s: number): Partial<RailOff> => ({
    ...{ V: read(V, t_s), from: read(250, 1), fall: falling(V, t_s, 0.5) },
  })

  it('is one from three digits on', () => {
    const slow = HT({ resolution_V: 1, expected_fall: { ohm: 100_000, F: 1e-3 } })
    expect(believed(slow, 1.5, fell(247.1, 1.5))).toBeNull()
    expect(believed(slow, 1.5, fell(247, 1.5))).toMatch(/250 V at its terminals fallen to 247 V/)
  })

  // 250 V·(1 + 1/64)^−64 = 92.7 V, one time constant of the bound after it read as off; and three digits.
  it('is as predicted up to three digits above a third of the stated speed', () => {
    expect(believed(coarse, 7, fell(95.6, 7))).toMatch(/falling as the stated discharge path predicts/)
    expect(believed(coarse, 7, fell(95.8, 7))).toBeNull()
  })

  it('is none by one reading of nothing, where no path is stated', () => {
    const once = { V: read(0, 5), from: read(250, 1), gone: 1, fall: [read(250, 4.5), read(0, 5)] }
    expect(believed(HT({ expected_fall: null }), 5, once)).toBeNull()
  })
})

describe('what is taken back', () => {
  it('because its output reads as on is believed again only once that reads as off, however its volts', () => {
    const plan = HT()
    let { state } = offAt(plan, 5, { HT: { ...gone(5), down_us: null } }, ['HT'])
    expect(state.confirmed['HT']).toBeNull()
    const feed = (input: Parameters<typeof offStep>[2]): void => {
      state = offStep(plan, state, input).state
    }
    const tick = (t_s: number): void => {
      for (const quantity of ['V', 'A'] as const)
        feed({ kind: 'reading', channel: ht.channel, quantity, value: 0, t_us: at_us(t_s) })
      feed({ kind: 'tick', t_us: at_us(t_s) })
    }
    for (const t_s of [5.1, 5.2, 5.3, 5.4]) tick(t_s)
    expect(state.confirmed['HT']).toBeNull()
    feed({ kind: 'output', channel: ht.channel, on: false, t_us: at_us(5.5) })
    tick(5.5)
    expect(state.confirmed['HT']).toMatch(/read back as off/)
  })

  it('on a knob is called for as about a knob, again', () => {
    const up = { ...gone(5), V: read(120, 5) }
    const { acts, state } = offAt(watched, 5, { HT: up }, ['HT'])
    expect(state.confirmed['HT']).toBeNull()
    expect(acts).toContainEqual({
      ...{ do: 'alarm', rail: 'HT', turn_down: true },
      text: 'HT reads 120 V again: turn it down to zero by its knob now, one hand.',
    })
  })
})
