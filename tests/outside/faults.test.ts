import { describe, expect, it } from 'vitest'
import { createBed, type Fault, faulted, faultsOf, railAmps } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { benchRails } from '../../src/limits/index.js'
import type { Network } from '../../src/network/index.js'
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
    const theirs = (250 - (reference.volts['HT line']?.[0] ?? NaN)) / 0.3
    // A thousandth of a volt of the lead's drop is 3 mA: where it is lost in rounding the nodes have told already.
    if (theirs > 0.01) expect(Math.abs(amps - theirs)).toBeLessThanOrEqual(5e-3 * theirs + 1e-4)
  })
})
