import { describe, expect, it } from 'vitest'
import { createTransient, solve } from '../../src/network/index.js'
import { C, L, net, R, receiver, supply } from '../helpers/networks.js'

describe('in time', () => {
  it('a capacitor charges through a resistor as V·(1 − e^(−t/RC)), within 0.2 % of its end', () => {
    const transient = createTransient(
      net(supply('HT', 'p', '0', 250, 1, 0), R('R1', 'p', 'c', 100_000), C('C1', 'c', '0', 8e-6)),
    )
    for (let t = 1; t <= 20; t++) {
      const { volts } = transient.advance(0.2)
      expect(Math.abs((volts.c ?? NaN) - 250 * (1 - Math.exp((-0.2 * t) / 0.8)))).toBeLessThan(0.5)
    }
  })
  it('the same charge is reached in one long advance and in a hundred short ones', () => {
    const network = net(supply('HT', 'p', '0', 250), R('R1', 'p', 'c', 100_000), C('C1', 'c', '0', 8e-6))
    const long = createTransient(network).advance(1).volts.c ?? NaN
    const short = createTransient(network)
    for (let i = 0; i < 100; i++) short.advance(0.01)
    expect(Math.abs(long - (short.volts.c ?? NaN))).toBeLessThan(0.5)
  })
  it('a choke takes up current as V/R·(1 − e^(−tR/L))', () => {
    const transient = createTransient(
      net(supply('HT', 'p', '0', 10, 1, 0), L('L1', 'p', 'm', 10, 200), R('R1', 'm', '0', 300)),
    )
    for (let t = 1; t <= 10; t++) {
      const { currents } = transient.advance(0.01)
      const exact = (10 / 500) * (1 - Math.exp((-0.01 * t * 500) / 10))
      expect(Math.abs((currents.L1?.a ?? NaN) - exact)).toBeLessThan(6e-5)
    }
  })
  it('taken over half way, with its volts and currents, it goes on as if nothing had happened', () => {
    const network = net(
      supply('HT', 'p', '0', 250, 5, 50),
      L('L1', 'p', 'B', 10, 100),
      C('C1', 'B', '0', 16e-6, 0, 1),
      R('load', 'B', '0', 5_000),
    )
    const whole = createTransient(network)
    const { volts, currents } = whole.advance(0.02)
    const taken = createTransient(network, volts, currents)
    const [one, other] = [whole.advance(0.02), taken.advance(0.02)]
    expect(Math.abs((one.volts.B ?? NaN) - (other.volts.B ?? NaN))).toBeLessThan(0.5)
    expect(Math.abs((one.currents.L1?.a ?? NaN) - (other.currents.L1?.a ?? NaN))).toBeLessThan(1e-3)
  })
  it('a supply in current limit charges a reservoir at its limit: volts rise by I/C, then hold', () => {
    const transient = createTransient(
      net(supply('HT', 'p', '0', 200, 0.05), C('C1', 'p', '0', 50e-6, 0, 0.5)),
    )
    for (let t = 1; t <= 19; t++) {
      const s = transient.advance(0.01)
      expect(s.limiting).toEqual(['HT'])
      expect(Math.abs((s.volts.p ?? NaN) - 10 * t - 0.025)).toBeLessThan(0.05)
    }
    const full = transient.advance(0.5)
    expect(full.limiting).toEqual([])
    expect(Math.abs((full.volts.p ?? NaN) - 200)).toBeLessThan(0.15)
  })
  it('a reservoir discharges through its bleeder as V·e^(−t/RC) and the supply below it takes nothing', () => {
    const network = net(
      supply('HT', 'p', '0', 300),
      C('C1', 'p', '0', 16e-6, 0, 1),
      R('bleeder', 'p', '0', 100_000),
    )
    const transient = createTransient(network, solve(network).volts)
    for (let t = 1; t <= 8; t++) {
      const s = transient.advance(0.4, [supply('HT', 'p', '0', 0)])
      expect(Math.abs((s.volts.p ?? NaN) - 300 * Math.exp((-0.4 * t) / 1.6))).toBeLessThan(0.6)
      expect(Math.abs(s.currents.HT?.a ?? NaN)).toBeLessThan(1e-9)
    }
  })
  it('leakage holds a capacitor behind a feed resistor below the supply', () => {
    const transient = createTransient(
      net(supply('HT', 'p', '0', 450), R('feed', 'p', 'c', 100_000), C('C1', 'c', '0', 20e-6, 2e-6)),
    )
    expect(transient.advance(60).volts.c).toBeCloseTo(450 / 1.2, 1)
  })
  it('started from rest it stays at rest, and standing still costs no passes', () => {
    const network = receiver(250)
    const rest = solve(network)
    const transient = createTransient(network, rest.volts)
    transient.advance(0.05)
    const later = transient.advance(100)
    for (const [node, volts] of Object.entries(rest.volts)) {
      expect(Math.abs((later.volts[node] ?? NaN) - volts)).toBeLessThan(2e-3)
    }
    expect(later.iterations).toBeLessThan(10)
  })
  it('from dead, a whole receiver comes to the volts of its direct-current solution', () => {
    const transient = createTransient(receiver(250))
    const s = transient.advance(5)
    expect(s.converged).toBe(true)
    for (const [node, volts] of Object.entries(solve(receiver(250)).volts)) {
      expect(Math.abs((s.volts[node] ?? NaN) - volts)).toBeLessThan(0.02)
    }
  })
  it('a capacitor that shorts on the way pulls its supply into current limit', () => {
    const network = net(
      supply('HT', 'p', '0', 250, 0.1),
      R('R1', 'p', 'c', 100),
      C('C1', 'c', '0', 8e-6),
      R('bleeder', 'p', '0', 1e5),
    )
    const transient = createTransient(network, solve(network).volts)
    const s = transient.advance(0.1, [R('C1', 'c', '0', 1)])
    expect(s.limiting).toEqual(['HT'])
    expect(s.volts.c).toBeLessThan(0.2)
  })
  it('an advance by nothing, by less or by no number leaves everything as it was', () => {
    const transient = createTransient(
      net(supply('HT', 'p', '0', 100), R('R1', 'p', 'c', 1e5), C('C1', 'c', '0', 1e-6)),
    )
    transient.advance(0.05)
    const before = transient.volts.c ?? NaN
    for (const dt_s of [0, -1, NaN, Infinity]) {
      expect(Math.abs((transient.advance(dt_s).volts.c ?? NaN) - before)).toBeLessThan(0.05)
    }
  })
})
