import { describe, expect, it } from 'vitest'
import { changedElement, createBed, type Fault, faulted, faultsOf, railAmps } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { benchRails } from '../../src/limits/index.js'
import { type Element, type Network, solve } from '../../src/network/index.js'
import { C, net, pentode, R, supply } from '../helpers/networks.js'
import { ngspice, stateIn, stateProblems } from '../helpers/ngspice.js'

/*
 * Outside reference: ngspice (open-source circuit simulator, here as WebAssembly). What a fault makes of a set, its signature,
 * must agree within 0.5 %: the current of its rail and the volts of every node (or 5 mV, where there is next to nothing).
 */
const all = loadAll('profiles/small-receiver/receive-network.yaml').value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench } = all
const bed = createBed(equipment, 'receive', benchRails(equipment, bench), [])
const point = { mode: 'receive', volts: { HT: 250 }, hot: true }

/** The same network written down whole, for a program that knows nothing of small changes. */
function written(fault: Fault): Network {
  const changed = new Map(faulted(bed, fault).map((element) => [element.name, element]))
  const elements = bed.network.elements.map((element) => {
    const now = changed.get(element.name) ?? element
    return now.kind === 'supply' ? { ...now, V: 250, limit_A: 1e3 } : now
  })
  return { ...bed.network, elements }
}

describe('signatures of faulted networks agree with ngspice', () => {
  const faults = faultsOf(equipment).filter(({ changes }) => changes.length > 0)
  it('has faults enough to say something', () => {
    expect(faults.length).toBeGreaterThan(60)
  })
  it.each(faults.filter((_, at) => at % 2 === 0))('$fault', async (fault) => {
    const { solution } = bed.solve(point, faulted(bed, fault), new Set())
    expect(solution.converged, solution.trouble ?? '').toBe(true)
    const network = written(fault)
    const state = stateIn(solution)
    const reference = await ngspice(network, state, '.op', solution.volts)
    expect(reference.points, reference.error).toBe(1)
    expect(stateProblems(network, state, reference)).toEqual([])
    const apart = Object.entries(reference.volts).flatMap(([node, [theirs = NaN]]) => {
      const ours = solution.volts[node] ?? NaN
      return Math.abs(ours - theirs) <= Math.max(5e-3, 5e-3 * Math.abs(theirs))
        ? []
        : [`${node}: ${ours} V against ${theirs} V`]
    })
    expect(apart).toEqual([])
    const amps = railAmps(benchRails(equipment, { ...bench, supplies: {} }), point, solution)['HT'] ?? 0
    // Through the leads as this fault leaves them.
    const leads = network.elements.find(({ name }) => name === 'HT')
    const ohm = leads?.kind === 'supply' ? leads.ohm : NaN
    const theirs = (250 - (reference.volts['HT line']?.[0] ?? NaN)) / ohm
    // A thousandth of a volt of the lead's drop is 3 mA: where it is lost in rounding the nodes have told already.
    if (theirs > 0.01) expect(Math.abs(amps - theirs)).toBeLessThanOrEqual(5e-3 * theirs + 1e-4)
  })
})

/* Worked cases of published tables (standards, section 6): a coupling capacitor that leaks lifts the grid that it feeds. */
describe('a leaky coupling capacitor', () => {
  const coupled = (ohm: number, ...more: readonly Element[]) => {
    const leaks = changedElement(C('C1', 'B', 'g', 1e-8), { element: 'C1', is: 'leaks', ohm })
    if (leaks === null) throw new Error('a capacitor can leak')
    return solve(net(supply('HT', 'B', '0', 250), leaks, R('Rg', 'g', '0', 470e3), ...more))
  }
  it.each([
    [100e6, 1.17],
    [20e6, 5.74],
  ])('of %d ohm shifts the grid by %d V (T6.01)', (ohm, volts) => {
    expect(coupled(ohm).volts['g']).toBeCloseTo(volts, 2)
  })
  it('raises the plate current by shift times transconductance (T6.04, with the 4.1 mS of a 6V6GT)', () => {
    const stage = [
      supply('bias', '0', 'k', 12.5),
      { ...pentode('6V6GT', 'V1', 'B', 'B', 'g', 'up'), name: 'V1' },
      // Cathode 12.5 V up, so that the grid stands at -12.5 V without a leak.
      supply('lift', 'up', '0', 12.5, 1, 1e-3),
      R('sink', 'up', '0', 100),
    ]
    const whole = coupled(1e13, ...stage).currents['V1']?.plate ?? 0
    const shifted = coupled(100e6, ...stage).currents['V1']?.plate ?? 0
    expect((shifted - whole) / (1.17 * 4.1e-3)).toBeGreaterThan(0.85)
    expect((shifted - whole) / (1.17 * 4.1e-3)).toBeLessThan(1.2)
  })
  it('makes 24.39 kΩ of a bleeder of 25 kΩ beside a leak of 1 MΩ, 10.25 mA at 250 V (T6.06)', () => {
    const leaks = changedElement(C('C1', 'B', '0', 8e-6), { element: 'C1', is: 'leaks', ohm: 1e6 })
    if (leaks === null) throw new Error('a capacitor can leak')
    const { currents } = solve(net(supply('HT', 'B', '0', 250, 1, 1e-3), leaks, R('R1', 'B', '0', 25e3)))
    expect(-1000 * (currents['HT']?.a ?? 0)).toBeCloseTo(10.25, 2)
  })
})
