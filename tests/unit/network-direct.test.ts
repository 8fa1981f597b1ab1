import { describe, expect, it } from 'vitest'
import { createSolver, type Element, type Network, regulatorsToChange, solve } from '../../src/network/index.js'

const R = (name: string, a: string, b: string, ohm: number): Element => ({ kind: 'resistor', name, a, b, ohm })
const supply = (name: string, a: string, b: string, V: number, limit_A = 1, ohm = 0): Element => ({
  kind: 'supply',
  name,
  a,
  b,
  V,
  limit_A,
  ohm,
})
const net = (...elements: Element[]): Network => ({ ground: '0', elements })

describe('direct current', () => {
  it('a divider gives its known volts and currents', () => {
    const s = solve(net(supply('HT', 'p', '0', 100), R('R1', 'p', 'm', 3000), R('R2', 'm', '0', 1000)))
    expect(s.converged).toBe(true)
    expect(s.trouble).toBeNull()
    expect(s.volts.m).toBeCloseTo(25, 3)
    expect(s.currents.R1?.a).toBeCloseTo(0.025, 6)
    expect(s.currents.HT?.a).toBeCloseTo(-0.025, 6)
  })
  it('a supply in current limit gives its limit and is named', () => {
    const s = solve(net(supply('HT', 'p', '0', 100, 0.01), R('R1', 'p', '0', 1000)))
    expect(s.volts.p).toBeCloseTo(10, 6)
    expect(s.limiting).toEqual(['HT'])
  })
  it('a supply pushed above its volts lets its output float up and takes nothing', () => {
    const s = solve(net(supply('low', 'p', '0', 50), supply('high', 'q', '0', 100), R('R1', 'p', 'q', 1000), R('R2', 'p', '0', 9000)))
    expect(s.volts.p).toBeCloseTo(90, 3)
    expect(s.currents.low?.a).toBeCloseTo(0, 8)
  })
  it('a supply with its positive on the chassis makes a negative rail', () => {
    const s = solve(net(supply('bias', '0', 'n', 60), R('R1', 'n', 'g', 1e5), R('R2', 'g', '0', 2e5)))
    expect(s.volts.n).toBeCloseTo(-60, 3)
    expect(s.volts.g).toBeCloseTo(-40, 3)
  })
})
