import { describe, expect, it } from 'vitest'
import {
  createTransient,
  createSolver,
  type Element,
  type Network,
  regulatorsToChange,
  type Solution,
} from '../../src/network/index.js'
import { toNetwork } from '../../src/equipment/index.js'
import { loadEquipment } from '../../src/files/index.js'
import { C, L, net, pentode, R, receiver, rectifier, regulator, supply, triode } from '../helpers/networks.js'
import { ngspice, stateIn, stateProblems } from '../helpers/ngspice.js'

/*
 * Outside reference: ngspice (open-source circuit simulator, here as WebAssembly), reltol=1e-6. Our solver must give
 * every node's volts within 0.1 % or 1 mV, the greater (architecture.md, performance targets).
 */
const heater = (name: string, a: string, b: string, hot_V: number, hot_A: number, warmth = 1): Element => ({
  kind: 'heater',
  name,
  a,
  b,
  hot_V,
  hot_A,
  warmth,
})
const meter = (name: string, a: string, b: string, ohm: number): Element => ({
  kind: 'meter',
  name,
  a,
  b,
  ohm,
})
const contact = (name: string, a: string, b: string, closed: boolean): Element => ({
  kind: 'contact',
  name,
  a,
  b,
  closed,
  ohm: 0.02,
})
const junction = (name: string, a: string, b: string): Element => ({ kind: 'junction', name, a, b })

/** Solves, lighting and putting out gas regulators until the solution agrees with them. */
function atRest(network: Network): { readonly network: Network; readonly solution: Solution } {
  const solver = createSolver(network)
  let elements = network.elements
  let solution = solver.solve()
  for (let round = 0; round < 5; round++) {
    const changed = regulatorsToChange(elements, solution)
    if (changed.length === 0) break
    elements = elements.map((element) => changed.find(({ name }) => name === element.name) ?? element)
    solution = solver.solve(changed, solution.volts)
  }
  return { network: { ...network, elements }, solution }
}

async function agrees(raw: Network): Promise<Solution> {
  const { network, solution } = atRest(raw)
  expect(solution.converged, solution.trouble ?? '').toBe(true)
  const state = stateIn(solution)
  const reference = await ngspice(network, state, '.op')
  expect(reference.points, reference.error).toBe(1)
  expect(stateProblems(network, state, reference)).toEqual([])
  const apart = Object.entries(reference.volts).flatMap(([node, [theirs = NaN]]) => {
    const ours = solution.volts[node] ?? NaN
    return Math.abs(ours - theirs) <= Math.max(1e-3, 1e-3 * Math.abs(theirs))
      ? []
      : [`${node}: ${ours} V against ${theirs} V`]
  })
  expect(apart).toEqual([])
  return solution
}

const cathodeBiased = (type: string, plate_ohm: number, cathode_ohm: number, HT_V: number): Network =>
  net(
    supply('HT', 'B', '0', HT_V),
    R('Rp', 'B', 'p', plate_ohm),
    R('Rk', 'k', '0', cathode_ohm),
    R('Rg', 'g', '0', 1e6),
    triode(type, 'V1', 'p', 'g', 'k'),
  )
const withScreenDropper = (
  type: string,
  plate_ohm: number,
  screen_ohm: number,
  cathode_ohm: number,
): Network =>
  net(
    supply('HT', 'B', '0', 250),
    R('Rp', 'B', 'p', plate_ohm),
    R('Rs', 'B', 's', screen_ohm),
    R('Rk', 'k', '0', cathode_ohm),
    R('Rg', 'g', '0', 470_000),
    pentode(type, 'V1', 'p', 's', 'g', 'k'),
  )

const networks: Readonly<Record<string, Network>> = {
  'a divider with a 10 MΩ meter': net(
    supply('HT', 'p', '0', 300),
    R('R1', 'p', 'm', 1e6),
    R('R2', 'm', '0', 1e6),
    meter('M', 'm', '0', 1e7),
  ),
  'a bridge out of balance with a 20 kΩ/V meter across it': net(
    supply('HT', 'p', '0', 90),
    R('R1', 'p', 'l', 10_000),
    R('R2', 'l', '0', 12_000),
    R('R3', 'p', 'r', 47_000),
    R('R4', 'r', '0', 33_000),
    meter('M', 'l', 'r', 200_000),
  ),
  'a choke-input filter with bleeder and leaking electrolytics': net(
    supply('HT', 'p', '0', 350),
    L('CH1', 'p', 'a', 10, 120),
    C('C1', 'a', '0', 8e-6, 5e-6),
    L('CH2', 'a', 'b', 10, 220),
    C('C2', 'b', '0', 16e-6, 20e-6),
    R('bleeder', 'b', '0', 25_000),
  ),
  'a supply in current limit': net(
    supply('HT', 'p', '0', 250, 0.02),
    R('R1', 'p', 'm', 1_000),
    R('R2', 'm', '0', 2_200),
  ),
  'a supply pushed above its volts by another': net(
    supply('low', 'a', '0', 100),
    supply('high', 'b', '0', 250),
    R('R1', 'b', 'a', 10_000),
    R('R2', 'a', '0', 47_000),
  ),
  'a negative bias network on its own supply': net(
    supply('bias', '0', 'n', 105, 0.05),
    R('R1', 'n', 'w', 22_000),
    R('R2', 'w', '0', 47_000),
    R('R3', 'w', 'g', 100_000),
    meter('M', '0', 'g', 1e7),
  ),
  'HT negative lifted from the chassis by a bias resistor': net(
    supply('HT', 'B', 'minus', 270),
    R('back bias', 'minus', '0', 220),
    R('Rg', 'g', 'minus', 470_000),
    R('Rp', 'B', 'p', 3_000),
    R('load', 'B', '0', 10_000),
    triode('6J5', 'V1', 'p', 'g', '0'),
  ),
  'a 12AX7 with cathode bias': cathodeBiased('12AX7', 100_000, 1_500, 250),
  'a 6SN7GT with cathode bias': cathodeBiased('6SN7GT', 47_000, 1_000, 300),
  'a 6J5 at a tenth of its volts': cathodeBiased('6J5', 10_000, 500, 25),
  'a triode whose grid is driven positive through a resistor': net(
    supply('HT', 'B', '0', 150),
    supply('drive', 'd', '0', 12),
    R('Rp', 'B', 'p', 22_000),
    R('Rg', 'd', 'g', 10_000),
    triode('6SN7GT', 'V1', 'p', 'g', '0'),
  ),
  'a gassy triode with a high grid leak': net(
    supply('HT', 'B', '0', 200),
    R('Rp', 'B', 'p', 10_000),
    R('Rg', 'g', '0', 1e6),
    R('Rk', 'k', '0', 470),
    triode('6J5', 'V1', 'p', 'g', 'k', 0.8, 1e-4),
  ),
  'a 6SJ7 with screen dropper': withScreenDropper('6SJ7', 100_000, 470_000, 1_000),
  'a 6SK7 with screen dropper': withScreenDropper('6SK7', 2_200, 68_000, 220),
  'a 6AU6 starved below its knee': withScreenDropper('6AU6', 470_000, 220_000, 100),
  'a 6V6GT output stage, screen at HT': net(
    supply('HT', 'B', '0', 250),
    L('T1', 'B', 'p', 8, 280),
    R('Rs', 'B', 's', 100),
    R('Rk', 'k', '0', 240),
    R('Rg', 'g', '0', 470_000),
    pentode('6V6GT', 'V1', 'p', 's', 'g', 'k'),
  ),
  'a 6L6 triode-connected': net(
    supply('HT', 'B', '0', 250),
    L('T1', 'B', 'p', 8, 280),
    R('Rk', 'k', '0', 500),
    R('Rg', 'g', '0', 470_000),
    pentode('6L6', 'V1', 'p', 'p', 'g', 'k'),
  ),
  'two 6V6GT in push-pull on fixed bias, one weak': net(
    supply('HT', 'B', '0', 285),
    supply('bias', '0', 'n', 19, 0.05),
    L('Ta', 'B', 'pa', 5, 110),
    L('Tb', 'B', 'pb', 5, 130),
    R('Rga', 'n', 'ga', 100_000),
    R('Rgb', 'n', 'gb', 100_000),
    R('Rs', 'B', 's', 47),
    pentode('6V6GT', 'V1', 'pa', 's', 'ga', '0', 1.1),
    pentode('6V6GT', 'V2', 'pb', 's', 'gb', '0', 0.6),
  ),
  'a silicon diode in the HT lead': net(
    supply('HT', 'p', '0', 200),
    junction('D1', 'p', 'q'),
    R('R1', 'q', '0', 5_000),
  ),
  'silicon diodes that keep two supplies apart': net(
    supply('low', 'a', '0', 100),
    supply('high', 'b', '0', 110),
    junction('D1', 'a', 'out'),
    junction('D2', 'b', 'out'),
    R('load', 'out', '0', 2_200),
  ),
  'a vacuum rectifier as a resistance in the HT lead': net(
    supply('HT', 'p', '0', 300),
    rectifier('5Y3GT', 'V1', 'p', 'k'),
    R('R1', 'k', '0', 4_700),
    C('C1', 'k', '0', 8e-6, 1e-6),
  ),
  'a mercury rectifier in the HT lead': net(
    supply('HT', 'p', '0', 300),
    rectifier('866A', 'V1', 'p', 'k'),
    R('R1', 'k', '0', 4_700),
  ),
  'a regulator with its series resistor, lit': net(
    supply('HT', 'B', '0', 250),
    R('R1', 'B', 'r', 5_000),
    regulator('0D3', 'V1', 'r', '0', true),
    R('load', 'r', '0', 15_000),
  ),
  'a regulator that does not strike': net(
    supply('HT', 'B', '0', 140),
    R('R1', 'B', 'r', 5_000),
    regulator('0D3', 'V1', 'r', '0', false),
    R('load', 'r', '0', 47_000),
  ),
  'two regulators in series feeding an oscillator': net(
    supply('HT', 'B', '0', 340),
    R('R1', 'B', 'r', 3_300),
    regulator('0D3', 'V1', 'r', 'm', true),
    regulator('0C3', 'V2', 'm', '0', true),
    R('Rp', 'm', 'p', 10_000),
    R('Rg', 'g', '0', 47_000),
    R('Rk', 'k', '0', 470),
    triode('6J5', 'V3', 'p', 'g', 'k'),
  ),
  'a heater chain with a dropper and a lamp': net(
    supply('heaters', 'h', '0', 12.6, 5, 0.05),
    R('lead', 'h', 'a', 0.1),
    heater('V1', 'a', 'b', 6.3, 0.3),
    heater('V2', 'b', '0', 6.3, 0.3),
    heater('V3', 'a', 'c', 6.3, 0.45),
    R('shunt', 'c', '0', 42),
    heater('V4', 'c', '0', 6.3, 0.3),
    heater('lamp', 'b', '0', 6.3, 0.15),
  ),
  'heaters half warm, supply in current limit': net(
    supply('heaters', 'h', '0', 6.3, 0.8, 0.05),
    heater('V1', 'h', '0', 6.3, 0.3, 0.3),
    heater('V2', 'h', '0', 6.3, 0.45, 0.5),
    heater('V3', 'h', '0', 6.3, 0.9, 0),
  ),
  'contacts that change over between two loads': net(
    supply('HT', 'B', '0', 250),
    contact('K1', 'B', 'rx', true),
    contact('K2', 'B', 'tx', false),
    R('rx load', 'rx', '0', 10_000),
    R('tx load', 'tx', '0', 3_300),
  ),
  'a potentiometer feeding a screen': net(
    supply('HT', 'B', '0', 300),
    R('upper', 'B', 's', 33_000),
    R('lower', 's', '0', 17_000),
    R('Rp', 'B', 'p', 15_000),
    R('Rk', 'k', '0', 330),
    R('Rg', 'g', '0', 470_000),
    pentode('6SJ7', 'V1', 'p', 's', 'g', 'k'),
  ),
  'a direct-coupled pair, cathode follower after a triode': net(
    supply('HT', 'B', '0', 300),
    R('R1', 'B', 'p', 100_000),
    R('R2', 'k', '0', 1_500),
    R('R3', 'g', '0', 1e6),
    triode('12AX7', 'V1', 'p', 'g', 'k'),
    R('R4', 'k2', '0', 100_000),
    triode('12AX7', 'V2', 'B', 'p', 'k2'),
  ),
  'an eight-tube receiver of about forty nodes': receiver(250),
  'the same receiver with its HT supply in current limit': {
    ...receiver(250),
    elements: receiver(250).elements.map((element) =>
      element.name === 'HT' && element.kind === 'supply' ? { ...element, limit_A: 0.05 } : element,
    ),
  },
}

describe('direct current against ngspice', () => {
  it.each(Object.entries(networks))('%s has the node voltages that ngspice gives', async (_, network) => {
    await agrees(network)
  })
  it('the receiver agrees at every step of a ramp from nothing to full HT', async () => {
    for (const HT_V of [0, 5, 15, 30, 60, 90, 120, 150, 180, 210, 250]) await agrees(receiver(HT_V))
  })
})

describe('the demo set against ngspice', () => {
  const { value: equipment, problems } = loadEquipment('profiles/tern-rock/equipment.yaml')
  const at = (mode: string, HT_V: number): Network => {
    if (equipment === null) throw new Error(JSON.stringify(problems))
    return toNetwork(equipment, mode, {
      heaters: { V: 12.6, limit_A: 8, ohm: 0.05 },
      bias: { V: 60, limit_A: 0.1, ohm: 0.1 },
      HT: { V: HT_V, limit_A: 0.5, ohm: 0.1 },
    })
  }
  const steps = (from: number, to: number, by: number): number[] =>
    Array.from({ length: (to - from) / by + 1 }, (_, i) => from + i * by)
  it.each(steps(30, 250, 10))('receiving, the HT network agrees at %d V', async (HT_V) => {
    const solution = await agrees(at('receive', HT_V))
    expect(Object.keys(solution.volts).length).toBeGreaterThan(60)
  })
  it.each([...steps(30, 240, 30), ...steps(250, 400, 10)])(
    'transmitting undriven, the HT network agrees at %d V',
    async (HT_V) => {
      await agrees(at('transmit', HT_V))
    },
  )
})

describe('in time against ngspice', () => {
  it('a power supply filter feeding a valve charges as ngspice says', async () => {
    const network = net(
      supply('HT', 'f', '0', 250, 10, 100),
      // Our supply takes nothing back when the choke swings; the diode makes the reference's the same.
      junction('D1', 'f', 'p'),
      C('C1', 'p', '0', 8e-6, 0, 2),
      L('CH1', 'p', 'B', 10, 220),
      C('C2', 'B', '0', 16e-6, 0, 2),
      R('bleeder', 'B', '0', 20_000),
      R('Rp', 'B', 'a', 22_000),
      R('Rk', 'k', '0', 1_000),
      C('Ck', 'k', '0', 25e-6, 0, 1),
      R('Rg', 'g', '0', 470_000),
      triode('6SN7GT', 'V1', 'a', 'g', 'k'),
    )
    const reference = await ngspice(network, () => 'holding', '.tran 0.5m 0.4 0 0.05m uic')
    expect(reference.points, reference.error).toBeGreaterThan(100)
    const transient = createTransient(network)
    let now_s = 0
    const apart: string[] = []
    for (const to_s of [0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.3, 0.4]) {
      const { volts } = transient.advance(to_s - now_s)
      now_s = to_s
      for (const node of ['p', 'B', 'k']) {
        const theirs = at(reference.time_s, reference.volts[node] ?? [], to_s)
        // 0.5 % of the 250 V that move: step control of both sides.
        if (Math.abs((volts[node] ?? NaN) - theirs) > (node === 'k' ? 0.02 : 1.25)) {
          apart.push(`${node} at ${to_s} s: ${volts[node]} V against ${theirs} V`)
        }
      }
    }
    expect(apart).toEqual([])
  })
})

function at(times: readonly number[], values: readonly number[], time: number): number {
  const after = Math.max(
    1,
    times.findIndex((t) => t >= time),
  )
  const [t0 = 0, t1 = 0] = [times[after - 1], times[after]]
  const [v0 = 0, v1 = 0] = [values[after - 1], values[after]]
  return t1 === t0 ? v1 : v0 + ((v1 - v0) * (time - t0)) / (t1 - t0)
}
