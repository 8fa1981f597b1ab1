import { describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { quantile, sampleElements } from '../../src/limits/index.js'
import { createSolver, type Element } from '../../src/network/index.js'
import { astrayPlate, bandAmps, findTube } from '../../src/tubes/index.js'
import { demo } from '../helpers/small-set.js'

/* The band of a tube's curves is one and the same for `tube --at` and for the sets that limits are drawn from, to its amps. */

const { equipment } = demo('tern-rock/receive')

function drawn(type: string, plate_V: number, screen_V: number, grid_V: number) {
  const { found } = findTube(type)
  const [section] = found?.sections ?? []
  if (section?.model?.form !== 'screen' && section?.model?.form !== 'triode') throw new Error(type)
  const V1 = { type, written: type, sections: [{ plate: 'p', screen: 's', grid: 'g', cathode: 'k' }] }
  const set: Equipment = { ...equipment, tubes: { V1 } }
  const valve: Element =
    section.model.form === 'screen'
      ? {
          kind: 'screen tube',
          name: 'V1',
          plate: 'p',
          screen: 's',
          grid: 'g',
          cathode: 'k',
          model: section.model,
          emission: 1,
          gas: 0,
        }
      : {
          kind: 'triode',
          name: 'V1',
          plate: 'p',
          grid: 'g',
          cathode: 'k',
          model: section.model,
          emission: 1,
          gas: 0,
        }
  const supply = (name: string, V: number): Element => ({
    kind: 'supply',
    name,
    a: name,
    b: 'k',
    V,
    limit_A: 10,
    ohm: 0.1,
  })
  const elements = [valve, supply('p', plate_V), supply('s', screen_V), supply('g', grid_V)]
  const solver = createSolver({ ground: 'k', elements })
  const amps = (seed: number): number => {
    const own = sampleElements(set, [valve], chance(seed).fork('a set'))
    const solution = solver.solve(own)
    expect(solution.converged, solution.trouble ?? '').toBe(true)
    return solution.currents['V1']?.plate ?? NaN
  }
  const curve_A = solver.solve([valve]).currents['V1']?.plate ?? NaN
  return { A: Array.from({ length: 300 }, (_, n) => amps(n)), curve_A, band: section.band }
}

describe('near cut-off', () => {
  it.each([
    ['6146', 400, 190, -90],
    ['845', 1000, 0, -230],
    ['6080', 250, 0, -200],
  ])('a drawn %s may draw the amps of its band, and never less than nothing', (type, plate, screen, grid) => {
    const { A, curve_A, band } = drawn(type, plate, screen, grid)
    expect(curve_A).toBeLessThan(0.2 * band.plus_A)
    expect(Math.min(...A)).toBeGreaterThanOrEqual(0)
    // Half of them lie below their curves, where there is next to nothing left to lie below.
    expect(quantile(A, 0.95) / (curve_A + bandAmps(band, plate))).toBeGreaterThan(0.75)
    expect(quantile(A, 0.95) / (curve_A + bandAmps(band, plate))).toBeLessThan(1.5)
    expect(quantile(A, 0.3)).toBeLessThan(curve_A + 0.1 * band.plus_A)
  })

  it('in class A it is hardly wider for it than good tubes spread', () => {
    const { A, curve_A } = drawn('6V6GT', 250, 250, -12.5)
    expect(quantile(A, 0.95) / curve_A).toBeGreaterThan(1.3)
    expect(quantile(A, 0.95) / curve_A).toBeLessThan(1.6)
  })
})

describe('a plate current off its curves', () => {
  it('adds or keeps back its amps from the volts of its rows up, falls with V^1.5 below, and is never negative', () => {
    expect(astrayPlate({ A: 2e-3, from_V: 100 }, 0, 250).plate_A).toBe(2e-3)
    expect(astrayPlate({ A: 2e-3, from_V: 100 }, 0, 25).plate_A).toBeCloseTo(0.25e-3, 12)
    expect(astrayPlate({ A: 2e-3, from_V: 100 }, 0.01, -5).plate_A).toBe(0.01)
    expect(astrayPlate({ A: -2e-3, from_V: 100 }, 0.1, 250).plate_A).toBeCloseTo(0.098, 4)
    expect(astrayPlate({ A: -2e-3, from_V: 100 }, 1e-4, 250).plate_A).toBeLessThan(1e-5)
    expect(astrayPlate({ A: -2e-3, from_V: 100 }, 0, 250).plate_A).toBe(0)
    const band = { low: 1, high: 1, plus_A: 2e-3, plus_from_V: 100 }
    expect([bandAmps(band, 250), bandAmps(band, 25), bandAmps(band, 0)]).toEqual([2e-3, 0.25e-3, 0])
  })

  it('has the slopes that a solver goes by', () => {
    for (const A of [3e-3, -3e-3])
      for (const I of [1e-5, 2e-3, 0.05])
        for (const V of [20, 60, 150]) {
          const own = (more_A: number, more_V: number) =>
            astrayPlate({ A, from_V: 100 }, I + more_A, V + more_V).plate_A
          const at = astrayPlate({ A, from_V: 100 }, I, V)
          expect((own(1e-9, 0) - own(-1e-9, 0)) / 2e-9).toBeCloseTo(at.by_curve, 4)
          expect((own(0, 1e-3) - own(0, -1e-3)) / 2e-3).toBeCloseTo(at.by_plate_S, 8)
        }
  })
})

it('gas tubes hold what their sheets allow, and none strikes below what it holds', () => {
  const model = findTube('0A2').found!.sections[0]!.model
  if (model?.form !== 'regulator') throw new Error('0A2')
  const gap: Element = { kind: 'regulator', name: 'V9', a: 'p', b: 'k', model, lit: false }
  const sets = Array.from({ length: 300 }, (_, n) => {
    const [own] = sampleElements(equipment, [gap], chance(n).fork('a set'))
    if (own?.kind !== 'regulator') throw new Error('no gas tube')
    return own.model
  })
  const holds = sets.map(({ operating_V }) => operating_V)
  // 140 to 168 V on sheets, from memory.
  expect(quantile(holds, 0.05)).toBeGreaterThan(140)
  expect(quantile(holds, 0.05)).toBeLessThan(145)
  expect(quantile(holds, 0.95)).toBeGreaterThan(155)
  expect(quantile(holds, 0.95)).toBeLessThan(165)
  for (const { strike_V, operating_V, extinction_V } of sets) {
    expect(strike_V).toBeGreaterThanOrEqual(operating_V)
    expect(extinction_V).toBeLessThan(operating_V)
  }
})
