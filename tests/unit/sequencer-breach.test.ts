import { describe, expect, it } from 'vitest'
import type { Plan, RuleCode } from '../../src/plan/index.js'
import { broke } from '../../src/sequencer/breach.js'
import { judgeReading } from '../../src/sequencer/judge.js'
import type { State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/** Channels that OFF was given for while rules were still being judged, for these rules found broken in turn. */
function toldBy(codes: readonly RuleCode[], more: Partial<State> = {}): string[] {
  const told: string[] = []
  const d = momentOf(smallPlan(), 7, { off_first: ['ht.1'], ...more }, (channels) => {
    // Nothing of the reason was put together yet.
    expect(d.broken).toEqual([])
    told.push(channels.join())
  })
  for (const code of codes) broke(d, { code, text: 'invented' })
  return told
}

describe('a broken rule', () => {
  it('gives OFF before anything else is found out about it, and once', () => {
    expect(toldBy(['over-ceiling'])).toEqual(['ht.1'])
    expect(toldBy(['stale', 'over-ceiling'])).toEqual(['ht.1'])
  })

  it('that is a person’s stop, or comes while nothing runs, leaves OFF to the run-down', () => {
    expect(toldBy(['operator', 'time-budget'])).toEqual([])
    expect(toldBy(['over-ceiling'], { phase: 'waiting' })).toEqual([])
    expect(toldBy(['over-ceiling'], { phase: 'making off' })).toEqual([])
  })

  it('has the thresholds that the plan prints, and no others', () => {
    /** HT 10 V below its 250 V for 0.4 s. */
    const broken = (change: Partial<Plan['rules'][number]>): string[] => {
      const plan = smallPlan((small) => ({
        ...small,
        rules: small.rules.map((rule) => (rule.code === 'off-set-point' ? { ...rule, ...change } : rule)),
      }))
      const over = { set_V: 250, breaking: { 'off-set-point': { count: 8, since_us: now_us - 0.4e6 } } }
      const d = momentOf(plan, 7, { part: 'hold', rails: standing(plan, 'HT', 240, 0.048, over) })
      judgeReading(d, 'HT', 'V')
      return d.broken.map(({ code }) => code)
    }
    expect(broken({})).toEqual(['off-set-point'])
    expect(broken({ trip: 0.05 })).toEqual([])
    expect(broken({ for_s: 1 })).toEqual([])
  })
})

describe('a rail that rises too slowly', () => {
  /** On its ramp, at 100 V for as long as the rule allows, and now read with these amps. */
  function broken(amps: number): string[] {
    const plan = smallPlan()
    const rails = standing(plan, 'HT', 100, amps, {
      ...{ set_V: 140, set_us: now_us - 1e6, rise: [{ value: 100, t_us: now_us - 5e6 }] },
      breaking: { 'slow-rise': { count: 99, since_us: now_us - 9e6 } },
    })
    const d = momentOf(plan, 6, { part: 'ramp', part_us: now_us - 20e6, rails })
    judgeReading(d, 'HT', 'A')
    judgeReading(d, 'HT', 'V')
    return d.broken.map(({ code }) => code)
  }

  it('is tripped for that where its current is as it should be', () => {
    expect(broken(0.02)).toEqual(['slow-rise'])
  })

  it('is left to the rule of its current while that counts too much of it: it tells more', () => {
    expect(broken(0.05)).toEqual([])
  })
})
