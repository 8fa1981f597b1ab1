import { type Equipment, type ModeName, type NodeName, toNetwork } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { coldRatio } from '../tubes/index.js'

/**
 * What an ohmmeter reads between two nodes of the cold set: tubes cold, gas tubes dark, diodes below the volts at which they
 * conduct, capacitors charged through. Such a set is resistors alone, so every pair of nodes comes out of one inverse, and
 * what it reads rises with every resistor in it (Rayleigh's law of monotony): all at their least and all at their most are the bounds.
 */
export interface Ohms {
  readonly low: number
  readonly usual: number
  readonly high: number
}
export interface ColdOhms {
  /** Null where nothing conducts. */
  between(a: NodeName, b: NodeName): Ohms | null
}

type Corner = 'low' | 'usual' | 'high'

/** Copper at the room's temperature against a handbook's, and its rounding (common practice, no source). */
export const windingSpread = 0.15
/** The cold resistance of a fuse is hardly ever known: half as much again either way (common practice, no source). */
export const fuseSpread = 0.5
const least_ohm = 1e-3

export function coldOhms(equipment: Equipment, mode: ModeName): ColdOhms {
  const [low, usual, high] = (['low', 'usual', 'high'] as const).map((corner) =>
    pairs(wires(equipment, mode, corner)),
  )
  return {
    between(a, b) {
      const ohms = [low?.(a, b) ?? null, usual?.(a, b) ?? null, high?.(a, b) ?? null]
      const [least = null, middle = null, most = null] = ohms
      return least === null || middle === null || most === null
        ? null
        : { low: least, usual: middle, high: most }
    },
  }
}

interface Wire {
  readonly a: NodeName
  readonly b: NodeName
  readonly ohm: number
}

function wires(equipment: Equipment, mode: ModeName, corner: Corner): Wire[] {
  const side = corner === 'usual' ? 0 : corner === 'low' ? -1 : 1
  const { elements } = toNetwork(allParts(equipment, side), mode, {})
  return elements.flatMap((element) => {
    const ohm = ohmOf(element, corner)
    return ohm === null || !('a' in element)
      ? []
      : [{ a: element.a, b: element.b, ohm: Math.max(least_ohm, ohm) }]
  })
}

/** The set with every part at the end of its tolerance: below (-1), above (1), or as it should be (0). */
function allParts(equipment: Equipment, side: -1 | 0 | 1): Equipment {
  const parts = Object.entries(equipment.parts).map(([name, part]): [string, typeof part] => {
    if (!('ohm' in part)) return [name, part]
    const spread = 'tolerance' in part ? part.tolerance : part.kind === 'fuse' ? fuseSpread : windingSpread
    return [name, { ...part, ohm: part.ohm * (1 + side * spread) }]
  })
  return { ...equipment, parts: Object.fromEntries(parts) }
}

function ohmOf(element: Element, corner: Corner): number | null {
  switch (element.kind) {
    case 'resistor':
    case 'inductor':
      return element.ohm
    case 'contact':
      return element.closed ? element.ohm : null
    case 'heater': {
      const ratio = coldRatio('indirect')
      const hot = element.hot_V / element.hot_A
      return hot / (corner === 'usual' ? ratio.typical : corner === 'low' ? ratio.high : ratio.low)
    }
    default:
      return null
  }
}

/** Resistance between any two nodes of a mesh of resistors; null where no way joins them. */
function pairs(mesh: readonly Wire[]): (a: NodeName, b: NodeName) => number | null {
  const nodes = [...new Set(mesh.flatMap(({ a, b }) => [a, b]))]
  const place = new Map(nodes.map((node, i) => [node, i]))
  const at = (node: NodeName): number => place.get(node) ?? -1
  const island = islands(
    nodes.length,
    mesh.map(({ a, b }) => [at(a), at(b)] as const),
  )
  // One node of each island is its zero.
  const row = nodes.map((_, i) => i)
  let rows = 0
  island.forEach((first, i) => (row[i] = first === i ? -1 : rows++))
  const G = Array.from({ length: rows }, () => new Float64Array(rows))
  const add = (i: number, j: number, S: number): void => {
    const line = i < 0 || j < 0 ? undefined : G[i]
    if (line !== undefined) line[j] = (line[j] ?? 0) + S
  }
  for (const { a, b, ohm } of mesh) {
    const [i, j] = [row[at(a)] ?? -1, row[at(b)] ?? -1]
    if (at(a) === at(b)) continue
    add(i, i, 1 / ohm)
    add(j, j, 1 / ohm)
    add(i, j, -1 / ohm)
    add(j, i, -1 / ohm)
  }
  const Z = inverse(G)
  return (a, b) => {
    const [p, q] = [at(a), at(b)]
    if (a === b) return 0
    if (p < 0 || q < 0 || island[p] !== island[q]) return null
    const z = (i: number, j: number): number => (i < 0 || j < 0 ? 0 : (Z[i]?.[j] ?? 0))
    const [i, j] = [row[p] ?? -1, row[q] ?? -1]
    return z(i, i) + z(j, j) - 2 * z(i, j)
  }
}

/** For each node the first node that it is joined to. */
function islands(n: number, ways: readonly (readonly [number, number])[]): number[] {
  const near: number[][] = Array.from({ length: n }, () => [])
  for (const [a, b] of ways) {
    near[a]?.push(b)
    near[b]?.push(a)
  }
  const first = Array.from({ length: n }, () => -1)
  for (let start = 0; start < n; start++) {
    if (first[start] !== -1) continue
    first[start] = start
    const open = [start]
    for (let node = open.pop(); node !== undefined; node = open.pop())
      for (const next of near[node] ?? [])
        if (first[next] === -1) {
          first[next] = start
          open.push(next)
        }
  }
  return first
}

/** Gauss and Jordan. A conductance matrix with a zero in each island is positive definite, so its diagonal is never nil. */
function inverse(G: readonly Float64Array[]): readonly Float64Array[] {
  const n = G.length
  const work = G.map((line) => Float64Array.from(line))
  const out = G.map((_, i) => Float64Array.from({ length: n }, (__, j) => (i === j ? 1 : 0)))
  for (let k = 0; k < n; k++) {
    const [from, to] = [work[k], out[k]]
    const pivot = from?.[k] ?? 0
    if (from === undefined || to === undefined || pivot === 0) continue
    for (let j = 0; j < n; j++) {
      from[j] = (from[j] ?? 0) / pivot
      to[j] = (to[j] ?? 0) / pivot
    }
    for (let i = 0; i < n; i++) {
      const [line, result] = [work[i], out[i]]
      const part = line?.[k] ?? 0
      if (i === k || line === undefined || result === undefined || part === 0) continue
      for (let j = 0; j < n; j++) {
        line[j] = (line[j] ?? 0) - part * (from[j] ?? 0)
        result[j] = (result[j] ?? 0) - part * (to[j] ?? 0)
      }
    }
  }
  return out
}
