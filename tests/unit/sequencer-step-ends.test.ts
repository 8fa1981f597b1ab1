import { describe, expect, it } from 'vitest'
import type { HeaterSign, Plan, Step } from '../../src/plan/index.js'
import { holdAndSettle, nextStep } from '../../src/sequencer/hold.js'
import type { ChannelState, Draft, RailState, Sample, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded, standing } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* When a step is over: settled to its last sample, asked about only what nobody has said yet, and nothing carried into the next. */

const [heaters, holds] = [3, 7]
const planWith = (place: number, change: Partial<Step>): Plan =>
  smallPlan((plan) => ({
    ...plan,
    steps: plan.steps.map((step, at) => (at === place ? { ...step, ...change } : step)),
  }))
interface At {
  readonly place?: number
  readonly step?: Partial<Step>
  readonly rails: Readonly<Record<string, readonly [V: number, A: number, more?: Partial<RailState>]>>
  readonly since_s?: number
  readonly channel?: Partial<ChannelState>
  readonly more?: Partial<State>
}
function settling({ place = holds, step = {}, rails, since_s = 5, channel, more }: At): Draft {
  const plan = planWith(place, step)
  const up = Object.entries(rails).map(([name, [V, A, known]]) => standing(plan, name, V, A, known))
  const { channels } = momentOf(plan, place).s
  const d = momentOf(plan, place, {
    ...{ part: 'settle', part_us: now_us - since_s * 1e6, rails: Object.assign({}, ...up) as State['rails'] },
    ...(channel && { channels: { ...channels, 'ht.1': { ...channels['ht.1']!, ...channel } } }),
    ...more,
  })
  holdAndSettle(d, d.s.plan.steps[place]!)
  return d
}
const at = (ago_s: number, value: number): Sample => ({ value, t_us: now_us - ago_s * 1e6 })
const HT = (recent: readonly Sample[]): At['rails'] => ({ HT: [250, 0.05, { recent: [...recent] }] })
const isOver = (d: Draft): boolean => d.s.step > holds

describe('a current', () => {
  const [a, b, c] = [at(9.5, 0.05), at(7, 0.05), at(1, 0.05)]

  it('has settled by readings that go back nine seconds at least', () => {
    expect(isOver(settling({ rails: HT([at(9, 0.05), b, c]) }))).toBe(true)
    expect(isOver(settling({ rails: HT([at(8.9, 0.05), b, c]) }))).toBe(false)
  })

  it('has not while a reading of the later half lies off, the one in the middle among them', () => {
    expect(isOver(settling({ rails: HT([a, b, at(5, 0.06), c]) }))).toBe(false)
    expect(isOver(settling({ rails: HT([a, b, at(5, 0.05), c]) }))).toBe(true)
    // Of one half nothing was read at all.
    expect(isOver(settling({ rails: HT([a, b]) }))).toBe(false)
  })

  it('has where it moved by no more than two last digits', () => {
    expect(isOver(settling({ rails: HT([at(9.5, 0), at(1, 0.0002)]) }))).toBe(true)
    expect(isOver(settling({ rails: HT([at(9.5, 0), at(1, 0.0003)]) }))).toBe(false)
  })

  it('that has not is asked about once its time is up, to the moment', () => {
    const drifts = HT([a, b, at(4, 0.06)])
    expect(settling({ rails: drifts, since_s: 29.9 }).s.prompt).toBeNull()
    expect(settling({ rails: drifts, since_s: 30 }).s.prompt?.ask.about).toBe('not settled')
  })
})

describe('a rail below its ask', () => {
  const asks = (d: Draft): string | null => d.s.prompt?.ask.about ?? null
  const settled = { settle_within_s: 0 }

  it('is asked about below it, not at it', () => {
    const { ask_A } = limitsAt(250, 0.05)
    const of = (A: number) => asks(settling({ step: settled, rails: { HT: [250, A] } }))
    expect([ask_A, ask_A - 0.0001].map(of)).toEqual([null, 'below-ask HT'])
  })

  it('of heaters that were accepted as weak is not asked about again while they stand; of plates it is', () => {
    const weak = (name: string): Partial<State> => ({ weak: { [name]: 0.3 }, weak_in: { [name]: 4 } })
    const stand = (name: 'LT' | 'HT') =>
      asks(
        settling({
          ...{ step: settled, more: weak(name) },
          rails: name === 'LT' ? { LT: [12, 1.12] } : { HT: [250, 0.014] },
        }),
      )
    expect([stand('LT'), stand('HT')]).toEqual([null, 'below-ask HT'])
    // Raised again, they are new to everybody.
    const again = settling({
      ...{ place: heaters, step: settled, more: { weak: { LT: 0.3 }, weak_in: { LT: 9 } } },
      rails: { LT: [12, 1.12] },
    })
    expect(asks(again)).toBe('below-ask LT')
  })

  it('of heaters is asked about with the heater that is missing, where the difference tells', () => {
    const V3: HeaterSign = {
      ...{ what: 'open', of: 'V3 open', chains: ['H1'], parts: ['V3'], change_A: -2, set_change_V: 0 },
      ...{ over: null, text: '' },
    }
    const limits = { LT: { ...limitsAt(12, 4), signs: [V3] } }
    const d = settling({ place: heaters, step: { ...settled, limits }, rails: { LT: [12, 1.5] } })
    expect(d.s.prompt?.text).toContain('2.5 A less than expected is what V3 open')
  })
})

describe('a step', () => {
  it('whose rail has yet to arrive is not over', () => {
    const d = settling({ rails: HT([]), step: { settle_within_s: 0 }, more: { part: 'arrive' } })
    expect(isOver(d)).toBe(false)
  })

  it('on the way to taking a part off widens nothing that stands, and any other sees to its limits first', () => {
    const known: Partial<ChannelState> = {
      ...{ output: 'on', set_V: 250, limit_A: 0.05, over_V: 255, limits_step: 7 },
    }
    const told = (aside: boolean): readonly string[] =>
      settling({
        ...{ channel: known, more: { intent: { id: 1, recorded: true } } },
        ...{ rails: { HT: [250, 0.05] }, step: { settle_within_s: 0, ...(aside && { aside }) } },
      }).out.flatMap((one) => (one.kind === 'line' ? [one.do] : []))
    expect([told(true), told(false)]).toEqual([[], ['limits']])
  })

  it('is put down as done once, however often it is climbed again', () => {
    const done = (before: readonly number[]): readonly number[] => {
      const d = momentOf(smallPlan(), holds, { done: before })
      nextStep(d, d.s.plan.steps[holds]!)
      return d.s.done
    }
    expect([done([5, 6]), done([5, 6, 7])]).toEqual([
      [5, 6, 7],
      [5, 6, 7],
    ])
  })

  it('leaves the next one no breach that was half counted', () => {
    const half = { breaking: { 'over-trip': { count: 1, since_us: 1 } }, in_window: { count: 2, at_us: 1 } }
    const d = settling({ step: { settle_within_s: 0 }, rails: { HT: [250, 0.05, half] } })
    expect(d.s.rails['HT']).toMatchObject({ breaking: {}, in_window: null })
  })

  it('calls a rail marginal up to its ask and its trip, and far off only beyond', () => {
    const { ask_A, trip_A } = limitsAt(250, 0.05)
    const word = (A: number): string => {
      const d = momentOf(smallPlan(), holds, { rails: standing(smallPlan(), 'HT', 250, A) })
      nextStep(d, d.s.plan.steps[holds]!)
      return /: ([a-z ]+)\.$/m.exec(recorded(d).split('\n')[0] ?? '')?.[1] ?? ''
    }
    expect([ask_A, trip_A].map(word)).toEqual(['marginal', 'marginal'])
    expect([ask_A - 0.001, trip_A + 0.001].map(word)).toEqual(['far below its band', 'far above its band'])
  })
})
