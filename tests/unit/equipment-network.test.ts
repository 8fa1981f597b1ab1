import { describe, expect, it } from 'vitest'
import { toNetwork, type Equipment } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { solve, type Element } from '../../src/network/index.js'
import { changed, soundSet } from '../helpers/files.js'

const feeds = {
  heaters: { V: 12.6, limit_A: 5, ohm: 0.01 },
  bias: { V: 60, limit_A: 0.1, ohm: 0.1 },
  HT: { V: 250, limit_A: 0.2, ohm: 0.1 },
}

function set(...changes: readonly { from: string; to: string }[]): Equipment {
  const { value, problems } = fromText(changes.reduce(changed, soundSet), 'set.yaml', 'equipment')
  expect(problems).toEqual([])
  if (value === null) throw new Error('not sound')
  return value
}
const named = (elements: readonly Element[], name: string) =>
  elements.find((element) => element.name === name)

describe("a set's network", () => {
  it('closes contacts by mode', () => {
    expect(named(toNetwork(set(), 'receive', feeds).elements, 'K1')).toMatchObject({
      kind: 'contact',
      closed: true,
    })
    expect(named(toNetwork(set(), 'transmit', feeds).elements, 'K1')).toMatchObject({ closed: false })
    expect(solve(toNetwork(set(), 'transmit', feeds)).volts['v1 plate']).toBeCloseTo(0, 3)
  })

  it('puts the bias below chassis where the positive side of its rail is the chassis', () => {
    const { volts, currents } = solve(toNetwork(set(), 'receive', feeds))
    // 60 V through 100 Ω into a preload of 10 kΩ: 60 · 10000 / 10100.1 V, of which the supply and leads take a trace.
    expect(volts['grid return']).toBeCloseTo(-59.405, 2)
    expect(Math.abs(currents['bias']?.a ?? 0)).toBeCloseTo(0.00594, 4)
  })

  it('leaves out pulled tubes, rails that are not fed, and windings whose both ends are lifted', () => {
    const equipment = set({
      from: '  R90: {',
      to: '  T1: { kind: winding, between: [a1, a2], value: 20 mH, ohm: 0.1 Ω }\n  R90: {',
    })
    const { elements } = toNetwork(equipment, 'receive', { HT: feeds.HT })
    for (const name of ['V9', 'T1', 'heaters', 'bias']) expect(named(elements, name), name).toBeUndefined()
    expect(named(elements, 'HT')).toMatchObject({ kind: 'supply', a: 'reservoir', b: 'chassis' })
  })

  it('puts fuse, diode and series resistor of the lead between supply and set, in this order', () => {
    const equipment = set({
      from: 'negative_at: terminal B, pull: [V9]',
      to: 'negative_at: terminal B, pull: [V9], fuse: 500 mA, blocking_diode: true, series: 100R, bench_bleeder: 22k',
    })
    const { elements } = toNetwork(equipment, 'receive', feeds)
    expect(named(elements, 'HT')).toMatchObject({ a: 'HT:supply', b: 'chassis' })
    expect(named(elements, 'HT fuse')).toMatchObject({ a: 'HT:supply', b: 'HT:fused' })
    expect(named(elements, 'HT diode')).toMatchObject({ kind: 'junction', a: 'HT:fused', b: 'HT:blocked' })
    expect(named(elements, 'HT series')).toMatchObject({ a: 'HT:blocked', b: 'reservoir', ohm: 100 })
    expect(named(elements, 'HT bench bleeder')).toMatchObject({ a: 'HT:supply', b: 'chassis', ohm: 22000 })
  })

  it('wires heater chains from the positive side, element by element', () => {
    const { elements } = toNetwork(
      set({ from: 'series: [V1, R90] }', to: 'series: [V1, R90], leads: 0.1 Ω }' }),
      'receive',
      feeds,
    )
    expect(named(elements, 'chain A leads')).toMatchObject({ a: 'heater line', b: 'chain A:0', ohm: 0.1 })
    expect(named(elements, 'V1 heater')).toMatchObject({
      kind: 'heater',
      a: 'chain A:0',
      b: 'chain A:1',
      hot_V: 6.3,
      hot_A: 0.45,
      warmth: 1,
    })
    expect(named(elements, 'R90')).toMatchObject({ a: 'chain A:1', b: 'chassis', ohm: 14 })
  })

  it('splits a potentiometer at its wiper, by mode, and never to nothing', () => {
    const pot =
      '  P1: { kind: potentiometer, ends: [grid return, chassis], wiper: tap, value: 10k, position: 25 %, positions: { transmit: 100 % } }\n  R8: { kind: resistor, between: [tap, chassis], value: 1M }\n  R90: {'
    const equipment = set({ from: '  R90: {', to: pot })
    const receive = toNetwork(equipment, 'receive', feeds).elements
    expect(named(receive, 'P1.a')).toMatchObject({ a: 'grid return', b: 'tap', ohm: 2500 })
    expect(named(receive, 'P1.b')).toMatchObject({ a: 'tap', b: 'chassis', ohm: 7500 })
    expect(named(toNetwork(equipment, 'transmit', feeds).elements, 'P1.b')).toMatchObject({ ohm: 1 })
  })

  it('takes every departure from nominal where it is asked for', () => {
    const { elements } = toNetwork(set(), 'receive', feeds, {
      resistor: (name, ohm) => (name === 'R4' ? ohm * 2 : ohm),
      emission: (tube) => (tube === 'V1' ? 0.5 : 1),
      gas: () => 0.1,
      heater: (_, amps) => amps * 1.1,
      warmth: () => 0.25,
      leak: (name) => (name === 'C1' ? 1e-6 : 0),
      meters: [{ name: 'meter', a: 'v1 cathode', b: 'chassis', ohm: 10e6 }],
    })
    expect(named(elements, 'R4')).toMatchObject({ ohm: 780 })
    expect(named(elements, 'V1')).toMatchObject({ kind: 'screen tube', emission: 0.5, gas: 0.1 })
    const heater = named(elements, 'V1 heater')
    expect(heater?.kind === 'heater' && heater.hot_A).toBeCloseTo(0.495)
    expect(heater).toMatchObject({ warmth: 0.25 })
    expect(named(elements, 'C1')).toMatchObject({ leak_S: 1e-6 })
    expect(named(elements, 'meter')).toMatchObject({ kind: 'meter', ohm: 10e6 })
  })

  it('gives every element a name of its own', () => {
    const names = toNetwork(set(), 'receive', feeds).elements.map(({ name }) => name)
    expect(new Set(names).size).toBe(names.length)
  })
})
