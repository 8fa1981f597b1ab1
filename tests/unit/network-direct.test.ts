import { describe, expect, it } from 'vitest'
import { createSolver, type Element, regulatorsToChange, solve } from '../../src/network/index.js'
import { net, pentode, R, receiver, regulator, supply, triode, C } from '../helpers/networks.js'

describe('supplies', () => {
  it('a divider gives its known volts and currents', () => {
    const s = solve(
      net(supply('HT', 'p', '0', 100, 1, 0), R('R1', 'p', 'm', 3_000), R('R2', 'm', '0', 1_000)),
    )
    expect(s.converged).toBe(true)
    expect(s.trouble).toBeNull()
    expect(s.volts.m).toBeCloseTo(25, 3)
    expect(s.currents.R1?.a).toBeCloseTo(0.025, 6)
    expect(s.currents.HT?.a).toBeCloseTo(-0.025, 6)
  })
  it('a supply in current limit gives its limit and is named', () => {
    const s = solve(net(supply('HT', 'p', '0', 100, 0.01), R('R1', 'p', '0', 1_000)))
    expect(s.volts.p).toBeCloseTo(10, 6)
    expect(s.limiting).toEqual(['HT'])
  })
  it('a supply pushed above its volts lets its output float up and takes nothing', () => {
    const s = solve(
      net(
        supply('low', 'p', '0', 50),
        supply('high', 'q', '0', 100, 1, 0),
        R('R1', 'p', 'q', 1_000),
        R('R2', 'p', '0', 9_000),
      ),
    )
    expect(s.volts.p).toBeCloseTo(90, 3)
    expect(s.currents.low?.a).toBeCloseTo(0, 8)
    expect(s.limiting).toEqual([])
  })
  it('a supply with its positive on the chassis makes a negative rail', () => {
    const s = solve(net(supply('bias', '0', 'n', 60, 1, 0), R('R1', 'n', 'g', 1e5), R('R2', 'g', '0', 2e5)))
    expect(s.volts.n).toBeCloseTo(-60, 3)
    expect(s.volts.g).toBeCloseTo(-40, 3)
  })
  it('a supply shorted at its terminals gives its limit into the short', () => {
    const s = solve(net(supply('HT', 'p', '0', 250, 0.1), R('short', 'p', '0', 0)))
    expect(s.converged).toBe(true)
    expect(s.currents.HT?.a).toBeCloseTo(-0.1, 9)
    expect(s.volts.p).toBeCloseTo(0.0001, 9)
  })
  it('the choice of ground shifts every voltage and changes no current', () => {
    const elements = [
      supply('HT', 'p', 'c', 250),
      R('R1', 'p', 'a', 47_000),
      R('Rk', 'k', 'c', 1_000),
      R('Rg', 'g', 'c', 1e6),
      triode('6SN7GT', 'V1', 'a', 'g', 'k'),
    ]
    const one = solve({ ground: 'c', elements })
    const other = solve({ ground: 'p', elements })
    expect(other.currents.V1?.plate).toBeCloseTo(one.currents.V1?.plate ?? NaN, 7)
    expect((other.volts.a ?? 0) - (other.volts.c ?? 0)).toBeCloseTo(one.volts.a ?? NaN, 3)
  })
})

describe('floating nodes', () => {
  it('a grid left open is named, and the rest is solved', () => {
    const s = solve(
      net(
        supply('HT', 'B', '0', 200),
        R('Rp', 'B', 'p', 10_000),
        R('Rk', 'k', '0', 470),
        C('Cc', 'B', 'g', 1e-8),
        triode('6J5', 'V1', 'p', 'g', 'k'),
      ),
    )
    expect(s.converged).toBe(true)
    expect(s.trouble).toContain('nothing joins g to 0')
    expect(s.volts.B).toBeCloseTo(200, 2)
  })
  it('a rail joined to the chassis nowhere keeps its own volts between its nodes', () => {
    const s = solve(net(supply('heaters', 'h1', 'h2', 6.3, 5), R('load', 'h1', 'h2', 2.1)))
    expect((s.volts.h1 ?? 0) - (s.volts.h2 ?? 0)).toBeCloseTo(6.3 - 3 * 0.05, 1)
    expect(s.trouble).toContain('h1')
  })
  it('a capacitor without leakage joins nothing at direct current, one with leakage does', () => {
    const dry = solve(
      net(supply('HT', 'p', '0', 100), C('C1', 'p', 'x', 1e-6, 0), C('C2', 'x', '0', 1e-6, 0)),
    )
    expect(dry.trouble).toContain('x')
    const leaky = solve(
      net(supply('HT', 'p', '0', 100), C('C1', 'p', 'x', 1e-6, 1e-6), C('C2', 'x', '0', 1e-6, 3e-6)),
    )
    expect(leaky.trouble).toBeNull()
    expect(leaky.volts.x).toBeCloseTo(25, 2)
  })
})

describe('gas regulators', () => {
  const network = (HT_V: number, lit: boolean) =>
    net(
      supply('HT', 'B', '0', HT_V),
      R('R1', 'B', 'r', 5_000),
      regulator('0D3', 'V1', 'r', '0', lit),
      R('load', 'r', '0', 47_000),
    )
  it('a dark one with its striking volts across it asks to be lit, and then holds its operating volts', () => {
    const dark = network(250, false)
    const changed = regulatorsToChange(dark.elements, solve(dark))
    expect(changed.map(({ name, lit }) => [name, lit])).toEqual([['V1', true]])
    const lit = network(250, true)
    const s = solve(lit)
    expect(regulatorsToChange(lit.elements, s)).toEqual([])
    expect(s.volts.r).toBeGreaterThan(145)
    expect(s.volts.r).toBeLessThan(155)
  })
  it('between extinction and striking it stays what it was', () => {
    for (const lit of [true, false]) {
      const between = network(170, lit)
      expect(regulatorsToChange(between.elements, solve(between))).toEqual([])
    }
  })
  it('a lit one that has lost its volts asks to go dark', () => {
    const low = network(60, true)
    expect(regulatorsToChange(low.elements, solve(low)).map(({ lit }) => lit)).toEqual([false])
  })
})

describe('changed elements', () => {
  it('a warm start reaches the same volts as a cold one in fewer passes', () => {
    const solver = createSolver(receiver(250))
    const at250 = solver.solve()
    const change = [supply('HT', 'feed', '0', 255, 0.25)]
    const warm = solver.solve(change, at250.volts)
    const cold = solver.solve()
    expect(warm.iterations).toBeLessThan(cold.iterations)
    for (const [node, volts] of Object.entries(cold.volts)) {
      expect(Math.abs((warm.volts[node] ?? NaN) - volts)).toBeLessThan(1e-4)
    }
  })
  it('a change stays until it is changed back', () => {
    const solver = createSolver(
      net(supply('HT', 'p', '0', 100), R('R1', 'p', 'm', 1_000), R('R2', 'm', '0', 1_000)),
    )
    expect(solver.solve([R('R2', 'm', '0', 3_000)]).volts.m).toBeCloseTo(75, 2)
    expect(solver.solve().volts.m).toBeCloseTo(75, 2)
    expect(solver.solve([R('R2', 'm', '0', 1_000)]).volts.m).toBeCloseTo(50, 2)
  })
  it('a two-terminal part may become another kind: a capacitor that shorts', () => {
    const solver = createSolver(
      net(supply('HT', 'p', '0', 100, 0.1), R('R1', 'p', 'm', 1_000), C('C1', 'm', '0', 8e-6, 1e-7)),
    )
    expect(solver.solve().volts.m).toBeGreaterThan(99)
    expect(solver.solve([R('C1', 'm', '0', 1)]).volts.m).toBeLessThan(0.2)
  })
  it('a change that does not fit the topology is left out and said', () => {
    const solver = createSolver(net(supply('HT', 'p', '0', 100), R('R1', 'p', '0', 1_000)))
    expect(solver.solve([R('R9', 'p', '0', 10)]).trouble).toContain('R9 is not in this network')
    expect(solver.solve([R('R1', 'p', 'q', 10)]).trouble).toContain('joined to other nodes')
    expect(solver.solve().currents.R1?.a).toBeCloseTo(0.1, 4)
  })
  it('two elements of one name are said', () => {
    expect(
      solve(net(supply('HT', 'p', '0', 10), R('R1', 'p', '0', 1e3), R('R1', 'p', '0', 1e3))).trouble,
    ).toContain('two elements are named R1')
  })
})

describe('whole ramps', () => {
  it('every step from nothing to full HT settles, forwards and backwards, and plate current rises with it', () => {
    const solver = createSolver(receiver(0))
    let last = solver.solve()
    let plate_A = -1
    const up: number[] = []
    for (let HT_V = 0; HT_V <= 250; HT_V += 5) {
      last = solver.solve([supply('HT', 'feed', '0', HT_V, 0.25)], last.volts)
      expect(last.converged).toBe(true)
      expect(last.currents.V6?.plate ?? NaN).toBeGreaterThanOrEqual(plate_A)
      plate_A = last.currents.V6?.plate ?? NaN
      up.push(last.volts.B ?? NaN)
    }
    for (let HT_V = 250; HT_V >= 0; HT_V -= 5) {
      last = solver.solve([supply('HT', 'feed', '0', HT_V, 0.25)], last.volts)
      expect(last.volts.B).toBeCloseTo(up.pop() ?? NaN, 4)
    }
  })
  it('an open cathode lets the cathode rise until hardly any current is left', () => {
    const s = solve(
      net(
        supply('HT', 'B', '0', 250),
        R('Rp', 'B', 'p', 3_000),
        R('Rs', 'B', 's', 100),
        R('Rg', 'g', '0', 470_000),
        R('Rk', 'k', '0', Infinity),
        pentode('6V6GT', 'V1', 'p', 's', 'g', 'k'),
      ),
    )
    expect(s.converged).toBe(true)
    expect(s.volts.k).toBeGreaterThan(20)
    expect(s.currents.V1?.plate).toBeLessThan(1e-8)
  })
  it('values that are no numbers are borne and said: nothing is thrown, every voltage is finite, the solution does not count', () => {
    const odd: Element[] = [
      supply('HT', 'B', '0', 250, 0.1),
      R('R1', 'B', 'a', NaN),
      R('R2', 'B', 'a', 1_000),
      R('R3', 'a', '0', -5),
      C('C1', 'a', '0', NaN, NaN, NaN),
    ]
    const s = solve(net(...odd))
    expect(Object.values(s.volts).every((volts) => Number.isFinite(volts))).toBe(true)
    expect(s.converged).toBe(false)
    expect(s.trouble).toContain('R1 has a value that is negative or no number')
    const supplyless = solve(net(supply('HT', 'B', '0', NaN), R('R1', 'B', '0', 1_000)))
    expect(supplyless.converged).toBe(false)
    expect(Number.isFinite(supplyless.volts.B)).toBe(true)
  })
})
