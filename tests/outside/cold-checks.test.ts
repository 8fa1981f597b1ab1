import { resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Part } from '../../src/equipment/index.js'
import { loadEquipment } from '../../src/files/index.js'
import { hotCheck, hotCheck_A, seriesLamp } from '../../src/plan/index.js'
import {
  gridShift_V,
  judgeReading,
  leak_A,
  leakFor_ohm,
  makeWorksheet,
  riseOf_A,
} from '../../src/worksheet/index.js'

/* Published figures of the cold checks, each with its source beside it. The numbers are those of the check cases, 6.01 to 6.08. */

const demo = loadEquipment(resolve(import.meta.dirname, '../../profiles/tern-rock/equipment.yaml')).value
if (demo === null) throw new Error('the demo is sound')

function printed(value: number | null | undefined, figure: number): void {
  expect(Math.abs((value ?? NaN) / figure - 1)).toBeLessThanOrEqual(1e-3)
}

describe('a coupling capacitor that leaks', () => {
  // ΔVg = B+·Rg/(Rleak + Rg); above 0 V the output tube is driven hard on (a constructors' forum, second-hand).
  it.each([
    [100e6, 1.17],
    [20e6, 5.74],
  ])('6.01: 250 V before 470 kΩ, a leak of %d Ω', (leak, shift) => {
    printed(gridShift_V(250, 470e3, leak), shift)
  })
  it('6.02: a shift of no more than 0.1 V needs 1174.5 MΩ', () => {
    printed(leakFor_ohm(250, 470e3, 0.1), 1174.5e6)
  })
  it.each([
    [470e3, 0.47],
    [1e6, 1],
  ])('6.03: 1 µA into a grid resistor of %d Ω', (grid, shift) => {
    // 1 µA flows where leak and grid resistor together make 250 MΩ of 250 V.
    printed(gridShift_V(250, grid, 250e6 - grid), shift)
  })
  it('6.04: a shift of 1.17 V at 6 mS is 7.0 mA more', () => {
    printed(riseOf_A(1.17, 0.006), 7.02e-3)
  })
  it('the sheet of the demo stands on the same arithmetic', () => {
    const check = makeWorksheet(demo).checks.find(({ item }) => item === 'C17 leak')
    expect(check?.low).toBe(leakFor_ohm(400, 1.1 * 470e3, 0.5))
    expect(check?.because).toContain('draws 3 mA more')
    if (check === undefined) throw new Error('C17 leak')
    // 400 V·517 kΩ/(40 MΩ + 517 kΩ): the leak that was read, not the one that the limit is for.
    expect(judgeReading(check, '40 MΩ')).toMatchObject({
      verdict: 'out of range',
      text: expect.stringContaining('40 MΩ shifts it by 5.1 V') as string,
    })
  })
})

describe('an insulation test', () => {
  it.each([
    [250, 1e6, 250e-6],
    [500, 100e6, 5e-6],
  ])('6.05: %d V over %d Ω', (test, leak, amps) => {
    printed(leak_A(test, leak), amps)
  })
  it('asks for 1 MΩ per 1000 V of working voltage, 1 MΩ at least (an old lower limit, second-hand)', () => {
    const { checks } = makeWorksheet(demo)
    expect(checks.find(({ item }) => item === 'HT insulation')?.low).toBe(1e6)
    const HT = demo.rails['HT']
    if (HT === undefined) throw new Error('HT')
    const high = makeWorksheet({ ...demo, rails: { ...demo.rails, HT: { ...HT, working_V: 2500 } } })
    expect(high.checks.find(({ item }) => item === 'HT insulation')?.low).toBe(2.5e6)
  })
  it('reads a leak by a meter in series: 5 µA through 10 MΩ show 50 V of 500 V', () => {
    const check = makeWorksheet(demo).checks.find(({ item }) => item === 'mains insulation')
    if (check === undefined) throw new Error('mains insulation')
    // 50 V across the meter leave 450 V across the leak: 90 MΩ, and both together are the case's 100 MΩ.
    expect(judgeReading(check, '50 V at 10 MΩ')).toMatchObject({ value: 90e6, verdict: 'in range' })
    expect(leak_A(500, 90e6 + 10e6)).toBeCloseTo(5e-6, 12)
  })
})

it('6.06: an HT line of a 25 kΩ bleeder beside a leak of 1 MΩ reads 24.39 kΩ, and draws 10.25 mA at 250 V', () => {
  const across = (ohm: number): Part => ({
    ...{
      kind: 'resistor',
      between: ['reservoir', 'chassis'],
      ohm,
      tolerance: 0.05,
      rated_W: 5,
      make: 'wirewound',
    },
  })
  const parts = { R1: across(25e3), R2: across(1e6) }
  const { checks } = makeWorksheet({ ...demo, parts, tubes: {}, heater_chains: {} })
  const usual = checks.find(({ item }) => item === 'HT forward')?.usual
  printed(usual, 24.39e3)
  printed(250 / (usual ?? NaN), 10.25e-3)
})

describe('before and after the plug is in', () => {
  it('6.07: a hot check of 1.5 kΩ beside 0.15 µF: 0.75 V stand for 0.5 mA at a mains frequency (published, a service manual)', () => {
    printed(hotCheck_A(hotCheck.most_V, 0), 0.5e-3)
    for (const Hz of [50, 60])
      expect(Math.abs(hotCheck_A(hotCheck.most_V, Hz) / 0.5e-3 - 1)).toBeLessThan(5e-3)
  })
  it('6.08: a lamp of 60 W for 120 V in series lets 0.5 A into a short: 240 Ω hot, some 24 Ω cold (published, second-hand)', () => {
    expect(seriesLamp(60, 120)).toEqual({ A: 0.5, hot_ohm: 240, cold_ohm: 24 })
  })
})
