import type { RailName } from '../equipment/index.js'
import type { Element, Network, Solution, Solver } from '../network/index.js'
import type { SetPoints } from './guards.js'

/* What rails move: which of them a part follows, and the charge that each of them brings in. */

interface Solved {
  readonly network: Network
  readonly solver: Solver
  readonly supplies: ReadonlyMap<RailName, Extract<Element, { kind: 'supply' }>>
}

/** For every part, the rail whose volts move its current most. */
export function railLeanings(of: Solved, nominal: Solution, volts: SetPoints): ReadonlyMap<string, RailName> {
  const best = new Map<string, { rail: RailName; by: number }>()
  const capacitors = new Set(
    of.network.elements.flatMap(({ kind, name }) => (kind === 'capacitor' ? [name] : [])),
  )
  for (const [rail, element] of of.supplies) {
    const V = volts[rail] ?? 0
    if (V <= 0) continue
    const moved = of.solver.solve([{ ...element, V: V * 1.01 }], nominal.volts)
    of.solver.solve([{ ...element, V }], nominal.volts)
    for (const [name, current] of Object.entries(moved.currents)) {
      if (capacitors.has(name)) continue
      const was = nominal.currents[name]
      const by = Math.abs((current.a ?? current.plate ?? 0) - (was?.a ?? was?.plate ?? 0))
      if (by > (best.get(name)?.by ?? 0)) best.set(name, { rail, by })
    }
    // No current tells where a capacitor hangs: its volts do.
    for (const each of of.network.elements) {
      if (each.kind !== 'capacitor') continue
      const by = Math.abs(across(moved, each) - across(nominal, each))
      if (by > (best.get(each.name)?.by ?? 0)) best.set(each.name, { rail, by })
    }
  }
  return new Map([...best].map(([name, { rail }]) => [name, rail]))
}

/** Capacitance a rail fills when it rises: each capacitor by the part of the rail's volts that it takes with tubes cold. */
export function filled_F(
  of: Pick<Solved, 'network'>,
  raised: Solution,
  lowered: Solution,
  V: number,
): number {
  let F = 0
  for (const each of of.network.elements) {
    if (each.kind !== 'capacitor') continue
    F += each.F * Math.min(1, Math.abs(across(raised, each) - across(lowered, each)) / V)
  }
  return F
}

export function storedOf(of: Pick<Solved, 'network'>, cold: Solution): number {
  let joules = 0
  for (const each of of.network.elements) {
    if (each.kind === 'capacitor') joules += 0.5 * each.F * across(cold, each) * across(cold, each)
  }
  return joules
}

export function across(solution: Solution, element: { readonly a: string; readonly b: string }): number {
  return (solution.volts[element.a] ?? 0) - (solution.volts[element.b] ?? 0)
}
