import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { planPage } from '../../src/cli/plan-text.js'
import { type Equipment, toNetwork } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { createLimits, type GasStates } from '../../src/limits/index.js'
import { solve } from '../../src/network/index.js'
import { preparations } from '../../src/plan/preparations.js'
import type { Profile } from '../../src/profile/index.js'
import { brisk, demo, told } from '../faults/demo.js'

const { equipment, bench } = demo()
const desk = createLimits(equipment, bench)
const rails = (HT: number) => ({ bias: 60, HT })
const lit: GasStates = { V9: 'lit' }
const at = (HT: number, gas?: GasStates) => {
  const point = desk.at('receive', rails(HT), null, {}, 'hot', gas)
  const limits = point.limits['HT']
  if (limits === undefined) throw new Error('HT has no limits')
  return { limits, notes: point.gas, strikes: point.strikes }
}
const gasAt = (HT: number, gas: GasStates): string | undefined =>
  desk.gasAt('receive', rails(HT), 'hot', gas)['V9']

describe('a gas regulator remembers where its rail came from', () => {
  it('strikes on the way up, stays lit on the way down, goes out below extinction, and does not come back by itself', () => {
    expect(gasAt(180, {})).toBe('dark')
    expect(gasAt(250, {})).toBe('lit')
    expect(gasAt(220, lit)).toBe('lit')
    // 0A2: below some 144 V it cannot burn. A dark one gets about 0.78 of HT here.
    expect(gasAt(175, lit)).toBe('dark')
    expect(gasAt(180, { V9: 'dark' })).toBe('dark')
  })
  it('may be either inside its strike window, and below its least current on the way down', () => {
    expect(gasAt(210, {})).toBe('either')
    expect(gasAt(200, lit)).toBe('either')
    expect(gasAt(250, { V9: 'either' })).toBe('lit')
    expect(gasAt(175, { V9: 'either' })).toBe('dark')
  })
})

describe('limits on a rail that was lowered', () => {
  it('expect a tube that stays lit to draw its current, and say why', () => {
    const above = at(220, lit)
    expect(above.strikes).toEqual([])
    expect(above.notes).toEqual([
      expect.stringMatching(/^V9 comes here lit and stays so \(6\.\d+ mA through it, its least is 5 mA\)/),
    ])
    const reason = above.limits.because.find(({ limit }) => limit === 'expected')
    expect(reason?.text).toContain('V9 comes here lit and stays so')
  })
  it('hold the union of lit and dark where it may have gone out, and expect it lit', () => {
    const open = at(200, lit)
    const below = at(200)
    const dark = desk.operating?.at('receive', rails(200), 'hot', lit).dark_A?.['HT'] ?? []
    const burning = desk.operating?.at('receive', rails(200), 'hot', lit).samples_A['HT'] ?? []
    expect(dark).toHaveLength(burning.length)
    const mean = (A: readonly number[]) => A.reduce((sum, each) => sum + each, 0) / A.length
    expect(mean(burning) - mean(dark)).toBeGreaterThan(0.001)
    expect(open.limits.expected_A).toBeGreaterThanOrEqual(below.limits.expected_A)
    for (const A of [mean(burning), mean(dark)]) {
      expect(open.limits.lower_A).toBeLessThan(A)
      expect(open.limits.upper_A).toBeGreaterThan(A)
    }
    expect(open.notes.join()).toMatch(/was lit and may have gone out .*the band holds it lit or dark/)
  })
  it('are those of a tube that never struck once it is out', () => {
    const { limits, notes } = at(175, lit)
    expect(notes).toEqual([])
    for (const figure of ['expected_A', 'lower_A', 'upper_A', 'ask_A', 'trip_A'] as const)
      expect(Math.abs(limits[figure] - at(175).limits[figure])).toBeLessThan(1e-3)
  })
})

describe('a profile that lowers the rail and holds it there', () => {
  const lowered = (profile: Profile): Profile => ({
    ...brisk(profile),
    stages: [
      ...brisk(profile).stages,
      ...[220, 200, 170].flatMap((V): Profile['stages'] => [
        {
          do: 'ramp',
          name: `down to ${V}`,
          rail: 'HT',
          to_V: [V],
          slew_V_per_s: null,
          hold_s: null,
          settle_within_s: null,
          ceiling_A: null,
        },
        { do: 'hold', name: `standing at ${V}`, for_s: 15 },
      ]),
    ],
  })
  const set = demo(undefined, lowered)
  const holds = set.plan.steps.filter(({ stage }) => stage.startsWith('standing at'))
  it('says in its plan which steps hang on the way there', () => {
    expect(set.plan.gas?.map(({ step }) => step)).toEqual(holds.slice(0, 2).map(({ index }) => index))
    const page = planPage(set.plan).replaceAll(/\s+/g, ' ')
    expect(page).toContain(`Step ${holds[0]?.index ?? 0}: V9 comes here lit and stays so`)
    expect(page).toContain(`Step ${holds[1]?.index ?? 0}: V9 was lit and may have gone out`)
  })
  it('rehearses without a question, each hold inside its band', () => {
    const run = told(set, [])
    expect(run.ending.outcome).toBe('completed')
    expect(run.said('question')).toEqual([])
    const told_HT = run.said('judgement').filter((text) => text.startsWith('HT at '))
    for (const hold of holds) {
      const limits = hold.limits['HT']
      const said = told_HT.find((text) => text.startsWith(`HT at ${limits?.at_V ?? 0} V: `)) ?? ''
      const measured_A = Number(/: ([0-9.]+) mA, expected/.exec(said)?.[1]) / 1000
      expect(measured_A, said).toBeGreaterThan(limits?.lower_A ?? Infinity)
      expect(measured_A, said).toBeLessThan(limits?.upper_A ?? 0)
    }
  })
  it('says nothing of gas tubes where no rail was lowered', () => {
    expect(demo().plan.gas).toBeUndefined()
  })
})

describe("the link in a regulator's base", () => {
  const text = readFileSync('profiles/tern-rock/equipment.yaml', 'utf8')
  const linked = (tube: string): string =>
    text
      .replace(/V9: \{ type: 0A2,/, `V9: { type: 0D3, jumper: [receiver feed, receiver HT],${tube}`)
      .replace(
        'K1a: { kind: contact, between: [HT fused, receiver HT]',
        'K1a: { kind: contact, between: [HT fused, receiver feed]',
      )
  const set = (tube = '') => {
    const { value, problems } = fromText(linked(tube), 'equipment.yaml', 'equipment')
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    if (value === null) throw new Error('not sound')
    return value
  }
  const volts = (equipment: Equipment): number =>
    solve(toNetwork(equipment, 'receive', { HT: { V: 180, limit_A: 0.2, ohm: 0.1 } })).volts['receiver HT'] ??
    0

  it('joins what it joins, and opens it where the tube is out of its socket', () => {
    expect(volts(set())).toBeGreaterThan(100)
    expect(volts(set(' pulled: true,'))).toBeLessThan(1)
  })

  it('is told where the tube is pulled for bench supplies', () => {
    const equipment = set(' pulled: true,')
    const { HT } = equipment.rails
    if (HT === undefined) throw new Error('no HT')
    const pulling = {
      ...equipment,
      rails: { ...equipment.rails, HT: { ...HT, feeds: { ...HT.feeds, pull: ['V9'] } } },
    }
    const words = preparations(pulling, bench, createLimits(pulling, bench), 'HT', null)
    expect(words.join('; ')).toContain(
      'the link in its base goes with it, so that receiver feed and receiver HT are no longer joined',
    )
  })

  it('is refused of a tube that has none', () => {
    const { problems } = fromText(
      text.replace('type: 5R4GY', 'type: 5R4GY\n    jumper: [HT fused, receiver HT]'),
      'equipment.yaml',
      'equipment',
    )
    expect(problems.map(({ what }) => what).join()).toContain('is no gas regulator')
  })
})
