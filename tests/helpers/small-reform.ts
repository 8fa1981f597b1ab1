import type { Plan, ReformPart, ReformPlan, Step } from '../../src/plan/index.js'
import type { State } from '../../src/sequencer/index.js'
import type { Draft } from '../../src/sequencer/state.js'
import { momentOf } from './moment.js'
import { smallPlan } from './small-plan.js'

/* Lifted electrolytics, for plans small enough to follow by hand. All figures invented. */

const partOf = (name: string, typed: string | null): ReformPart => ({
  name,
  parts: [name],
  joined: 'alone',
  F: 8e-6,
  rated_V: 450,
  most_V: 450,
  cans: [],
  feed_ohm: 10_000,
  feed_error: 0.05,
  feed_rated_W: 5,
  meter: `meter of ${name}`,
  ...(typed !== null && { typed: { node: typed, settle_s: 0 } }),
  across: 'feed',
  meter_ohm: 10e6,
  meter_error: { of_reading: 0.01, plus: 0.1, resolution: 0.1 },
  case: null,
  limit: { target: 'a test', amps: 1e-3, after_s: 60, text: 'a test', source: 'invented' },
  resolves_A: 1e-6,
  formed_V: 0,
})

/** Two of them, the first read by a person. */
export const smallReform: ReformPlan = {
  rail: 'HT',
  channel: 'ht.1',
  parts: [partOf('C1', 'C1 feed'), partOf('C2', null)],
  top_V: 250,
  rung_V: 50,
  heat_W: 1,
  top_s: 60,
  rest_s: 60,
  supply: { of_reading: 0.001, plus: 0.1, resolution: 0.1 },
  said: [],
}
/** Nothing was said of it yet. */
export const partWaits: State['reform'][string] = {
  act: 'wait',
  step: 0,
  reach_V: 0,
  formed_V: 0,
  verdict: null,
  off: false,
}
export const partGivenUp = { ...partWaits, act: 'give up', verdict: 'replace' } as const

/** Hook-up checks, the step in which a part is taken off, three rungs, the last volts, an exchange of feed resistors, a second climb. */
export function formingPlan(change: Partial<ReformPlan> = {}, more: Partial<Plan> = {}): Plan {
  return smallPlan((plan) => {
    const like = plan.steps[5]!
    const none = { needs_heaters: false, needs_bias: false, hands_clear: false }
    const at = (stage: string, target_V: number, what: NonNullable<Step['reform']>['what']) => ({
      ...{ ...like, ...none, stage, target_V, reform: { what, least_s: 30 } },
    })
    const asks = (text: string) => ({ ...like, ...none, do: 'ask' as const, ask: { ...liftIt, text } })
    const steps: readonly Omit<Step, 'index'>[] = [
      ...plan.steps.slice(0, 3),
      { ...asks('Lift it.'), stage: 'take off', aside: true },
      ...[100, 150, 200].map((V) => at(`rung ${V}`, V, 'rung')),
      at('top', 250, 'top'),
      { ...asks('Exchange it.'), stage: 'exchange', exchange: ['C1'] },
      at('re-test', 250, 're-test'),
    ]
    return {
      ...plan,
      ...more,
      kind: 'reform',
      steps: steps.map((step, i) => ({ ...step, index: i + 1 })),
      reform: { ...smallReform, ...change },
    }
  })
}
export const liftIt: NonNullable<Step['ask']> = {
  ...{ text: '', wants: { kind: 'confirm' }, timeout_s: 0, inside: true, about: 'lift' },
}

/** The same at one moment of this step's hold, with this known of its parts. */
export const formingAt = (
  place: number,
  parts: State['reform'],
  more: Partial<State> = {},
  plan: Plan = formingPlan(),
): Draft => momentOf(plan, place, { part: 'hold', reform: parts, ...more })
