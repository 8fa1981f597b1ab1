import type { PartName, RailName } from '../equipment/index.js'
import { type Element, regulatorsToChange, type Solution, type Solver } from '../network/index.js'
import type { SetPoints } from './guards.js'

export type Supplies = ReadonlyMap<RailName, Extract<Element, { kind: 'supply' }>>

export type Regulator = Extract<Element, { readonly kind: 'regulator' }>

/** What is known of a gas tube where the rails stand; `either`: the way there leaves it open. */
export type GasState = 'dark' | 'lit' | 'either'
/** By tube; one that is not named is dark. */
export type GasStates = Readonly<Record<PartName, GasState>>

/** One set of parts on its way: where the last point left it, so that the next begins near and gas tubes stay as they were. */
export interface Path {
  readonly elements: readonly Element[]
  regulators: readonly Regulator[]
  start: Solution | null
  at_V: number
}

export function pathOf(elements: readonly Element[]): Path {
  return { elements, regulators: darkRegulators(elements), start: null, at_V: 0 }
}

/**
 * A set of parts at new set-points. A gas tube that was dark where the rails stood before begins dark and strikes at its own
 * volts; one that was lit begins lit and goes out below its own.
 *
 * @param held - gas tubes that are solved as lit or dark whatever their volts say
 */
export function solvePath(
  of: { readonly solver: Solver; readonly supplies: Supplies },
  path: Path,
  volts: SetPoints,
  near: Solution | null,
  before: GasStates,
  held: readonly [tubes: readonly string[], state: 'lit' | 'dark'] = [[], 'dark'],
): Solution {
  const [tubes, state] = held
  const at_V = Object.values(volts).reduce((sum, V) => sum + V, 0)
  const falls = at_V < path.at_V
  if (falls) path.start = null
  path.at_V = at_V
  path.regulators = path.regulators.map((each) => {
    if (tubes.includes(each.name)) return { ...each, lit: state === 'lit' }
    if ((before[each.name] ?? 'dark') === 'dark') return { ...each, lit: false }
    return falls ? { ...each, lit: true } : each
  })
  const parts = [...path.elements.filter((element) => element.kind !== 'regulator'), ...path.regulators]
  let solution = of.solver.solve([...atVolts(of.supplies, volts), ...parts], (path.start ?? near)?.volts)
  for (let round = 0; round < 4; round++) {
    const free = path.regulators.filter(({ name }) => !tubes.includes(name))
    const changed = regulatorsToChange(free, solution)
    if (changed.length === 0) break
    path.regulators = path.regulators.map((old) => changed.find((each) => each.name === old.name) ?? old)
    solution = of.solver.solve(changed, solution.volts)
  }
  path.start = solution
  return solution
}

export function atVolts(supplies: Supplies, volts: SetPoints): Element[] {
  return [...supplies].map(([rail, element]) => ({ ...element, V: volts[rail] ?? 0 }))
}

export function darkRegulators(elements: readonly Element[]): Regulator[] {
  return elements
    .filter((element) => element.kind === 'regulator')
    .map((element) => ({ ...element, lit: false }))
}
