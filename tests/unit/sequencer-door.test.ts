import { describe, expect, it } from 'vitest'
import type { LineRequestBody } from '../../src/exchange/index.js'
import type { ChannelPlan, Plan } from '../../src/plan/index.js'
import type { State } from '../../src/sequencer/index.js'
import { send } from '../../src/sequencer/send.js'
import type { ChannelState } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { byHand, smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/*
 * The one door to the line: whatever part of the program asks for it, nothing goes out that would raise without cautions, hook-up,
 * intent, limits and interlocks. What may only make things safer is never held up there.
 */

const [hookupHT, bias, at250, past] = [2, 4, 6, 8]
const small = smallPlan()
const set = (volts: number): LineRequestBody => ({ do: 'set', volts })
const on: LineRequestBody = { do: 'on' }
const limits = (limit_A: number, over_voltage_V: number | null = 200): LineRequestBody => ({
  do: 'limits',
  ...{ limit_A, over_voltage_V },
})
const warm_us = now_us - 60e6
const ok = { id: 1, recorded: true }

/** HT stands at 100 V and is about to be raised to 250: everything that this takes is as it should be, but for the changes. */
function asked(
  request: LineRequestBody,
  { plan = small, at = at250, own = {}, ...more }: At = {},
  name = 'ht.1',
) {
  const { channels } = momentOf(plan, at).s
  const d = momentOf(plan, at, {
    intent: ok,
    meters: { 'grid meter': { value: -40, t_us: now_us } },
    rails: {
      ...standing(plan, 'LT', 12, 4, { good_since_us: warm_us }),
      ...standing(plan, 'BIAS', 40, 0.01),
      ...standing(plan, 'HT', 100, 0.02),
    },
    channels: {
      ...channels,
      'ht.1': {
        ...channels['ht.1']!,
        ...{ set_V: 100, limit_A: 0.08, over_V: 263.5, limits_step: at + 1, output: 'on' },
        ...own,
      },
    },
    ...more,
  })
  send(d, name, request)
  const sent = d.out.filter(({ kind }) => kind === 'line')
  // Either it goes out, or it is said why not and the run makes safe.
  expect(sent).toHaveLength(d.broken.length === 0 ? 1 : 0)
  const told = d.broken[0]?.text
  return { d, sent, refused: typeof told === 'string' ? told.replace(/^Not sent, .*?: /, '') : null }
}
type At = Partial<State> & {
  readonly plan?: Plan
  readonly at?: number
  readonly own?: Partial<ChannelState>
}
const refused = (request: LineRequestBody, more: At = {}) => asked(request, more).refused

/** All that takes a rail up: every one of them wants the same to be done before. */
const raises: readonly LineRequestBody[] = [set(110), on, limits(0.09)]

describe('what goes out', () => {
  it('is kept as under way until its outcome comes, a set-point with its volts', () => {
    const { d, sent } = asked(set(110))
    expect(sent).toEqual([{ kind: 'line', id: 1, channel: 'ht.1', do: 'set', volts: 110 }])
    expect(d.s.pending).toEqual({ 1: { channel: 'ht.1', request: set(110), t_us: now_us } })
    expect(d.s.channels['ht.1']).toMatchObject({ setting: 110, output: 'on' })
    expect(d.s).toMatchObject({ next_id: 2, ever_energised: false })
  })

  it('and is no set-point leaves none under way', () => {
    for (const request of [on, limits(0.08), { do: 'off' }, { do: 'zero' }] as const)
      expect(asked(request).d.s.channels['ht.1']?.setting).toBeNull()
  })

  it('and switches on counts as done from then on, whatever the reply', () => {
    const { d } = asked(on, { own: { output: 'off' }, rails: rested() })
    expect(d.s.channels['ht.1']?.output).toBe('unknown')
    expect(d.s.rails['HT']).toMatchObject({ energised: true, on_us: now_us })
    expect(d.s.ever_energised).toBe(true)
  })

  it('and only sets or limits switches nothing on', () => {
    for (const request of [set(110), limits(0.08)]) {
      const { d } = asked(request, { own: { output: 'off' }, rails: rested() })
      expect(d.s.channels['ht.1']?.output).toBe('off')
      expect(d.s.rails['HT']).toMatchObject({ energised: false, on_us: null })
    }
  })

  const rested = () => ({
    ...standing(small, 'LT', 12, 4, { good_since_us: warm_us }),
    ...standing(small, 'HT', 100, 0, { energised: false, on_us: null }),
  })
})

describe('a raise', () => {
  it('goes out where everything is as it should be', () => {
    for (const request of raises) expect(refused(request)).toBeNull()
  })

  it('does not before the cautions were acknowledged in this start', () => {
    for (const request of [...raises, limits(0.08)])
      expect(refused(request, { begun_us: null })).toContain('cautions were not acknowledged')
  })

  it('does not once the run goes off, or has no step left', () => {
    for (const request of [...raises, limits(0.08)])
      for (const over of [{ phase: 'making off' }, { phase: 'ended' }, { at: past }] as const)
        expect(refused(request, over)).toMatch(/run is over, so ht\.1 may not be raised or switched on/)
  })

  it('does not before the set was proved dead and every connection confirmed', () => {
    for (const request of raises)
      for (const over of [{ proved_dead: 0 }, { wires_done: 2 }])
        expect(refused(request, over)).toContain('hook-up was not confirmed')
  })

  it('does not before the record has its intent', () => {
    for (const request of raises)
      for (const intent of [null, { id: 1, recorded: false }])
        expect(refused(request, { intent })).toContain('not in the record yet')
  })

  it('of volts or an output does not before the limits of this very step were read back', () => {
    for (const request of [set(110), on])
      for (const limits_step of [null, 6])
        expect(refused(request, { own: { limits_step } })).toContain('limits of ht.1 were not read back')
  })

  it('does not over heaters that are not warm, a bias that does not stand, an input that forbids it', () => {
    const cold = {
      rails: {
        ...standing(small, 'LT', 12, 4, { good_since_us: now_us - 20e6 }),
        ...standing(small, 'HT', 100, 0.02),
      },
    }
    const low = { meters: { 'grid meter': { value: -20, t_us: now_us } } }
    const open = {
      plan: lidded,
      meters: { 'grid meter': { value: -40, t_us: now_us }, lid: { value: 0, t_us: now_us } },
    }
    for (const request of [set(110), on]) {
      expect(refused(request, cold)).toContain('heaters have not been in band')
      expect(refused(request, low)).toContain('bias does not stand')
      expect(refused(request, open)).toContain('a watched input is beyond its limit')
    }
  })

  it('does not on a channel that the plan does not have', () => {
    const { d } = asked(set(1), {}, 'spare.1')
    expect(d.broken).toMatchObject([{ code: 'invariant' }])
    expect(asked({ do: 'off' }, {}, 'spare.1').refused).toBe('spare.1 is not in the plan.')
  })

  it('does not while a question is open: somebody may be at the set', () => {
    const prompt = (kind: 'step' | 'polarity'): State['prompt'] => ({
      ...{ id: 1, purpose: { kind }, low: null, high: null, unit: '', text: 'Set it.' },
      ...{ opened_us: now_us, until_us: now_us, tries: 0 },
      ask: { text: 'Set it.', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: 'mode' },
    })
    for (const request of [set(110), on])
      expect(refused(request, { prompt: prompt('step') })).toContain('a question is open')
    expect(refused(set(110), { prompt: prompt('polarity') })).toContain('a question is open')
    // The question for a polarity is about the volts of the check itself.
    expect(refused(on, { prompt: prompt('polarity') })).toBeNull()
  })

  const lidded = smallPlan((plan) => ({
    ...plan,
    meters: {
      ...plan.meters,
      lid: {
        ...plan.meters['grid meter']!,
        ...{ name: 'lid', port: 'lid', measures: 'contact', at: null },
        watch: {
          ...{ uses: [], needed: true, stale_s: 4, falls: null },
          limits: [{ when: 'open', at: null, act: 'trip', because: 'invented' }],
        },
      },
    },
  }))
})

describe('a set-point', () => {
  const changed = (more: Partial<Plan['steps'][number]>, part: Partial<ChannelPlan> = {}): Plan =>
    smallPlan((plan) => {
      const { HT } = plan.rails
      const rails = { ...plan.rails, HT: { ...HT!, channels: [{ ...HT!.channels[0]!, ...part }] } }
      return steps((step) => (step.index === 7 ? { ...step, ...more } : step))({ ...plan, rails })
    })

  it('rises no faster than the slew, a second of it at most at once', () => {
    expect(refused(set(120))).toBeNull()
    expect(refused(set(120.1))).toBe('HT would rise faster than 20 V/s.')
    // On two channels in series each makes its part.
    const half = { plan: changed({}, { share: 0.5 }), own: { set_V: 50 } }
    expect(refused(set(60), half)).toBeNull()
    expect(refused(set(60.1), half)).toBe('HT would rise faster than 20 V/s.')
  })

  it('is never above what the step, the rail and the channel are for', () => {
    expect(refused(set(252))).toBe('252 V on HT is 2 V above 250 V.')
    expect(refused(set(140), { plan: changed({}, { share: 0.5 }), own: { set_V: 50 } })).toBe(
      '280 V on HT is 30 V above 250 V.',
    )
    expect(refused(set(302), { plan: changed({ target_V: 400 }) })).toBe('302 V on HT is 2 V above 300 V.')
    expect(refused(set(110), { plan: changed({}, { max_V: 105 }) })).toBe(
      '110 V is above what ht.1 is rated for.',
    )
  })

  it('above 60 V is none while hands may be in the set; at the touch limit it is', () => {
    const low = { own: { set_V: 50 }, hands_in: true }
    const rails = {
      ...standing(small, 'LT', 12, 4, { good_since_us: warm_us }),
      ...standing(small, 'HT', 50, 0.01),
    }
    expect(refused(set(60), { ...low, rails })).toBeNull()
    expect(refused(set(60.1), { ...low, rails })).toContain('hands are not clear')
    expect(refused(set(60.1), { ...low, rails, hands_in: false })).toBeNull()
  })

  it('that only lowers goes out whatever stands against a raise, once the run began or while it goes off', () => {
    const nothing = { intent: null, proved_dead: 0, own: { limits_step: null }, hands_in: true }
    for (const volts of [0, 60, 100]) {
      expect(refused(set(volts), nothing)).toBeNull()
      expect(refused(set(volts), { ...nothing, phase: 'making off' })).toBeNull()
    }
    expect(refused(set(100.1), nothing)).not.toBeNull()
    // Of an output whose set-point is not known only the lowest there is goes down for certain.
    expect(refused(set(0), { ...nothing, own: { set_V: null } })).toBeNull()
    expect(refused(set(0.1), { ...nothing, own: { set_V: null } })).not.toBeNull()
    expect(refused(set(0), { phase: 'waiting', begun_us: null })).toContain('cautions')
  })

  it('of a hook-up check is its few volts, with the output off', () => {
    const off = { at: hookupHT, own: { set_V: 0, output: 'off' } } as const
    expect(refused(set(3), off)).toBeNull()
    expect(refused(set(3.2), off)).toBe('3.2 V on HT is 200 mV above 3 V.')
    expect(refused(set(3), { ...off, own: { set_V: 0, output: 'on' } })).toBe('ht.1 is not off.')
    expect(refused(set(3), { ...off, own: { set_V: 0, output: 'unknown' } })).toBe('ht.1 is not off.')
    const high = smallPlan(
      steps((step) => (step.hookup === null ? step : { ...step, hookup: { ...step.hookup, test_V: 12 } })),
    )
    expect(refused(set(5.2), { ...off, plan: high })).toBe('5.2 V on HT is 200 mV above 5 V.')
  })
})

describe('an output', () => {
  it('is told OFF or zero at any time, before the cautions and after the end too', () => {
    for (const request of [{ do: 'off' }, { do: 'zero' }] as const)
      for (const phase of ['waiting', 'running', 'making off', 'ended'] as const)
        expect(refused(request, { phase, begun_us: null, intent: null })).toBeNull()
  })

  it('goes on for its hook-up check with neither heaters nor bias', () => {
    expect(refused(on, { at: hookupHT, rails: {}, meters: {} })).toBeNull()
  })
})

describe('limits', () => {
  it('that are narrower than what was read back go out before the record has an intent', () => {
    const before = { intent: null }
    expect(refused(limits(0.08, 263.5), before)).toBeNull()
    expect(refused(limits(0.05, 200), before)).toBeNull()
    expect(refused(limits(0.081, 200), before)).toContain('not in the record yet')
    expect(refused(limits(0.05, 264), before)).toContain('not in the record yet')
  })

  it('are narrower only against what is known: without it they wait for the intent', () => {
    expect(refused(limits(0.05, 200), { intent: null, own: { limit_A: null } })).not.toBeNull()
    expect(refused(limits(0.05, 200), { intent: null, own: { over_V: null } })).not.toBeNull()
  })

  it('of a supply without an over-voltage level are narrower by their current; a level that would go is not', () => {
    expect(refused(limits(0.05, null), { intent: null, own: { over_V: null } })).toBeNull()
    expect(refused(limits(0.081, null), { intent: null, own: { over_V: null } })).not.toBeNull()
    expect(refused(limits(0.05, null), { intent: null })).not.toBeNull()
  })

  it('are never wider than the step has them, or than they stood', () => {
    const most = 0.05 * 1.8
    expect(refused(limits(most))).toBeNull()
    expect(refused(limits(0.091))).toBe('a supply limit of 91 mA on ht.1 is above 90 mA.')
    expect(refused(limits(0.1, 280), { own: { limit_A: 0.1 } })).toBeNull()
    expect(refused(limits(0.11, 280), { own: { limit_A: 0.1 } })).not.toBeNull()
  })

  it('may be the least that the supply can be set to, and never more than it is rated for', () => {
    const coarse = (min_A: number, max_A: number): Plan => {
      const { HT } = small.rails
      return {
        ...small,
        rails: { ...small.rails, HT: { ...HT!, channels: [{ ...HT!.channels[0]!, min_A, max_A }] } },
      }
    }
    const own = { limit_A: null }
    expect(refused(limits(0.12), { plan: coarse(0.12, 0.2), own })).toBeNull()
    expect(refused(limits(0.13), { plan: coarse(0.12, 0.2), own })).not.toBeNull()
    expect(refused(limits(0.09), { plan: coarse(0.001, 0.085), own })).toBe(
      'a supply limit of 90 mA on ht.1 is above 85 mA.',
    )
  })

  it('have no over-voltage level above what the channel is rated for', () => {
    expect(refused(limits(0.09, 300))).toBeNull()
    expect(refused(limits(0.09, 301))).toBe('an over-voltage level of 301 V is above what ht.1 is rated for.')
    expect(refused(limits(0.09, null))).toBeNull()
  })

  it('are none on a rail for which the step has none', () => {
    expect(refused(limits(0.05, 280), { at: bias, own: { limit_A: 0.01 } })).toBe(
      'step 5 has no limits for HT.',
    )
    expect(refused(limits(0.05, 280), { at: bias, own: { limit_A: null } })).toBe(
      'step 5 has no limits for HT.',
    )
  })

  it('of a hook-up check are those of the check', () => {
    const check = { at: hookupHT, own: { limit_A: null } }
    expect(refused(limits(0.005, 5), check)).toBeNull()
    expect(refused(limits(0.006, 5), check)).toBe('a supply limit of 6 mA on ht.1 is above 5 mA.')
  })
})

describe('a dead-man', () => {
  const proving = (kind: Plan['kind'], target_V: number): Plan =>
    smallPlan((plan) => ({
      ...steps((step) => ({
        ...step,
        target_V,
        proof: {
          ...{ of: 'dead-man', channel: 'ht.1', limit_A: null, level: null },
          ...{ within_s: 9, because: 'Invented.' },
        },
      }))(plan),
      kind,
    }))
  const starve: LineRequestBody = { do: 'starve', for_s: 9 }

  it('is left unfed in its own proof alone, with the intent of that in the record', () => {
    const plan = proving('receive', 5)
    expect(refused(starve, { plan })).toBeNull()
    expect(refused(starve)).toContain('in its own proof only')
    expect(refused(starve, { plan, at: past })).toContain('in its own proof only')
    expect(asked(starve, { plan }, 'bias.1').refused).toContain('in its own proof only')
    expect(refused(starve, { plan, intent: { id: 1, recorded: false } })).toContain('not in the record yet')
    expect(refused(starve, { plan, intent: null })).toContain('not in the record yet')
  })

  it('is proved at volts of a hook-up test with a set, and of the touch limit with nothing but a load', () => {
    expect(refused(starve, { plan: proving('receive', 5.1) })).toContain('proved below 5 V only')
    expect(refused(starve, { plan: proving('qualify', 60) })).toBeNull()
    expect(refused(starve, { plan: proving('qualify', 61) })).toContain('proved below 60 V only')
  })

  it('is put to rest, and a panel given back, only when going off has come to its end', () => {
    const rests = (outputs_off: 'confirmed' | 'not confirmed'): Partial<State> => {
      const off = {
        rests: {
          result: { outputs_off, rails: {}, hand_rails: {}, bias_released_by: null },
          since_us: now_us,
        },
      }
      return { phase: 'making off', off: off as unknown as NonNullable<State['off']> }
    }
    const [disarm, back] = [{ do: 'disarm' }, { do: 'panel', to: 'person' }] as const
    for (const request of [disarm, back]) {
      expect(refused(request)).not.toBeNull()
      expect(refused(request, rests('confirmed'))).toBeNull()
    }
    // Where the bias stays on its dead-man has to rest too; its panel is not given back.
    expect(refused(disarm, rests('not confirmed'))).toBeNull()
    expect(refused(back, rests('not confirmed'))).toContain('only once every output is confirmed off')
    expect(refused({ do: 'panel', to: 'computer' })).toBeNull()
  })
})

it('a rail on a person’s knob has no channel that could be told anything', () => {
  expect(asked(set(1), { plan: smallPlan(byHand('HT')) }).refused).toBe('ht.1 is not in the plan.')
})
