import type { Element, Network } from '../../src/network/index.js'
import { findTube, type SectionModel } from '../../src/tubes/index.js'

/** Short ways to write networks in tests; ground is always the node '0'. */
export const net = (...elements: Element[]): Network => ({ ground: '0', elements })

export const R = (name: string, a: string, b: string, ohm: number): Element => ({
  kind: 'resistor',
  name,
  a,
  b,
  ohm,
})
export const C = (name: string, a: string, b: string, F: number, leak_S = 0, series_ohm = 0): Element => ({
  kind: 'capacitor',
  name,
  a,
  b,
  F,
  leak_S,
  series_ohm,
})
export const L = (name: string, a: string, b: string, H: number, ohm: number): Element => ({
  kind: 'inductor',
  name,
  a,
  b,
  H,
  ohm,
})
export const supply = (name: string, a: string, b: string, V: number, limit_A = 1, ohm = 0.05): Element => ({
  kind: 'supply',
  name,
  a,
  b,
  V,
  limit_A,
  ohm,
})

function modelOf<F extends SectionModel['form']>(
  type: string,
  form: F,
  section: number,
): Extract<SectionModel, { form: F }> {
  const { found } = findTube(type)
  const model = found?.sections[section]?.model
  if (model?.form !== form) throw new Error(`the catalogue has no ${form} model for ${type}`)
  return model as Extract<SectionModel, { form: F }>
}

export const triode = (
  type: string,
  name: string,
  plate: string,
  grid: string,
  cathode: string,
  emission = 1,
  gas = 0,
): Element => ({
  kind: 'triode',
  name,
  plate,
  grid,
  cathode,
  model: modelOf(type, 'triode', 0),
  emission,
  gas,
})
export const pentode = (
  type: string,
  name: string,
  plate: string,
  screen: string,
  grid: string,
  cathode: string,
  emission = 1,
  gas = 0,
): Element => ({
  kind: 'screen tube',
  name,
  plate,
  screen,
  grid,
  cathode,
  model: modelOf(type, 'screen', 0),
  emission,
  gas,
})
export const rectifier = (type: string, name: string, plate: string, cathode: string): Element => ({
  kind: 'diode tube',
  name,
  plate,
  cathode,
  model: modelOf(type, 'diode', 0),
  emission: 1,
})
export const regulator = (type: string, name: string, a: string, b: string, lit: boolean): Element => ({
  kind: 'regulator',
  name,
  a,
  b,
  model: modelOf(type, 'regulator', 0),
  lit,
})

/** An eight-tube receiver on one HT rail, about forty nodes: RF, mixer, two IF, detector amplifier, output, oscillator, regulator. */
export function receiver(HT_V = 250): Network {
  const stage = (n: number, type: string, droppers: readonly [number, number, number]): Element[] => [
    R(`R${n}p`, 'B', `p${n}`, droppers[0]),
    L(`T${n}`, `p${n}`, `q${n}`, 0.005, 12),
    R(`R${n}s`, 'B', `s${n}`, droppers[1]),
    C(`C${n}s`, `s${n}`, '0', 1e-7, 1e-9, 1),
    R(`R${n}k`, `k${n}`, '0', droppers[2]),
    C(`C${n}k`, `k${n}`, '0', 1e-7, 1e-9, 1),
    R(`R${n}g`, `g${n}`, 'agc', 1e6),
    pentode(type, `V${n}`, `q${n}`, `s${n}`, `g${n}`, `k${n}`),
  ]
  return net(
    supply('HT', 'feed', '0', HT_V, 0.25),
    R('R1', 'feed', 'in', 10),
    C('C1', 'in', '0', 16e-6, 2e-6, 5),
    L('CH1', 'in', 'B', 10, 220),
    C('C2', 'B', '0', 16e-6, 2e-6, 5),
    R('bleeder', 'B', '0', 47_000),
    supply('bias', '0', 'minus', 12, 0.05),
    R('Ra', 'minus', 'agc', 220_000),
    R('Rb', 'agc', '0', 100_000),
    ...stage(1, '6SK7', [2_200, 68_000, 220]),
    ...stage(2, '6SK7', [2_200, 100_000, 270]),
    ...stage(3, '6SK7', [2_200, 68_000, 220]),
    ...stage(4, '6SJ7', [100_000, 470_000, 1_000]),
    R('R5p', 'B', 'p5', 100_000),
    R('R5k', 'k5', '0', 1_500),
    R('R5g', 'g5', '0', 1e6),
    C('C5', 'p5', 'g6', 1e-8),
    triode('6SN7GT', 'V5', 'p5', 'g5', 'k5'),
    L('T6', 'B', 'p6', 8, 300),
    R('R6g', 'g6', '0', 470_000),
    R('R6k', 'k6', '0', 270),
    C('C6', 'k6', '0', 25e-6, 1e-6, 2),
    R('R6s', 'B', 's6', 100),
    pentode('6V6GT', 'V6', 'p6', 's6', 'g6', 'k6'),
    R('R7', 'B', 'VR', 6_800),
    regulator('0D3', 'V7', 'VR', '0', false),
    R('R8p', 'VR', 'p8', 10_000),
    R('R8g', 'g8', '0', 47_000),
    R('R8k', 'k8', '0', 470),
    triode('6J5', 'V8', 'p8', 'g8', 'k8'),
  )
}
