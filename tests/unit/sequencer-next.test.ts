import { describe, expect, it } from 'vitest'
import type { HeaterSign, Plan, Step } from '../../src/plan/index.js'
import { nextToDo } from '../../src/sequencer/next.js'
import type { RailState } from '../../src/sequencer/state.js'
import type { Broken } from '../../src/sequencer/types.js'
import { momentOf, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What a person is told to look at after a trip: by what broke, on which rail, and what the plan knows of the place. */

interface At {
  readonly step?: Partial<Step>
  /** What the hook-up sheet calls the two ends. */
  readonly sheet?: Pick<Plan['hookup'][number], 'positive' | 'negative'>
  readonly signs?: readonly HeaterSign[]
  readonly rail?: Partial<RailState>
}
const holds = 7
/** The small set stands at 250 V, and this broke. */
function next(code: Broken['code'], name: string | null, at: At = {}): string {
  const plan = smallPlan((made) => ({
    ...made,
    ...(at.sheet && {
      hookup: [{ rail: name ?? '', supply: 'ht', first: [], proved_by: '', ...at.sheet }],
    }),
    steps: made.steps.map((step, place) => {
      const { LT } = step.limits
      const limits = LT && at.signs ? { ...step.limits, LT: { ...LT, signs: at.signs } } : step.limits
      return { ...step, limits, ...(place === holds ? at.step : {}) }
    }),
  }))
  const rails = name === null ? {} : standing(plan, name, 12, 4, at.rail)
  return nextToDo(momentOf(plan, holds, { part: 'hold', rails }), { code, rail: name })
}
const overs = ['over-ceiling', 'over-trip', 'current-limit', 'slow-rise', 'rising'] as const
const leads = (name: string): string =>
  ` Next: measure before touching; when ${name} is read as dead at ${name}+, look at its leads and at what hangs on it.`

describe('after too much current', () => {
  it('on what feeds plates or screens the ohms are read from its positive point to its negative', () => {
    for (const code of overs)
      expect(next(code, 'HT')).toBe(
        ' Next: measure before touching; when HT is read as dead at HT+, read the ohms from there to chassis: far less than at the hook-up check is a short on HT.',
      )
  })

  it('the points are named as on the hook-up sheet, where it has them', () => {
    const sheet = { positive: 'HT+ at C1', negative: 'the minus bus' }
    expect(next('over-trip', 'HT', { sheet })).toContain(
      'read as dead at HT+ at C1, read the ohms from there to the minus bus:',
    )
  })

  it('on heaters and on bias it is the leads that are looked at', () => {
    for (const code of overs) {
      expect(next(code, 'LT')).toBe(leads('LT'))
      expect(next(code, 'BIAS')).toBe(leads('BIAS'))
    }
  })

  it('in a step in which a stage is driven its tuning is looked at first, and only there', () => {
    expect(next('over-trip', 'HT', { step: { drive: [] } })).toMatch(
      /^ A stage is driven in this step: .* it can draw too much with nothing in it failed\. Next: /,
    )
  })

  it('the parts behind the three points that should have stood highest are named, highest first', () => {
    const nodes = { 'HT+': 250, a: 90, 'V1:helper': 240, b: 180, c: 30, d: 120, e: 0, f: -40 }
    expect(next('over-trip', 'HT', { step: { nodes } })).toContain(
      'is a short on HT; behind it hang b (180 V expected), d (120 V expected), a (90 V expected): the lowest in ohms is nearest to it.',
    )
    const none = { 'HT+': 250, 'V1:helper': 240, e: 0 }
    expect(next('over-trip', 'HT', { step: { nodes: none } })).toMatch(/is a short on HT\.$/)
  })
})

describe('after a lost heater', () => {
  const V3: HeaterSign = {
    what: 'open',
    of: 'V3 open',
    chains: ['H1'],
    parts: ['V3'],
    change_A: -1,
    set_change_V: 0,
    over: null,
    text: '',
  }
  const signs = [V3]
  const read = (value: number): Partial<RailState> => ({ A: { value, t_us: 1 } })

  it('each heater is read pin to pin, and the one whose loss would make the difference is named', () => {
    expect(next('heater-lost', 'LT', { signs, rail: read(3) })).toBe(
      ' Next: measure before touching; HT dead, read each heater pin to pin.',
    )
    expect(next('heater-lost', 'LT', { signs, rail: read(2.5) })).toContain(
      'pin to pin: 1.5 A less than expected is what V3 open',
    )
  })

  it('nothing is said of heaters whose current nobody reads', () => {
    expect(next('heater-lost', 'LT', { rail: { A: null } })).toBe('')
  })
})

describe('after anything else', () => {
  it('lost drive is looked for from the crystal on', () => {
    expect(next('drive-lost', 'HT')).toMatch(/^ Next: measure before touching; look at crystal or exciter, /)
  })

  it('a bias that is low is read alone, at the grid', () => {
    expect(next('bias-low', 'BIAS')).toBe(' Next: HT stays off; read the volts at grid with BIAS alone.')
    expect(next('bias-low', 'HT')).toContain('read the volts at chassis with HT alone.')
  })

  it('it is the leads, and where no rail is concerned nothing', () => {
    expect(next('off-set-point', 'HT')).toBe(leads('HT'))
    expect(next('over-trip', null)).toBe('')
  })
})
