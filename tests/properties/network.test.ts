import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  createSolver,
  createTransient,
  type Element,
  type Network,
  type Solution,
  solve,
} from '../../src/network/index.js'
import { toNetwork } from '../../src/equipment/index.js'
import { loadEquipment } from '../../src/files/index.js'
import { C, net, R, receiver, supply } from '../helpers/networks.js'

/** Sum of all currents that leave each node into elements; 0 everywhere by Kirchhoff's first law. */
function leaving(network: Network, solution: Solution): Map<string, number> {
  const sums = new Map<string, number>()
  const out = (node: string, amps: number): void => void sums.set(node, (sums.get(node) ?? 0) + amps)
  for (const element of network.elements) {
    const { a = 0, plate = 0, screen = 0, grid = 0 } = solution.currents[element.name] ?? {}
    switch (element.kind) {
      case 'triode':
        out(element.plate, plate)
        out(element.grid, grid)
        out(element.cathode, -plate - grid)
        break
      case 'screen tube':
        out(element.plate, plate)
        out(element.screen, screen)
        out(element.grid, grid)
        out(element.cathode, -plate - screen - grid)
        break
      case 'diode tube':
        out(element.plate, a)
        out(element.cathode, -a)
        break
      default:
        out(element.a, a)
        out(element.b, -a)
    }
  }
  return sums
}

const ohms = fc.double({ min: 0, max: 7, noNaN: true }).map((decade) => Math.exp(decade * Math.LN10))
const nodeNames = ['0', 'a', 'b', 'c', 'd', 'e', 'f', 'g']

/** A tree from every node towards ground, so that nothing floats, and resistors across it. */
const resistors = fc
  .record({
    tree: fc.array(fc.tuple(fc.nat(), ohms), { minLength: 7, maxLength: 7 }),
    across: fc.array(fc.tuple(fc.nat(7), fc.nat(7), ohms), { maxLength: 12 }),
  })
  .map(({ tree, across }) => [
    ...tree.map(([to, ohm], i) => R(`T${i}`, nodeNames[i + 1] ?? '', nodeNames[to % (i + 1)] ?? '', ohm)),
    ...across.map(([a, b, ohm], i) => R(`R${i}`, nodeNames[a] ?? '', nodeNames[b] ?? '', ohm)),
  ])

describe('networks of resistors', () => {
  it('what flows into a node flows out of it', () => {
    fc.assert(
      fc.property(resistors, fc.double({ min: 0, max: 500, noNaN: true }), (parts, V) => {
        const network = net(supply('S', 'a', '0', V, 1e9, 1), ...parts)
        const s = solve(network)
        expect(s.converged).toBe(true)
        const largest = Math.abs(s.currents.S?.a ?? 0)
        for (const sum of leaving(network, s).values()) {
          expect(Math.abs(sum)).toBeLessThan(1e-9 + 1e-9 * largest)
        }
      }),
    )
  })
  it('two sources together give the sum of what each gives alone', () => {
    fc.assert(
      fc.property(resistors, fc.double({ min: 1, max: 500, noNaN: true }), (parts, V) => {
        const both = (one: number, other: number): Solution =>
          solve(net(supply('S1', 'b', '0', one, 1e9, 1), supply('S2', '0', 'e', other, 1e9, 1), ...parts))
        const [together, first, second] = [both(V, 100), both(V, 0), both(0, 100)]
        // Supplies do not sink: only where both give current alone and together are they linear.
        const linear = [together, first, second].every((s) =>
          ['S1', 'S2'].every((name) => (s.currents[name]?.a ?? 0) < -1e-8),
        )
        fc.pre(linear)
        for (const node of nodeNames) {
          const sum = (first.volts[node] ?? 0) + (second.volts[node] ?? 0)
          expect(Math.abs((together.volts[node] ?? 0) - sum)).toBeLessThan(1e-6 * (V + 100))
        }
      }),
      { numRuns: 60 },
    )
  })
})

const set = receiver(250)
const partNames = set.elements.map(({ name }) => name)

/** One fault as a change of one element. */
function broken(element: Element, how: 'open' | 'short' | 'weak' | 'strong'): Element {
  if (element.kind === 'triode' || element.kind === 'screen tube') {
    return {
      ...element,
      emission: { open: 0, short: 3, weak: 0.3, strong: 2 }[how],
      gas: how === 'short' ? 1e-3 : 0,
    }
  }
  if (element.kind === 'diode tube') return { ...element, emission: how === 'open' ? 0 : 1 }
  const ohm = { open: Infinity, short: 0, weak: 1e6, strong: 10 }[how]
  return { kind: 'resistor', name: element.name, a: element.a, b: element.b, ohm }
}

function isSound(s: Solution): void {
  expect(s.converged, s.trouble ?? '').toBe(true)
  expect(Object.values(s.volts).every((V) => Number.isFinite(V))).toBe(true)
  const amps = Object.values(s.currents).flatMap((currents) => Object.values(currents) as number[])
  expect(amps.every((I) => Number.isFinite(I))).toBe(true)
}

describe('a receiver with faults', () => {
  it('settles with every single part open, shorted or changed, at every HT step, and every node balances', () => {
    const solver = createSolver(set)
    const healthy = solver.solve()
    for (const element of set.elements) {
      for (const how of ['open', 'short', 'weak', 'strong'] as const) {
        const fault = broken(element, how)
        for (const HT_V of [30, 250]) {
          const change = fault.name === 'HT' ? [fault] : [supply('HT', 'feed', '0', HT_V, 0.25), fault]
          const s = solver.solve(change, healthy.volts)
          isSound(s)
          const network = net(
            ...set.elements.map((part) => change.find(({ name }) => name === part.name) ?? part),
          )
          for (const [node, sum] of leaving(network, s)) {
            if (node !== '0') expect(Math.abs(sum), `${node} with ${element.name} ${how}`).toBeLessThan(2e-8)
          }
        }
        solver.solve([element])
      }
    }
  })
  it('settles with any two electrodes or nodes shorted together', () => {
    const nodes = Object.keys(solve(set).volts)
    fc.assert(
      fc.property(fc.constantFrom(...nodes), fc.constantFrom(...nodes), (a, b) => {
        fc.pre(a !== b)
        isSound(solve(net(...set.elements, R('short', a, b, 0.1))))
      }),
      { numRuns: 200 },
    )
  })
  it('gives finite numbers and never throws with many faults at once', () => {
    const faults = fc.uniqueArray(
      fc.tuple(fc.constantFrom(...partNames), fc.constantFrom('open', 'short', 'weak', 'strong')),
      { maxLength: 6, selector: ([name]) => name },
    )
    fc.assert(
      fc.property(faults, fc.double({ min: 0, max: 400, noNaN: true }), (chosen, HT_V) => {
        const elements = set.elements.map((element) => {
          const fault = chosen.find(([name]) => name === element.name)
          return fault === undefined ? element : broken(element, fault[1])
        })
        isSound(
          solve(
            net(
              ...elements.map((part) =>
                part.kind === 'supply' && part.name === 'HT' ? { ...part, V: HT_V } : part,
              ),
            ),
          ),
        )
      }),
      { numRuns: 200 },
    )
  })
  it('goes on in time through a random series of faults with finite numbers', () => {
    const series = fc.array(
      fc.tuple(
        fc.constantFrom(...partNames),
        fc.constantFrom('open', 'short', 'weak', 'strong'),
        fc.double({ min: 1e-3, max: 2, noNaN: true }),
      ),
      { minLength: 1, maxLength: 4 },
    )
    fc.assert(
      fc.property(series, (steps) => {
        const transient = createTransient(set, solve(set).volts)
        for (const [name, how, dt_s] of steps) {
          const element = set.elements.find((part) => part.name === name)
          if (element === undefined) continue
          const s = transient.advance(dt_s, [broken(element, how)])
          isSound(s)
        }
      }),
      { numRuns: 20 },
    )
  })
})

describe('the demo set with faults', () => {
  const { value: equipment } = loadEquipment('profiles/tern-rock/equipment.yaml')
  it.each(['receive', 'transmit'])(
    'in %s, settles with every single part open, shorted or changed, from 30 to 400 V',
    (mode) => {
      expect(equipment).not.toBeNull()
      if (equipment === null) return
      const feeds = (V: number) => ({
        heaters: { V: 12.6, limit_A: 8, ohm: 0.05 },
        bias: { V: 60, limit_A: 0.1, ohm: 0.1 },
        HT: { V, limit_A: 0.5, ohm: 0.1 },
      })
      for (const HT_V of [30, 250, 400]) {
        const network = toNetwork(equipment, mode, feeds(HT_V))
        const solver = createSolver(network)
        const healthy = solver.solve()
        isSound(healthy)
        for (const element of network.elements) {
          for (const how of ['open', 'short', 'weak', 'strong'] as const) {
            isSound(solver.solve([broken(element, how)], healthy.volts))
          }
          solver.solve([element], healthy.volts)
        }
      }
    },
  )
})

describe('charge', () => {
  it('what leaves one capacitor through a resistor arrives in the other', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1e-8, max: 1e-4, noNaN: true }),
        fc.double({ min: 1e-8, max: 1e-4, noNaN: true }),
        // High enough that the milliohm every path has at least is nothing beside it.
        fc.double({ min: 1e4, max: 1e6, noNaN: true }),
        fc.double({ min: 10, max: 400, noNaN: true }),
        fc.array(fc.double({ min: 1e-4, max: 1, noNaN: true }), { minLength: 1, maxLength: 8 }),
        (F1, F2, ohm, V, advances) => {
          const transient = createTransient(
            net(C('C1', 'a', '0', F1), C('C2', 'b', '0', F2), R('R1', 'a', 'b', ohm)),
            { a: V, b: 0 },
          )
          const charge = V * F1
          for (const dt_s of advances) {
            const { volts } = transient.advance(dt_s)
            const now = (volts.a ?? NaN) * F1 + (volts.b ?? NaN) * F2
            expect(Math.abs(now - charge)).toBeLessThan(1e-4 * charge + 1e-6 * V * (F1 + F2))
          }
        },
      ),
      { numRuns: 60 },
    )
  })
  it('a supply in current limit delivers its limit times the time', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1e-3, max: 0.5, noNaN: true }),
        fc.double({ min: 1e-6, max: 1e-4, noNaN: true }),
        fc.array(fc.double({ min: 0.1, max: 1, noNaN: true }), { minLength: 1, maxLength: 5 }),
        (limit_A, F, parts) => {
          const transient = createTransient(
            net(supply('S', 'p', '0', 1_000, limit_A, 0.1), C('C1', 'p', '0', F)),
          )
          let time_s = 0
          for (const part of parts) {
            const dt_s = (part * 150 * F) / limit_A
            time_s += dt_s
            const { volts } = transient.advance(dt_s)
            const exact = (limit_A * time_s) / F
            expect(Math.abs((volts.p ?? NaN) - exact)).toBeLessThan(1e-3 * exact + 1e-3)
          }
        },
      ),
      { numRuns: 60 },
    )
  })
})
