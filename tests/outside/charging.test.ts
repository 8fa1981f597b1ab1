import { describe, expect, it } from 'vitest'
import { toNetwork } from '../../src/equipment/index.js'
import { loadAll } from '../../src/files/index.js'
import { createTransient, type Network } from '../../src/network/index.js'
import { C, L, net, pentode, R, receiver, rectifier, regulator, supply, triode } from '../helpers/networks.js'
import { ngspice, type SupplyState } from '../helpers/ngspice.js'

/*
 * Outside reference: ngspice, reltol=1e-6, trapezoidal. Charging from nothing, valves and all: at every compared time every
 * node must stand within 1 % of its own swing. Our supply takes nothing back when a choke swings; a diode in its lead makes
 * the reference's the same.
 */
const times_s = (to_s: number): number[] => Array.from({ length: 20 }, (_, i) => (to_s * (i + 1)) / 20)

async function charges(
  network: Network,
  to_s: number,
  finest_s: number,
  state: SupplyState = 'holding',
  options?: string,
): Promise<string[]> {
  const reference = await ngspice(
    network,
    ({ V }) => (V > 0 ? state : 'holding'),
    `.tran ${finest_s} ${to_s} 0 ${finest_s} uic`,
    undefined,
    options,
  )
  expect(reference.points, reference.error).toBeGreaterThan(200)
  const transient = createTransient(network)
  const apart: string[] = []
  let now_s = 0
  for (const t_s of times_s(to_s)) {
    const { volts, converged } = transient.advance(t_s - now_s)
    now_s = t_s
    expect(converged).toBe(true)
    for (const [node, theirs] of Object.entries(reference.volts)) {
      // A thousandth of the highest volts is the least that counts as a swing: a grid at rest has none.
      const swing_V = Math.max(spread(theirs), 0.25)
      const there_V = between(reference.time_s, theirs, t_s)
      const here_V = volts[node] ?? NaN
      if (!(Math.abs(here_V - there_V) <= 0.01 * swing_V))
        apart.push(`${node} at ${t_s.toFixed(4)} s: ${here_V.toFixed(3)} V against ${there_V.toFixed(3)} V`)
    }
  }
  return apart
}

function spread(values: readonly number[]): number {
  let [low, high] = [Infinity, -Infinity]
  for (const value of values) {
    low = Math.min(low, value)
    high = Math.max(high, value)
  }
  return high - low
}

function between(times: readonly number[], values: readonly number[], time: number): number {
  const after = Math.max(
    1,
    times.findIndex((t) => t >= time),
  )
  const [t0 = 0, t1 = 0] = [times[after - 1], times[after]]
  const [v0 = 0, v1 = 0] = [values[after - 1], values[after]]
  return t1 === t0 ? v1 : v0 + ((v1 - v0) * (time - t0)) / (t1 - t0)
}

/** The supply's positive lead through a diode. */
function throughDiode(network: Network, name: string): Network {
  return {
    ...network,
    elements: network.elements.flatMap((element) =>
      element.name === name && element.kind === 'supply'
        ? [
            { ...element, a: `${name} lead` },
            { kind: 'junction' as const, name: `${name} lead diode`, a: `${name} lead`, b: element.a },
          ]
        : [element],
    ),
  }
}

describe('charging against ngspice, within 1 % of the swing', () => {
  it('an output stage on its cathode resistor, screen and cathode bypassed', async () => {
    const network = net(
      supply('HT', 'f', '0', 250, 10, 150),
      C('C1', 'f', '0', 16e-6, 1e-6, 2),
      L('T1', 'f', 'p', 8, 280),
      R('Rs', 'f', 's', 4_700),
      C('Cs', 's', '0', 8e-6, 1e-6, 2),
      R('Rk', 'k', '0', 270),
      C('Ck', 'k', '0', 25e-6, 0, 1),
      R('Rg', 'g', '0', 470_000),
      pentode('6V6GT', 'V1', 'p', 's', 'g', 'k'),
    )
    expect(await charges(throughDiode(network, 'HT'), 0.3, 1e-4)).toEqual([])
  })
  it('reservoir and smoothing capacitor behind a vacuum rectifier and a choke', async () => {
    const network = net(
      supply('HT', 'f', '0', 300, 10, 20),
      rectifier('5Y3GT', 'V1', 'f', 'r'),
      C('C1', 'r', '0', 8e-6, 0, 2),
      L('CH1', 'r', 'B', 10, 220),
      C('C2', 'B', '0', 16e-6, 0, 2),
      R('bleeder', 'B', '0', 25_000),
      R('Rp', 'B', 'a', 47_000),
      R('Rk', 'k', '0', 1_500),
      C('Ck', 'k', '0', 25e-6, 0, 1),
      R('Rg', 'g', '0', 470_000),
      triode('6SN7GT', 'V2', 'a', 'g', 'k'),
    )
    expect(await charges(network, 0.4, 1e-4)).toEqual([])
  })
  it('a line held by a lit gas regulator', async () => {
    const network = net(
      supply('HT', 'B', '0', 250, 10, 100),
      C('C1', 'B', '0', 16e-6, 0, 2),
      R('R1', 'B', 'r', 5_000),
      regulator('0D3', 'V1', 'r', '0', true),
      R('load', 'r', 'o', 2_200),
      C('C2', 'o', '0', 10e-6, 0, 1),
      R('Rp', 'o', 'p', 10_000),
      R('Rk', 'k', '0', 470),
      R('Rg', 'g', '0', 47_000),
      triode('6J5', 'V2', 'p', 'g', 'k'),
    )
    expect(await charges(network, 0.15, 5e-5)).toEqual([])
  })
  it('a reservoir fed by a supply that stays in its current limit', async () => {
    const network = net(
      supply('HT', 'f', '0', 400, 0.1, 1),
      C('C1', 'f', '0', 47e-6, 0, 2),
      L('CH1', 'f', 'B', 10, 150),
      C('C2', 'B', '0', 16e-6, 0, 2),
      R('Rp', 'B', 'a', 22_000),
      R('Rk', 'k', '0', 1_000),
      C('Ck', 'k', '0', 25e-6, 0, 1),
      R('Rg', 'g', '0', 470_000),
      triode('6SN7GT', 'V1', 'a', 'g', 'k'),
    )
    expect(await charges(network, 0.15, 1e-4, 'limited')).toEqual([])
  })
})

/*
 * Larger networks, compared over the first 0.3 s, in which every reservoir fills. Nothing of their HT network is left out but
 * heaters, which charge nothing, and the moment of striking: gas tubes stand lit from the start, since nothing in a deck turns
 * them on. Currents to 1e-13 A, as above, would cost ngspice five times as many steps: with volts to 0.1 mV, by gear's method
 * of second order, it is still far finer than the one per cent compared. A deck's supply has no current limit and takes
 * current back when the choke swings; so the limits here lie above what charging draws, and where the choke's swing would
 * reach the supply it has a diode.
 */
const large = 'method=gear maxord=2 reltol=1e-4 abstol=1e-9 vntol=1e-4 gmin=1e-12 rshunt=1e12 itl4=100'

describe('charging of whole receivers against ngspice, within 1 % of the swing', () => {
  it('the demo set in receive with HT and bias put on at once: 75 nodes', async () => {
    const demo = loadAll('profiles/tern-rock/receive.yaml').value
    if (demo === null) throw new Error('the demo does not load')
    const feeds = {
      HT: { V: 250, limit_A: 10, ohm: 100 },
      bias: { V: 60, limit_A: 10, ohm: 10 },
    }
    const network = toNetwork(demo.equipment, 'receive', feeds, { heaters: false, lit: () => true })
    expect(await charges(network, 0.3, 1e-3, 'holding', large)).toEqual([])
  })
  it('a receiver with eight tubes, its regulator lit', async () => {
    const elements = receiver(250).elements.map((element) => {
      if (element.kind === 'supply') return { ...element, limit_A: 100 }
      return element.kind === 'regulator' ? { ...element, lit: true } : element
    })
    const network = throughDiode(net(...elements), 'HT')
    expect(await charges(network, 0.3, 1e-3, 'holding', large)).toEqual([])
  })
})
