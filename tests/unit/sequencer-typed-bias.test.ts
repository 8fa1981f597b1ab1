import { describe, expect, it } from 'vitest'
import type { BiasPlan, Plan } from '../../src/plan/index.js'
import { biasStands, forgetTypedBias, renewsTypedBias } from '../../src/sequencer/bias-gate.js'
import type { Draft, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* The bias before HT and under it, at one moment: how long a meter is waited for, and when a person is asked for what it shows. */

const at250 = 6
const planOf = (more: Partial<BiasPlan>): Plan =>
  smallPlan((plan) => {
    const BIAS = plan.rails['BIAS']!
    return { ...plan, rails: { ...plan.rails, BIAS: { ...BIAS, bias: { ...BIAS.bias!, ...more } } } }
  })
interface At {
  readonly bias?: Partial<BiasPlan>
  readonly HT_V?: number
  readonly BIAS_V?: number
  readonly waited_s?: number
  readonly more?: Partial<State>
}
function moment({ bias = {}, HT_V = 0, BIAS_V = 40, waited_s = 1, more }: At = {}): Draft {
  const plan = planOf(bias)
  return momentOf(plan, at250, {
    ...{ part: 'gate', part_us: now_us - waited_s * 1e6 },
    rails: { ...standing(plan, 'HT', HT_V, 0), ...standing(plan, 'BIAS', BIAS_V, 0.01) },
    ...more,
  })
}
/** Typed so long ago. */
const typed = (ago_s: number, value = -40): Partial<State> => ({
  typed: { 'node:grid': { value, t_us: now_us - ago_s * 1e6 } },
})
const byHand = { meter: null }

describe('a bias that a meter on a line shows', () => {
  const shows = (value: number): Partial<State> => ({ meters: { 'grid meter': { value, t_us: now_us } } })

  it('holds HT while it is too low, twenty seconds long, and then ends the run with both figures', () => {
    expect(biasStands(moment({ more: shows(-40) }))).toBe(true)
    for (const waited_s of [1, 20]) {
      const d = moment({ waited_s, more: shows(-10) })
      expect([biasStands(d), d.broken]).toEqual([false, []])
    }
    const d = moment({ waited_s: 20.1, more: shows(-10) })
    expect(biasStands(d)).toBe(false)
    expect(d.broken).toMatchObject([{ code: 'bias-low', rail: 'BIAS', measured: -10, limit: -30, unit: 'V' }])
  })
})

describe('a bias that a person reads', () => {
  const question = (at: At): string => {
    const d = moment({ bias: byHand, ...at })
    expect(biasStands(d)).toBe(false)
    return d.s.prompt?.text ?? ''
  }

  it('has its meter clipped on before HT only where nothing stands above the touch limit', () => {
    expect(question({})).toContain('clip one on now, while HT is off')
    expect(question({ bias: { ...byHand, nominal_V: 60 } })).toContain('clip one on now')
    expect(question({ bias: { ...byHand, nominal_V: 61 } })).toContain(
      'nobody reaches for grid while the bias stands.',
    )
    expect(question({ BIAS_V: 70 })).toContain('nobody reaches for grid while BIAS is above 60 V.')
  })

  it('is asked for again under HT before it is too old, and HT does not rise meanwhile', () => {
    const renews = (ago_s: number): boolean => {
      const d = moment({ bias: byHand, HT_V: 250, more: typed(ago_s) })
      const asks = renewsTypedBias(d)
      expect(d.s.prompt !== null).toBe(asks)
      return asks
    }
    expect([60, 719, 720, 800].map(renews)).toEqual([false, false, true, true])
  })

  it('is asked for with its age, and for three minutes at most', () => {
    const d = moment({ bias: byHand, HT_V: 250, more: typed(780) })
    renewsTypedBias(d)
    expect(d.s.prompt).toMatchObject({
      ...{ purpose: { kind: 'bias', node: 'grid', rail: 'BIAS' }, low: -80, high: -30 },
      until_us: now_us + 180e6,
    })
    expect(d.s.prompt?.text).toMatch(/^The bias typed for grid is 13 min old\. HT holds and does not rise\./)
    expect(d.s.prompt?.ask.about).toBe('bias under HT')
  })

  it('is not asked for again while HT is off, nor where a meter shows it', () => {
    expect(renewsTypedBias(moment({ bias: byHand, more: typed(800) }))).toBe(false)
    expect(renewsTypedBias(moment({ HT_V: 250, more: typed(800) }))).toBe(false)
  })

  it('tells nothing any more once the bias was taken down', () => {
    const d = moment({ bias: byHand, more: typed(60) })
    forgetTypedBias(d, d.s.plan.rails['BIAS']!)
    expect(d.s.typed).toEqual({})
    const metered = moment({ more: typed(60) })
    forgetTypedBias(metered, metered.s.plan.rails['BIAS']!)
    expect(Object.keys(metered.s.typed)).toEqual(['node:grid'])
  })
})
