import { describe, expect, it } from 'vitest'
import {
  aerialFigures,
  dbmOfVolts,
  depthOfEnvelope,
  depthOfPeak,
  depthOfRise,
  type Figure,
  levelFigures,
  loadFigures,
  matchFigures,
  modulationFigures,
  noiseFigures,
  type ReadAs,
  reflectionOfPowers,
  reflectionOfReturnLoss,
  reflectionOfSwr,
  stageFigures,
  voltsOfDbm,
} from '../../src/rf/index.js'

/* Published figures of the proof at radio frequency, each with its source beside it. The numbers are those of the check cases, 5.01 to 5.25. */

function of(figures: readonly Figure[], key: string): number | null {
  const found = figures.find((figure) => figure.key === key)
  if (found === undefined) throw new Error(`no ${key}`)
  return found.value
}
/** To the digits that were printed. */
function printed(value: number | null, figure: number): void {
  expect(value).not.toBeNull()
  expect(Math.abs((value ?? NaN) - figure)).toBeLessThanOrEqual(Math.abs(figure) * 6e-4)
}

describe('a mismatched line', () => {
  // A published VSWR table (1.5: ρ 0.2, 13.979 dB, 0.1773 dB, 4 %); the other rows derived by the same formulas.
  it.each([
    [1.1, 0.04762, 26.44, 0.009859, 0.002268],
    [1.2, 0.09091, 20.83, 0.03604, 0.008264],
    [1.5, 0.2, 13.98, 0.1773, 0.04],
    [2, 0.3333, 9.542, 0.5115, 0.1111],
    [3, 0.5, 6.021, 1.249, 0.25],
    [5, 0.6667, 3.522, 2.553, 0.4444],
    [10, 0.8182, 1.743, 4.807, 0.6694],
  ])('5.01 to 5.07: at an SWR of %d', (swr, reflection, returnLoss_dB, mismatch_dB, reflected) => {
    const figures = matchFigures(reflectionOfSwr(swr), null)
    printed(of(figures, 'reflection'), reflection)
    printed(of(figures, 'return_loss_dB'), returnLoss_dB)
    printed(of(figures, 'mismatch_loss_dB'), mismatch_dB)
    printed(of(figures, 'reflected_share'), reflected)
    printed(of(figures, 'swr'), swr)
  })
  it('5.08: at its two ends has no bound where there is none', () => {
    const matched = matchFigures(reflectionOfSwr(1), 100)
    expect(of(matched, 'reflection')).toBe(0)
    expect(of(matched, 'swr')).toBe(1)
    expect(of(matched, 'return_loss_dB')).toBeNull()
    expect(of(matched, 'mismatch_loss_dB')).toBe(0)
    expect(of(matched, 'delivered_W')).toBe(100)
    const open = matchFigures(reflectionOfPowers(10, 10), 10)
    expect(of(open, 'reflection')).toBe(1)
    expect(of(open, 'swr')).toBeNull()
    expect(of(open, 'return_loss_dB')).toBe(0)
    expect(of(open, 'mismatch_loss_dB')).toBeNull()
  })
  it('5.09, 5.10: from powers and from return loss', () => {
    printed(of(matchFigures(reflectionOfPowers(100, 4), 100), 'swr'), 1.5)
    // Published return-loss table.
    for (const [loss_dB, swr] of [
      [1, 17.391],
      [10, 1.925],
      [14, 1.499],
      [20, 1.222],
      [30, 1.065],
    ] as const)
      printed(of(matchFigures(reflectionOfReturnLoss(loss_dB), null), 'swr'), swr)
  })
})

describe('power in 50 Ω', () => {
  // Derived: V²rms/50 = Vpk²/100 = Vpp²/400.
  it.each([
    [10, 'rms', 2],
    [100, 'peak', 100],
    [200, 'peak to peak', 100],
    [70.71, 'rms', 100],
  ] as const)('5.11: %d V %s', (volts, as: ReadAs, watts) => {
    printed(of(loadFigures(volts, as, 50), 'power_W'), watts)
  })
})

describe('amplitude modulation', () => {
  it('5.12: depth from the envelope', () => {
    expect(depthOfEnvelope(150, 50)).toBe(0.5)
  })
  // Total: +50 % at full depth, each sideband 6 dB down (a maker's primer); the general form derived. PEP: Pc(1+m)².
  it.each([
    [0.3, 104.5, 169],
    [0.5, 112.5, 225],
    [1, 150, 400],
  ])('5.13 to 5.15: of depth %d on 100 W', (depth, total, peak) => {
    const figures = modulationFigures(depth, '', 100)
    printed(of(figures, 'total_W'), total)
    printed(of(figures, 'peak_envelope_W'), peak)
    printed(depthOfPeak(100, peak), depth)
  })
  it('5.16: from the rise of the aerial current', () => {
    printed(1 + (of(modulationFigures(1, '', null), 'current_rise') ?? 0), 1.2247)
    printed(depthOfRise(0.1), 0.6481)
  })
})

describe('levels in 50 Ω', () => {
  it.each([
    [0, 0.22361],
    [-73, 50.059e-6],
    [-93, 5.0059e-6],
    [-107, 0.99881e-6],
  ])('5.20: %d dBm', (dBm, volts) => {
    printed(voltsOfDbm(dBm, 50), volts)
  })
  it.each([
    [0.2e-6, -120.97],
    [1e-6, -106.99],
    [3e-6, -97.45],
    [10e-6, -86.99],
    [50e-6, -73.01],
  ])('5.21, 5.22: %d V', (volts, dBm) => {
    printed(dbmOfVolts(volts, 50), dBm)
    // dBµV = dBm + 106.99 (published table).
    printed(of(levelFigures(volts, 50, false), 'level_dBuV'), dBm + 106.99)
  })
  it('5.23: S units by IARU Region 1, R.1', () => {
    for (const [dBm, s, µV, digit] of [
      [-73, 9, 50.1, 0.05],
      [-79, 8, 25.1, 0.05],
      [-97, 5, 3.16, 0.005],
      [-121, 1, 0.2, 0.005],
    ] as const) {
      const figures = levelFigures(voltsOfDbm(dBm, 50), 50, false)
      printed(of(figures, 's_units'), s)
      // Microvolts to the digits that are printed.
      expect(Math.abs(1e6 * (of(figures, 'terminal_V') ?? NaN) - µV)).toBeLessThanOrEqual(digit)
    }
    const strong = levelFigures(voltsOfDbm(-53, 50), 50, false)
    printed(of(strong, 's_units'), 20)
    // Printed as 501 µV, to three digits.
    expect(of(strong, 'terminal_V')).toBeCloseTo(501e-6, 6)
    printed(of(levelFigures(5.006e-6, 50, true), 's_units'), 9)
  })
  it('5.24: EMF is twice the PD of a matched load', () => {
    expect(of(levelFigures(1e-6, 50, false), 'emf_V')).toBe(2e-6)
  })
  it('5.25: 10 dB (S+N)/N: 0.100 V of noise, 0.3162 V modulated', () => {
    printed(of(noiseFigures(0.3162, 0.1), 'signal_plus_noise_to_noise_dB'), 10)
  })
})

describe('wire elements', () => {
  // 21.2 MHz: common practice, no source. The others: wavelength/4 and the handbooks' 0.95; 234/f feet within a rounding of it.
  it.each([
    [21.2, 3.54, 3.36, 3.364, 2e-3],
    [3.65, 20.534, 19.507, 19.541, 6e-4],
    [7.1, 10.556, 10.028, 10.046, 6e-4],
    [14.2, 5.278, 5.0141, 5.0228, 6e-4],
  ])('5.17 to 5.19: a quarter wave for %d MHz', (MHz, free, cut, rule, within) => {
    const figures = aerialFigures(MHz * 1e6)
    expect(Math.abs((of(figures, 'quarter_wave_m') ?? 0) / free - 1)).toBeLessThan(within)
    expect(Math.abs((of(figures, 'quarter_element_m') ?? 0) / cut - 1)).toBeLessThan(within)
    expect(Math.abs(((234 / MHz) * 0.3048) / rule - 1)).toBeLessThan(6e-4)
    expect(Math.abs((of(figures, 'quarter_element_m') ?? 0) / rule - 1)).toBeLessThan(2e-3)
  })
})

it('a stage loses what goes in and does not come out', () => {
  const figures = stageFigures(600, 0.1, 40)
  expect(of(figures, 'plate_input_W')).toBeCloseTo(60, 9)
  expect(of(figures, 'dissipation_W')).toBeCloseTo(20, 9)
  expect(of(figures, 'efficiency')).toBeCloseTo(2 / 3, 9)
})
