import { describe, expect, it } from 'vitest'
import type { Plan, Step } from '../../src/plan/index.js'
import { gateOpen } from '../../src/sequencer/gates.js'
import { askToTurn, knobTurned, renewed, renewHandReadings } from '../../src/sequencer/knob.js'
import type { Draft, RailState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { byHand, smallPlan } from '../helpers/small-plan.js'

/* Rails on a person's own knob, looked at in one moment: where it is read, what counts as up, and what is asked again. */

const [heaters, ht100, ht250] = [3, 5, 6]
const hand = (change: (plan: Plan) => Plan = (plan) => plan): Plan =>
  smallPlan((plan) => change(byHand('LT', 'HT')(plan)))
const watched = smallPlan((plan) => ({
  ...plan,
  rails: { ...plan.rails, HT: { ...plan.rails['HT']!, class: 'watched', channels: [], volts_meter: 'HT V' } },
}))
const down = { energised: false, V: null, A: null, on_us: null, set_V: 0 }

describe('a knob that is asked for', () => {
  /** HT, by hand, asked to its step's volts from where it stood. */
  const asked = (at: number, from_V: number, more: Partial<Step> = {}, plan = hand()): Draft => {
    const rails = standing(plan, 'HT', from_V, 0, from_V > 0 ? {} : down)
    const d = momentOf(plan, at, { rails, ht_was_up: false })
    askToTurn(d, { ...plan.steps[at]!, ...more }, plan.rails['HT']!)
    return d
  }
  const HT = (d: Draft) => d.s.rails['HT']!
  const clipped = 'its own meter shows, or one that was clipped on before: no probe or clip goes on now'

  it('is read without a probe where it may stand above the touch limit, on its way there or from there', () => {
    expect(asked(ht100, 0).s.prompt?.text).toContain(clipped)
    expect(asked(ht100, 0, { target_V: 60 }).s.prompt?.text).toContain('its own meter or yours shows')
    expect(asked(ht100, 0, { target_V: 61 }).s.prompt?.text).toContain(clipped)
    expect(asked(ht250, 250, { do: 'lower', target_V: 30 }).s.prompt?.text).toMatch(
      /^Turn HT slowly down to 30 V by its knob, one hand; then type the volts that its own meter shows, or one/,
    )
  })

  it('wants the volts of its step, a twentieth and half a volt about them; at zero what counts as off', () => {
    expect(asked(ht100, 0).s.prompt).toMatchObject({
      ...{ low: 94.5, high: 105.5, unit: 'V', purpose: { kind: 'knob', rail: 'HT', wants: 'V' } },
      ask: { about: 'knob HT', wants: { kind: 'reading', rail: 'HT' } },
    })
    expect(asked(ht250, 250, { do: 'lower', target_V: 0 }).s.prompt).toMatchObject({ low: -5, high: 5 })
  })

  it('may be up from then on, whatever is typed later', () => {
    const d = asked(ht100, 0)
    expect(HT(d)).toMatchObject({ energised: true, on_us: now_us, set_V: 100 })
    expect(d.s).toMatchObject({ ever_energised: true, ht_was_up: true })
    expect(HT(asked(ht250, 100))).toMatchObject({ on_us: 0, set_V: 250 })
    expect(HT(asked(ht100, 120)).set_V).toBe(120)
    expect(asked(ht100, 0, { target_V: 60 }).s.ht_was_up).toBe(false)
  })

  it('is not taken as up for being asked down, nor where a meter watches it', () => {
    const low = asked(ht250, 250, { do: 'lower', target_V: 30 })
    expect([HT(low).set_V, low.s.ht_was_up, low.s.ever_energised]).toEqual([250, false, false])
    const seen = asked(ht100, 0, {}, watched)
    expect([HT(seen).energised, seen.s.ever_energised]).toEqual([false, false])
    expect(seen.s.prompt).toMatchObject({
      text: 'Turn HT slowly to 100 V by its knob, one hand, then confirm.',
      ask: { about: 'knob HT', wants: { kind: 'confirm' } },
    })
  })
})

describe('a reading that a person typed', () => {
  const renews = (age_s: number, over: Partial<RailState> = {}, more: Partial<State> = {}, plan = hand()) => {
    const V = { value: 240, t_us: now_us - age_s * 1e6 }
    const d = momentOf(plan, ht250, { rails: standing(plan, 'HT', 240, 0, { V, ...over }), ...more })
    const asks = renewHandReadings(d, plan.steps[d.s.step]!)
    expect(asks).toBe(d.s.prompt !== null)
    return d.s.prompt
  }

  it('is asked for again after fifteen minutes, about what the limits were computed for', () => {
    expect(renews(900)).toBeNull()
    expect(renews(901)).toMatchObject({
      ...{ purpose: { kind: 'renew', rail: 'HT' }, low: 237, high: 263, unit: 'V' },
      ask: { about: 'renew HT', wants: { rail: 'HT' } },
    })
    const none = renews(901, {}, { step: heaters })
    expect([none?.low, none?.high]).toEqual([227.5, 252.5])
  })

  it('is not of a knob that is down, was never read, or that a line reads', () => {
    expect([renews(901, { energised: false }), renews(901, { V: null })]).toEqual([null, null])
    expect([renews(901, {}, {}, watched), renews(901, {}, {}, smallPlan())]).toEqual([null, null])
  })

  /** HT by hand, typed as this where it was asked for again. */
  const typed = (value: number, over: Partial<RailState> = down) => {
    const plan = hand()
    const rails = standing(plan, 'HT', 0, 0, over)
    const d = momentOf(plan, ht250, { rails, ht_was_up: false })
    renewed(d, 'HT', { value, t_us: now_us })
    return d.s
  }

  it('is what its rail stands at, and up above what counts as off', () => {
    expect(typed(100).rails['HT']).toMatchObject({
      ...{ V: { value: 100 }, set_V: 100, set_us: now_us, energised: true, on_us: now_us },
    })
    expect(typed(100)).toMatchObject({ ever_energised: true, ht_was_up: true })
    expect(typed(100, { on_us: 7 }).rails['HT']?.on_us).toBe(7)
    expect([typed(60).ht_was_up, typed(61).ht_was_up]).toEqual([false, true])
    expect(typed(5)).toMatchObject({ ever_energised: false, rails: { HT: { energised: false, set_V: 5 } } })
    expect(typed(5.1).rails['HT']?.energised).toBe(true)
  })
})

interface Turned {
  readonly wants?: 'V' | 'A'
  readonly over?: Partial<RailState>
  readonly more?: Partial<State>
}

describe('a knob that was turned', () => {
  const turned = (
    plan: Plan,
    at: number,
    name: string,
    value: number | null,
    { wants = 'V', over, more }: Turned = {},
  ): Draft => {
    const d = momentOf(plan, at, {
      part: 'asking',
      rails: standing(plan, name, 0, 0, { ...down, ...over }),
      ...more,
    })
    knobTurned(d, plan.steps[at]!, name, wants, value === null ? null : { value, t_us: now_us })
    return d
  }

  it('goes into its hold with what was typed; a word is no reading', () => {
    const d = turned(hand(), ht100, 'HT', 100)
    expect(d.s).toMatchObject({ part: 'hold', part_us: now_us, rails: { HT: { V: { value: 100 } } } })
    expect(turned(hand(), ht100, 'HT', null).s).toMatchObject({ part: 'asking', rails: { HT: { V: null } } })
  })

  it('that is watched is what its meter reads, near its step’s volts, or is asked for again', () => {
    const over = { V: { value: 96, t_us: now_us } }
    expect(turned(watched, ht100, 'HT', null, { over }).s).toMatchObject({
      ...{ part: 'hold', rails: { HT: { set_V: 96, set_us: now_us } } },
    })
    const far = turned(watched, ht100, 'HT', null, { over: { V: { value: 94, t_us: now_us } } })
    expect(far.s).toMatchObject({
      part: 'asking',
      prompt: { purpose: { kind: 'knob', rail: 'HT', wants: 'V' } },
    })
  })

  it('of heaters is in band within a tenth of its own chain’s volts, and not by another’s', () => {
    const since = (value: number, volts = 12): number | null | undefined => {
      const plan = hand((small) => ({
        ...small,
        heaters: [
          ...small.heaters.map((each) => ({ ...each, volts })),
          { ...small.heaters[0]!, rail: 'BIAS', volts: 40 },
        ],
      }))
      return turned(plan, heaters, 'LT', value).s.rails['LT']?.good_since_us
    }
    expect([since(10.9), since(13.1), since(10.7), since(13.3)]).toEqual([now_us, now_us, null, null])
    expect([since(1.4, 1.4), since(1.2, 1.4)]).toEqual([now_us, null])
  })

  it('of heaters, read once more while HT waits, does not begin its warm-up anew; one for its own raise does', () => {
    const over = { good_since_us: now_us - 60e6 }
    const again = turned(hand(), ht100, 'LT', 12, { over })
    expect(again.s.rails['LT']?.good_since_us).toBe(now_us - 60e6)
    expect(again.s.typed['again:LT']).toEqual({ value: 12, t_us: now_us })
    expect(again.s.part).toBe('asking')
    const typed = { 'again:LT': { value: 12, t_us: 5 }, other: { value: 1, t_us: 5 } }
    const own = turned(hand(), heaters, 'LT', 12, { over, more: { typed } })
    expect([own.s.rails['LT']?.good_since_us, Object.keys(own.s.typed)]).toEqual([now_us, ['other']])
  })

  it('of anything but heaters says nothing of a warm-up', () => {
    const d = turned(hand(), ht100, 'HT', 100, { more: { typed: { 'again:HT': { value: 1, t_us: 5 } } } })
    expect([d.s.rails['HT']?.good_since_us, d.s.typed['again:HT']?.value]).toEqual([null, 1])
    const other = turned(hand(), heaters, 'HT', 100)
    expect([other.s.part, other.s.typed]).toEqual(['hold', {}])
  })

  it('has its ammeter read next, where it has one, up to the trip', () => {
    const metered = hand((plan) => ({
      ...plan,
      rails: { ...plan.rails, HT: { ...plan.rails['HT']!, amps_meter: 'x' } },
    }))
    expect(turned(metered, ht100, 'HT', 100).s.prompt).toMatchObject({
      ...{ purpose: { wants: 'A' }, low: 0, high: 0.032, unit: 'A' },
    })
    expect(turned(hand(), ht100, 'HT', 100).s.prompt).toBeNull()
    const read = turned(metered, ht100, 'HT', 0.02, { wants: 'A' })
    expect(read.s).toMatchObject({ part: 'hold', rails: { HT: { A: { value: 0.02 }, V: null } } })
  })
})

describe('HT that waits for heaters on a knob', () => {
  const waits = (
    good_ago_s: number | null,
    {
      again = false,
      V = 12,
      others = 'on a knob',
    }: { again?: boolean; V?: number | null; others?: string } = {},
  ) => {
    const plan = smallPlan(others === 'on a knob' ? byHand('LT') : (small) => small)
    const rails = standing(plan, 'LT', V ?? 0, 4, {
      good_since_us: good_ago_s === null ? null : now_us - good_ago_s * 1e6,
      ...(V === null && { V: null }),
    })
    const d = momentOf(plan, ht100, {
      rails,
      part_us: now_us,
      meters: { 'grid meter': { value: -40, t_us: now_us } },
      ...(again && { typed: { 'again:LT': { value: 12, t_us: now_us } } }),
    })
    return { open: gateOpen(d, plan.steps[ht100]!, plan.rails['HT']!), d }
  }

  it('goes up after one reading in band, the warm-up and a second reading', () => {
    expect(waits(29)).toMatchObject({ open: false, d: { broken: [], s: { prompt: null } } })
    const asks = waits(30)
    expect(asks.open).toBe(false)
    expect(asks.d.s.prompt).toMatchObject({ purpose: { kind: 'knob', rail: 'LT', wants: 'V' } })
    expect(asks.d.s.prompt?.low).toBeCloseTo(10.9)
    expect(waits(30, { again: true })).toMatchObject({ open: true, d: { broken: [], s: { prompt: null } } })
    expect(waits(29, { again: true }).open).toBe(false)
  })

  it('does not wait for heaters that nobody read in band: nobody turns that knob any more', () => {
    const never = waits(null)
    expect(never).toMatchObject({
      open: false,
      d: { broken: [{ code: 'heater-lost', rail: 'LT', measured: 12, limit: 12, unit: 'V' }] },
    })
    expect(never.d.broken[0]?.text).toContain('(12 V was typed)')
    const unread = waits(null, { V: null }).d.broken[0]
    expect(unread).toMatchObject({
      measured: 0,
      text: expect.stringContaining('(nothing was typed)') as string,
    })
  })

  it('asks nobody to read heaters that a supply reads', () => {
    expect(waits(30, { others: 'on a supply' })).toMatchObject({ open: true, d: { s: { prompt: null } } })
  })
})
