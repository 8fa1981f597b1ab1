import { describe, expect, it } from 'vitest'
import { toNetwork } from '../../src/equipment/index.js'
import { loadAll } from '../../src/files/index.js'
import { stresses } from '../../src/limits/ratings.js'
import { createSolver } from '../../src/network/index.js'

const demo = loadAll('profiles/tern-rock/transmit.yaml').value
if (demo === null) throw new Error('the demo does not load')
const { equipment } = demo

describe('every capacitor of the demo, shorted by itself', () => {
  const network = toNetwork(
    equipment,
    'receive',
    { HT: { V: 250, limit_A: 9, ohm: 0.2 }, bias: { V: 60, limit_A: 9, ohm: 0.2 } },
    { heaters: false },
  )
  const capacitors = network.elements.filter((element) => element.kind === 'capacitor')
  const solver = createSolver(network)
  it('harms the same parts, in the same words, whether all stresses are told or only those above a rating', () => {
    expect(capacitors.length).toBeGreaterThan(10)
    let harmed = 0
    for (const capacitor of capacitors) {
      const shorted = solver.solve([{ ...capacitor, leak_S: 2 }])
      solver.solve([capacitor])
      const all = stresses(equipment, network.elements, shorted)
      for (const above of [0.1, 1.0005]) {
        const told = stresses(equipment, network.elements, shorted, above)
        expect(told).toEqual(all.filter(({ ratio }) => ratio > above))
        if (above > 1) harmed += told.length
      }
    }
    expect(harmed).toBeGreaterThan(0)
  })
  it('leaves the solver as a fresh one would be, floating nodes too', () => {
    for (const capacitor of capacitors) {
      const shorted = { ...capacitor, leak_S: 2 }
      const used = solver.solve([shorted])
      const fresh = createSolver({
        ...network,
        elements: network.elements.map((each) => (each.name === capacitor.name ? shorted : each)),
      }).solve()
      // The function that reads one node is another one in each.
      expect({ ...used, volt: null }).toEqual({ ...fresh, volt: null })
      solver.solve([capacitor])
    }
  })
})
