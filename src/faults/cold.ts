import type { NodeName } from '../equipment/index.js'
import { type Element, factor, layPattern, type Pattern, solveDense, substitute } from '../network/index.js'
import { type Bed, isAfloat, nodesOf } from './bed.js'

/*
 * Ohms from any node to chassis with the set off and its tubes cold. Nothing bends then, so that one factoring of the whole
 * network tells all nodes, and a fault is a small update of it: but where it takes the only good path away, no system is solved again.
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
const mostParted = 400

export interface Cold {
  /** From a node to another, the chassis where none is named, with these elements in place of those of the same name. */
  ohm(place: NodeName, changed: readonly Element[], against?: NodeName): number
}

/** Where the elements of a network stand in its equations: the same for every set that is drawn of it, and with every fault. */
export interface ColdLayout {
  readonly bed: Pick<Bed, 'network' | 'elements'>
  readonly number: (node: NodeName) => number
  readonly pattern: Pattern
  /** Of each element with two ends: rows and columns of both, in the order of the network. */
  readonly places: Int32Array
}

export function layCold(bed: Pick<Bed, 'network' | 'elements'>): ColdLayout {
  const { elements, ground } = bed.network
  const numbers = new Map<string, number>()
  for (const element of elements)
    for (const node of nodesOf(element))
      if (node !== ground && !numbers.has(node)) numbers.set(node, numbers.size)
  const n = numbers.size
  // The chassis is no unknown: what belongs to it goes to the pattern's bin.
  const number = (node: string): number => (node === ground ? n : (numbers.get(node) ?? n))
  const ends = elements.map((element) =>
    'a' in element ? ([number(element.a), number(element.b)] as const) : ([n, n] as const),
  )
  const pattern = layPattern(n, ends)
  const places = Int32Array.from(
    ends.flatMap(([a, b]) => [
      pattern.place(a, a),
      pattern.place(b, b),
      pattern.place(a, b),
      pattern.place(b, a),
    ]),
  )
  return { bed, number, pattern, places }
}

/** @param own - elements of this set in place of those of the layout's. */
export function createCold(
  layout: ColdLayout,
  own: ReadonlyMap<string, Element> = layout.bed.elements,
): Cold {
  const { number } = layout
  const { ground } = layout.bed.network
  const column = columnsOf(layout, own)
  /** Sets in which a path that outweighs all others is taken away: small updates would lose their digits there. */
  const parted = new Map<readonly Element[], Columns>()
  const withoutPath = (changed: readonly Element[]): Columns => {
    const known = parted.get(changed)
    if (known !== undefined) return known
    const elements = new Map(own)
    for (const element of changed) elements.set(element.name, element)
    const made = columnsOf(layout, elements)
    if (parted.size >= mostParted) parted.clear()
    parted.set(changed, made)
    return made
  }
  const within = (by: Columns, p: number, q: number): number => {
    const to_p = by(p)
    return (to_p[p] ?? 0) - 2 * (to_p[q] ?? 0) + (by(q)[q] ?? 0)
  }
  return {
    ohm(place, changed, against = ground) {
      const p = number(place)
      const q = number(against)
      if (p === q) return 0
      const moves = changed.flatMap((element) => {
        const old = own.get(element.name)
        if (old === undefined || !('a' in old)) return []
        const by = coldS(element) - coldS(old)
        return by === 0 ? [] : [{ a: number(old.a), b: number(old.b), by }]
      })
      // Woodbury: (G + U D U')⁻¹, of which one entry is wanted.
      const across = moves.map(({ a, b }) => ({ to_a: column(a), to_b: column(b) }))
      const between = moves.map(({ a, b }, i) =>
        moves.map(({ by }, j) => {
          const other = across[j]
          if (other === undefined) return 0
          const { to_a, to_b } = other
          return (to_a[a] ?? 0) - (to_b[a] ?? 0) - (to_a[b] ?? 0) + (to_b[b] ?? 0) + (i === j ? 1 / by : 0)
        }),
      )
      const lost = moves.some(({ by }, i) => by < 0 && (between[i]?.[i] ?? 0) > lostDigits / by)
      if (lost) return Math.min(most_ohm, Math.max(within(withoutPath(changed), p, q), 0))
      const u = across.map(
        ({ to_a, to_b }) => (to_a[p] ?? 0) - (to_b[p] ?? 0) - (to_a[q] ?? 0) + (to_b[q] ?? 0),
      )
      const x = solved(between, u)
      const ohm = within(column, p, q) - u.reduce((sum, each, i) => sum + each * (x[i] ?? 0), 0)
      return Math.min(most_ohm, Math.max(ohm, 0))
    },
  }
}

/** Volts at every node by one ampere into a node, taken out at the chassis: a column of the inverse. */
type Columns = (node: number) => Float64Array

function columnsOf({ bed, pattern, places }: ColdLayout, own: ReadonlyMap<string, Element>): Columns {
  const { n, size, diagonal } = pattern
  const laid = (): Float64Array => {
    const values = new Float64Array(size + 1)
    for (const at of diagonal) values[at] = everywhere_S
    for (const [i, element] of bed.network.elements.entries()) {
      const S = coldS(own.get(element.name) ?? element)
      if (S === 0) continue
      for (let k = 0; k < 4; k++) {
        const at = places[4 * i + k] ?? size
        values[at] = (values[at] ?? 0) + (k < 2 ? S : -S)
      }
    }
    return values
  }
  const factored = laid()
  const serves = factor(pattern, factored)
  const known = new Map<number, Float64Array>()
  return (node) => {
    const old = known.get(node)
    if (old !== undefined) return old
    const volts = new Float64Array(n + 1)
    if (node < n) {
      volts[node] = 1
      if (serves) substitute(pattern, factored, volts)
      else solveDense(pattern, laid(), volts)
    }
    volts[n] = 0
    known.set(node, volts)
    return volts
  }
}

/** What conducts with everything cold and a few tenths of a volt across it. */
function coldS(element: Element): number {
  switch (element.kind) {
    case 'resistor':
      return isAfloat(element) ? 0 : siemens(element.ohm)
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
