import { describe, expect, it } from 'vitest'
import type { Plan, RailPlan, RuleCode } from '../../src/plan/index.js'
import { limitsNow } from '../../src/sequencer/in-force.js'
import { judgeLost } from '../../src/sequencer/judge-lost.js'
import type { Draft, RailState } from '../../src/sequencer/state.js'
import { type Read, readOf } from '../helpers/judged.js'
import { now_us, standing } from '../helpers/moment.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* What should be there and is not, just inside each line and just beyond it. In the hold heaters have 12 V and 4 A, HT 250 V and 50 mA. */

/** The small plan with a screen, a driver's rail and a modulator's beside HT. */
const plan: Plan = smallPlan((small) => {
  const HT = small.rails['HT']!
  const like = (name: string, role: RailPlan['role']): RailPlan => ({ ...HT, name, role })
  const limits = { SCREEN: limitsAt(100, 0.02), DRIVE: limitsAt(100, 0.02), TOP: limitsAt(200, 0.02) }
  return {
    ...small,
    rails: {
      ...small.rails,
      SCREEN: like('SCREEN', 'screen'),
      DRIVE: like('DRIVE', 'drive'),
      TOP: like('TOP', 'HT'),
    },
    steps: small.steps.map((step) => ({ ...step, limits: { ...step.limits, ...limits } })),
  }
})
const modulated: Plan = {
  ...plan,
  steps: plan.steps.map((step) => ({
    ...step,
    modulated: [{ tube: 'V1', rail: 'HT', by: 'TOP', own_A: 0.05, least: 0.5 }],
  })),
}
const watched: Plan = {
  ...plan,
  rails: { ...plan.rails, HT: { ...plan.rails['HT']!, class: 'watched', channels: [], volts_meter: 'HT V' } },
}
const up = (name: string, V = 250, A = 0.05) => standing(plan, name, V, A)

type By = 'V' | 'A'
/** Readings of a rail as they come, 0.1 s apart, the last of them now: what was found missing at the last. */
function found(order: readonly By[], of: Read): Draft['broken'] {
  const d = readOf({ plan, ...of })
  const name = of.rail ?? 'HT'
  const step = d.s.plan.steps[d.s.step]!
  for (const [at, by] of order.entries()) {
    d.s.t_us = now_us - (order.length - 1 - at) * 100_000
    d.broken = []
    judgeLost(d, step, d.s.plan.rails[name]!, d.s.rails[name]!, limitsNow(d.s, name)!, by)
  }
  return d.broken
}
const often = (by: By): readonly By[] => [by, by, by, by]
const codes = (by: By, of: Read): RuleCode[] => found(often(by), of).map(({ code }) => code as RuleCode)
const textOf = (by: By, of: Read): string => String(found(often(by), of)[0]?.text)

describe('heaters under HT', () => {
  const LT = (V: number, A: number, over: Partial<RailState> = {}): Read => ({
    ...{ rail: 'LT', V, A, over: { set_V: 12, ...over } },
    more: { rails: up('HT') },
  })
  const line_V = found(often('V'), LT(9, 4))[0]?.limit ?? 0

  it('are losing their supply below nine tenths of their volts', () => {
    expect(line_V).toBeCloseTo(10.8, 9)
    expect([codes('V', LT(10.7, 4)), codes('V', LT(line_V, 4))]).toEqual([['heater-lost'], []])
    expect(textOf('V', LT(9, 4))).toMatch(
      /^LT stands at 9 V and draws 4 A while HT is on, below 10\.8 V: the heaters/,
    )
    expect(textOf('V', LT(9, 4, { A: null }))).toMatch(/^LT stands at 9 V while HT is on, below 10\.8 V/)
  })

  it('are open below the current that is asked about, which a reading of volts says nothing of', () => {
    expect(found(often('A'), LT(12, 1.5))).toMatchObject([{ code: 'heater-lost', measured: 1.5, unit: 'A' }])
    expect([codes('V', LT(12, 1.5)), codes('A', LT(12, 1.7))]).toEqual([[], []])
    expect(textOf('A', LT(12, 1.5))).toMatch(
      /^LT stands at 12 V and draws 1\.5 A while HT is on, below 1\.6 A: a heater/,
    )
  })

  it('that are open are found though good readings of their volts come between', () => {
    expect(found(['A', 'V', 'A', 'V', 'A', 'V', 'A'], LT(12, 1.5))).toMatchObject([{ code: 'heater-lost' }])
  })

  it('have nothing to be lost for while HT is down', () => {
    expect(codes('V', { ...LT(9, 4), more: {} })).toEqual([])
  })
})

describe('the rail of a driver under HT', () => {
  const drive = (V: number, A: number): Read => ({
    rail: 'DRIVE',
    V,
    A,
    over: { set_V: 100 },
    more: { rails: up('HT') },
  })

  it('is lost below half of what it should stand at or draw', () => {
    expect([codes('V', drive(50, 0.02)), codes('V', drive(49.9, 0.02))]).toEqual([[], ['drive-lost']])
    expect([codes('A', drive(100, 0.01)), codes('A', drive(100, 0.0099))]).toEqual([[], ['drive-lost']])
  })
})

describe('plate volts and current while a screen is on', () => {
  const HT = (V: number, A: number, screen = true): Read => ({
    ...{ V, A, over: { set_V: 250 } },
    more: { rails: screen ? up('SCREEN', 100, 0.02) : {} },
  })

  it('are lost below half of the volts and a quarter of the current: the screen would carry it all', () => {
    expect([codes('V', HT(124, 0.05)), codes('V', HT(126, 0.05))]).toEqual([['plate-lost'], []])
    expect([codes('A', HT(250, 0.012)), codes('A', HT(250, 0.013))]).toEqual([['plate-lost'], []])
    expect(textOf('A', HT(250, 0.012))).toContain(
      'while the screen is on: the screen would carry the whole cathode current',
    )
  })

  it('are no matter of this while no screen is on', () => {
    expect([codes('V', HT(124, 0.05, false)), codes('A', HT(250, 0.012, false))]).toEqual([[], []])
    expect(
      codes('A', {
        ...HT(250, 0.012),
        more: { rails: standing(plan, 'SCREEN', 0, 0, { energised: false }) },
      }),
    ).toEqual([])
  })
})

describe('the plate current of a stage whose modulators are on', () => {
  const HT = (A: number, more: Read['more'] = {}): Read => ({
    ...{ plan: modulated, A },
    more: { rails: up('TOP', 200, 0.02), ...more },
  })

  it('is lost below the part that the plan says: nothing loads the transformer', () => {
    expect([codes('A', HT(0.0249)), codes('A', HT(0.0251))]).toEqual([['plate-lost'], []])
    expect(textOf('A', HT(0.02))).toContain('while TOP is on: nothing loads the modulation transformer')
  })

  it('is less of one that a person accepted as weak, and no more of one that draws more', () => {
    const accepted = (part: number, A: number) => codes('A', HT(A, { weak: { HT: part } }))
    expect([accepted(0.6, 0.0149), accepted(0.6, 0.0151)]).toEqual([['plate-lost'], []])
    expect([accepted(1.2, 0.0249), accepted(1.2, 0.0251)]).toEqual([['plate-lost'], []])
  })

  it('is that of a driver on its own rail too, whatever screen is on', () => {
    const driver: Plan = {
      ...modulated,
      steps: modulated.steps.map((step) => ({
        ...step,
        modulated: [{ tube: 'V1', rail: 'DRIVE', by: 'TOP', own_A: 0.02, least: 0.5 }],
      })),
    }
    const rails = { ...up('TOP', 200, 0.02), ...up('SCREEN', 100, 0.02) }
    const draws = (A: number): Read => ({ plan: driver, rail: 'DRIVE', V: 100, A, more: { rails } })
    const by = (A: number) => codes('A', draws(A)).filter((code) => code === 'plate-lost')
    expect([by(0.0099), by(0.0101)]).toEqual([['plate-lost'], []])
    const said = found(often('A'), draws(0.0099)).find(({ code }) => code === 'plate-lost')?.text
    expect(said).toContain('while TOP is on: nothing loads the modulation transformer')
  })

  it('is nothing to be lost by while its modulators are off', () => {
    expect(codes('A', HT(0.02, { rails: {} }))).toEqual([])
  })
})

describe('a knob that the plan counts on', () => {
  const knob = (V: number): Read => ({ plan: watched, V, over: { set_V: 250 } })

  it('has gone dead below half of what it stood at, by readings of its volts', () => {
    expect([codes('V', knob(125)), codes('V', knob(124.9))]).toEqual([[], ['watched-input']])
    expect(found(often('V'), knob(3))).toMatchObject([{ rail: 'HT', measured: 3, limit: 125, unit: 'V' }])
    expect(codes('A', knob(3))).toEqual([])
  })

  it('is one on a supply’s output no more than by its set-point', () => {
    expect(codes('V', { V: 3, over: { set_V: 250 } })).toEqual([])
  })
})
