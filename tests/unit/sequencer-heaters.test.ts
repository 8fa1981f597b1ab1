import { describe, expect, it } from 'vitest'
import type { HeaterSign, Plan } from '../../src/plan/index.js'
import { heaterFits } from '../../src/sequencer/heater-fits.js'
import { noteHeater } from '../../src/sequencer/heaters.js'
import type { RailState } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

describe('heaters in their band', () => {
  const since = (V: number, A: number | null, over: Partial<RailState> = {}): number | null => {
    // The other chain hangs on a rail of its own, at other volts.
    const plan = smallPlan((small) => ({
      ...small,
      heaters: [...small.heaters, { ...small.heaters[0]!, chain: 'H2', rail: 'HT', volts: 60 }],
    }))
    const read = A === null ? { A: null, ...over } : over
    const d = momentOf(plan, 3, { part: 'hold', rails: standing(plan, 'LT', V, A ?? 0, read) })
    noteHeater(d, 'LT')
    return d.s.rails['LT']?.good_since_us ?? null
  }

  it('are so by their own volts, whatever another chain wants, within a tenth', () => {
    expect([since(12, 4), since(10.9, 4), since(13.1, 4)]).toEqual([now_us, now_us, now_us])
    expect([since(10.7, 4), since(13.3, 4)]).toEqual([null, null])
  })

  it('are so by their current where that is read: between what passes unasked and the trip', () => {
    expect([since(12, 1.7), since(12, 6.3), since(12, null)]).toEqual([now_us, now_us, now_us])
    expect([since(12, 1.5), since(12, 6.5)]).toEqual([null, null])
  })

  it('have been so since they came there, and begin anew once they were out of it', () => {
    expect(since(12, 4, { good_since_us: 5 })).toBe(5)
    expect(since(12, 1.5, { good_since_us: 5 })).toBeNull()
    expect(since(12, 4, { energised: false, good_since_us: 5 })).toBeNull()
  })
})

describe('what changes the current of a heater rail by so much', () => {
  const sign = (what: HeaterSign['what'], of: string, change_A: number): HeaterSign => ({
    ...{ what, of, change_A, chains: ['H1'], parts: [`R${Math.abs(change_A * 100)}`] },
    ...{ set_change_V: 0, over: null, text: '' },
  })
  const signs = [
    sign('open', 'a heater open', -0.5),
    sign('wrong rating', 'a heater of half the current', -0.55),
    sign('wrong rating', 'a heater of twice the current', 0.6),
  ]
  const band = { lower_A: 3.8, upper_A: 4.2 }
  /** The bias rises to the same figure of volts later on, and heaters are held at theirs. */
  const plan: Plan = smallPlan((small) => ({
    ...small,
    steps: small.steps.map((step, at) => {
      const LT = limitsAt(12, 4, at === 3 ? { ...band, signs } : band)
      if (at < 3) return step
      return {
        ...step,
        ...(at === 4 && { target_V: 12 }),
        ...(at === 7 && { rail: 'LT', target_V: 12 }),
        limits: { ...step.limits, LT },
      }
    }),
  }))
  const fits = (difference_A: number): string =>
    heaterFits(momentOf(plan, 7, { part: 'hold' }), 'LT', difference_A)

  it('is told by what the plan computed where these heaters were brought up', () => {
    expect(fits(-0.5)).toBe('500 mA less than expected is what a heater open in chain H1 (R50) makes')
  })

  it('names what opens by itself alone, and what somebody put in where nothing else fits', () => {
    expect(fits(-0.5)).not.toContain('half the current')
    expect(fits(0.6)).toMatch(/^600 mA more than expected is what a heater of twice the current/)
  })

  it('says so where no single fault fits, and nothing of what may hide in the healthy band', () => {
    expect(fits(-1.5)).toMatch(/^1\.5 A less than expected fits no single heater/)
    expect([fits(0.19), fits(-0.19)]).toEqual(['', ''])
  })
})
