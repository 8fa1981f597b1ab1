import type { NodeName } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import type { Bed } from './bed.js'

/*
 * Ohms from any node to chassis with the set off and its tubes cold. Nothing bends then, so that one inverse of the whole
 * network tells all nodes, and a fault is a small update of it: no system is solved again.
 */

/** An ohmmeter's volts: below what makes a semiconductor diode conduct. */
export const ohmmeter_V = 0.2
/** Beyond any meter's range. */
export const most_ohm = 5e7
/** No path is better than this, as in the network itself. */
const smallest_ohm = 1e-3
/** From every node to chassis, so that one that nothing joins to it reads as open. */
const everywhere_S = 1e-11

/** Of a path that is taken away: what all others together conduct beside it, below which an update would not know it. */
const lostDigits = 1e-4
/** Networks kept with such a path taken away. */
const mostParted = 30

export interface Cold {
  /** From a node to another, the chassis where none is named, with these elements in place of those of the same name. */
  ohm(place: NodeName, changed: readonly Element[], against?: NodeName): number
}

export function createCold(bed: Pick<Bed, 'network' | 'elements'>): Cold {
  const numbers = new Map<string, number>()
  for (const element of bed.network.elements)
    for (const node of nodesOf(element))
      if (node !== bed.network.ground && !numbers.has(node)) numbers.set(node, numbers.size)
  const n = numbers.size
  const G = new Float64Array(n * n)
  for (let i = 0; i < n; i++) G[i * n + i] = everywhere_S
  const number = (node: string): number => numbers.get(node) ?? -1
  const put = (i: number, j: number, S: number): void => {
    if (i >= 0 && j >= 0) G[i * n + j] = (G[i * n + j] ?? 0) + S
  }
  for (const element of bed.network.elements) {
    const S = coldS(element)
    if (S === 0 || !('a' in element)) continue
    const a = number(element.a)
    const b = number(element.b)
    put(a, a, S)
    put(b, b, S)
    put(a, b, -S)
    put(b, a, -S)
  }
  invert(G, n)
  /** Networks in which a path that outweighs all others is taken away: small updates would lose their digits there. */
  const parted = new Map<string, Cold>()
  const withoutPath = (changed: readonly Element[]): Cold => {
    const key = JSON.stringify(changed)
    const known = parted.get(key)
    if (known !== undefined) return known
    const elements = new Map(bed.elements)
    for (const element of changed) if (elements.has(element.name)) elements.set(element.name, element)
    const made = createCold({ network: { ...bed.network, elements: [...elements.values()] }, elements })
    if (parted.size >= mostParted) parted.clear()
    parted.set(key, made)
    return made
  }
  const R = (i: number, j: number): number => (i < 0 || j < 0 ? 0 : (G[i * n + j] ?? 0))
  return {
    ohm(place, changed, against = bed.network.ground) {
      const p = number(place)
      const q = number(against)
      if (p === q) return 0
      const moves = changed.flatMap((element) => {
        const old = bed.elements.get(element.name)
        if (old === undefined || !('a' in old)) return []
        const by = coldS(element) - coldS(old)
        return by === 0 ? [] : [{ a: number(old.a), b: number(old.b), by }]
      })
      // Woodbury: (G + U D U')⁻¹, of which one entry is wanted.
      const u = moves.map(({ a, b }) => R(p, a) - R(p, b) - R(q, a) + R(q, b))
      const between = moves.map((one, i) =>
        moves.map(
          (other, j) =>
            R(one.a, other.a) -
            R(one.a, other.b) -
            R(one.b, other.a) +
            R(one.b, other.b) +
            (i === j ? 1 / one.by : 0),
        ),
      )
      const lost = moves.some(({ by }, i) => by < 0 && (between[i]?.[i] ?? 0) > lostDigits / by)
      if (lost) return withoutPath(changed).ohm(place, [], against)
      const x = solved(between, u)
      const ohm = R(p, p) - 2 * R(p, q) + R(q, q) - u.reduce((sum, each, i) => sum + each * (x[i] ?? 0), 0)
      return Math.min(most_ohm, Math.max(ohm, 0))
    },
  }
}

/** Nodes of one element, inner ones of its joints among them. */
export function nodesOf(element: Element): string[] {
  const nodes: string[] = []
  for (const end of ['a', 'b', 'plate', 'screen', 'grid', 'cathode'] as const) {
    const node = (element as Partial<Record<typeof end, string>>)[end]
    if (node !== undefined) nodes.push(node)
  }
  return nodes
}

/** What conducts with everything cold and a few tenths of a volt across it. */
function coldS(element: Element): number {
  switch (element.kind) {
    case 'resistor':
    case 'inductor':
    case 'meter':
    case 'supply':
      return siemens(element.ohm)
    case 'contact':
      return element.closed ? siemens(element.ohm) : 0
    case 'capacitor':
      return Math.min(element.leak_S, 1 / smallest_ohm)
    case 'heater': {
      // Its law, at the ohmmeter's volts.
      const part = ohmmeter_V / element.hot_V
      return part > 0 ? (element.hot_A * Math.exp(0.58 * Math.log(part))) / ohmmeter_V : 0
    }
    case 'junction':
    case 'regulator':
    case 'triode':
    case 'screen tube':
    case 'diode tube':
      return 0
  }
}

const siemens = (ohm: number): number => (ohm === Infinity ? 0 : 1 / Math.max(ohm, smallest_ohm))

/** In place; the matrix is symmetric and its diagonal outweighs the rest, so that no pivot has to be looked for. */
function invert(M: Float64Array, n: number): void {
  for (let k = 0; k < n; k++) {
    const row = M.subarray(k * n, (k + 1) * n)
    const pivot = 1 / (row[k] ?? 1)
    row[k] = 1
    for (let j = 0; j < n; j++) row[j] = (row[j] ?? 0) * pivot
    for (let i = 0; i < n; i++) {
      if (i === k) continue
      const other = M.subarray(i * n, (i + 1) * n)
      const by = other[k] ?? 0
      if (by === 0) continue
      other[k] = 0
      for (let j = 0; j < n; j++) other[j] = (other[j] ?? 0) - by * (row[j] ?? 0)
    }
  }
}

/** A handful of equations, by elimination with the largest pivot. */
function solved(matrix: readonly (readonly number[])[], right: readonly number[]): number[] {
  const rows = matrix.map((row, i) => [...row, right[i] ?? 0])
  const n = rows.length
  for (let k = 0; k < n; k++) {
    let best = k
    for (let i = k + 1; i < n; i++) if (Math.abs(rows[i]?.[k] ?? 0) > Math.abs(rows[best]?.[k] ?? 0)) best = i
    const row = rows[best]
    const here = rows[k]
    if (row === undefined || here === undefined || row[k] === 0) return right.map(() => 0)
    rows[best] = here
    rows[k] = row
    for (let i = k + 1; i < n; i++) {
      const other = rows[i]
      if (other === undefined) continue
      const by = (other[k] ?? 0) / (row[k] ?? 1)
      for (let j = k; j <= n; j++) other[j] = (other[j] ?? 0) - by * (row[j] ?? 0)
    }
  }
  const x = new Array<number>(n).fill(0)
  for (let k = n - 1; k >= 0; k--) {
    const row = rows[k] ?? []
    let sum = row[n] ?? 0
    for (let j = k + 1; j < n; j++) sum -= (row[j] ?? 0) * (x[j] ?? 0)
    x[k] = sum / (row[k] ?? 1)
  }
  return x
}
