import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { loadAll } from '../../src/files/index.js'
import { heaterPoint } from '../../src/limits/index.js'
import { type Element, solve } from '../../src/network/index.js'
import { coldRatio } from '../../src/tubes/index.js'

const demo = loadAll('profiles/tern-rock/receive.yaml').value
if (demo === null) throw new Error('the demo does not load')
const { equipment } = demo

const lamp = fc.record({
  volts: fc.constantFrom(1.4, 2.5, 6.3, 12.6, 25),
  amps: fc.double({ min: 0.05, max: 5, noNaN: true }),
})
const chain = fc.array(
  fc.array(fc.oneof(lamp, fc.double({ min: 1, max: 300, noNaN: true })), { minLength: 1, maxLength: 3 }),
  {
    minLength: 1,
    maxLength: 4,
  },
)

describe('heater chains', () => {
  it('of any shape and any fault draw what the nodal solver gives, within a millionth', () => {
    fc.assert(
      fc.property(
        fc.array(chain, { minLength: 1, maxLength: 4 }),
        fc.double({ min: 0.2, max: 30, noNaN: true }),
        fc.constantFrom(0.001, 0.02, 0.3),
        fc.nat(20),
        (chains, volts, lead_ohm, broken) => {
          const parts: Record<string, (typeof equipment.parts)[string]> = {}
          const elements: Element[] = [
            { kind: 'supply', name: 'S', a: 's', b: '0', V: volts, limit_A: 1e5, ohm: 1e-3 },
            { kind: 'resistor', name: 'lead', a: 's', b: 'bus', ohm: lead_ohm },
          ]
          let count = 0
          const named = chains.map((groups, c) =>
            groups.map((group, g) =>
              group.map((each) => {
                const name = `X${count}`
                const [a, b] = [
                  g === 0 ? 'bus' : `${c}.${g}`,
                  g === groups.length - 1 ? '0' : `${c}.${g + 1}`,
                ]
                const gone = count++ === broken
                if (typeof each === 'number') {
                  parts[name] = { kind: 'heater resistor', ohm: each, tolerance: 0.1, rated_W: 10 }
                  elements.push({ kind: 'resistor', name, a, b, ohm: gone ? Infinity : each })
                } else {
                  parts[name] = { kind: 'lamp', ...each }
                  const cold_ratio = coldRatio('direct').typical
                  if (!gone)
                    elements.push({
                      kind: 'heater',
                      name,
                      a,
                      b,
                      hot_V: each.volts,
                      hot_A: each.amps,
                      warmth: 1,
                      cold_ratio,
                    })
                }
                return name
              }),
            ),
          )
          const set = {
            ...equipment,
            tubes: {},
            parts,
            heater_chains: Object.fromEntries(
              named.map((series, c) => [`${c}`, { rail: 'heaters', series, lead_ohm: 0 }]),
            ),
          }
          const ours = heaterPoint(set, 'heaters', volts, lead_ohm + 1e-3, (part) =>
            part === `X${broken}` ? 'open' : 1,
          )
          const nodal = solve({ ground: '0', elements })
          expect(nodal.converged).toBe(true)
          const theirs = -(nodal.currents['S']?.a ?? NaN)
          expect(Math.abs(ours.amps - theirs)).toBeLessThan(1e-6 * theirs + 1e-8)
        },
      ),
      { numRuns: 200 },
    )
  })
})
