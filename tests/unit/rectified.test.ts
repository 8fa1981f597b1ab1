import { describe, expect, it } from 'vitest'
import { emissionAt, findTube, rectified, rectified_V } from '../../src/tubes/index.js'

/** The same source followed in time over one half wave at a reservoir that does not move: the mean of what flows. */
function followed(peak_V: number, ohm: number, V: number): number {
  const n = 20_000
  let sum = 0
  for (let i = 0; i < n; i++) sum += Math.max(0, peak_V * Math.sin((Math.PI * (i + 0.5)) / n) - V) / ohm
  return sum / n
}

describe('a rectifier into a reservoir', () => {
  it.each([
    [488, 100, 400],
    [488, 350, 250],
    [311, 20, 300],
    [311, 50, 0],
  ])('of %d V peak behind %d Ω at %d V gives what the wave followed in time gives', (peak_V, ohm, V) => {
    const { A } = rectified({ peak_V, ohm, valve: null, emission: 1 }, V)
    expect(Math.abs(A / followed(peak_V, ohm, V) - 1)).toBeLessThan(1e-3)
  })
  it('falls as its slope says, and nothing flows from a reservoir above its peak', () => {
    const source = { peak_V: 400, ohm: 200, valve: null, emission: 1 }
    const [at, above] = [rectified(source, 300), rectified(source, 300.1)]
    expect((above.A - at.A) / 0.1 / at.slope_S).toBeCloseTo(1, 2)
    expect(rectified(source, 401)).toEqual({ A: 0, slope_S: 0 })
    expect(rectified({ ...source, peak_V: 0 }, 0)).toEqual({ A: 0, slope_S: 0 })
  })
  it('and its volts at a load are where the two meet', () => {
    const source = { peak_V: 488, ohm: 120, valve: null, emission: 1 }
    const V = rectified_V(source, 0.1)
    expect(rectified(source, V).A).toBeCloseTo(0.1, 6)
    expect(rectified_V(source, 0)).toBeCloseTo(488, 3)
  })
  it('a valve takes its drop at the peak, and gives nothing cold', () => {
    const model = findTube('5R4GY').found?.sections[0]?.model
    if (model?.form !== 'diode') throw new Error('5R4GY')
    const source = { peak_V: 488, ohm: 120, valve: model, emission: 1 }
    expect(rectified_V(source, 0.1)).toBeLessThan(rectified_V({ ...source, valve: null }, 0.1) - 30)
    expect(rectified({ ...source, emission: 0 }, 100).A).toBe(0)
  })
})

it('a starved cathode gives all at rated volts, nearly all at nine tenths, little at half', () => {
  expect(emissionAt(1)).toBe(1)
  expect(emissionAt(0.9)).toBeGreaterThan(0.9)
  expect(emissionAt(0.5)).toBeLessThan(0.3)
  expect(emissionAt(0)).toBe(0)
  // A cathode long in store has less in reserve and falls sooner.
  expect(emissionAt(0.8, 3)).toBeLessThan(emissionAt(0.8))
  for (let part = 0.1; part < 1; part += 0.1)
    expect(emissionAt(part + 0.1)).toBeGreaterThanOrEqual(emissionAt(part))
})
