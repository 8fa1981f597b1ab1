import type { Element, Solution } from './types.js'

type Regulator = Extract<Element, { kind: 'regulator' }>

/**
 * Gas regulators that the solution itself contradicts, as changed elements: dark ones with their striking volts across
 * them, lit ones that have fallen below extinction. Solve again with these until none is left.
 */
export function regulatorsToChange(elements: readonly Element[], solution: Solution): readonly Regulator[] {
  const changed: Regulator[] = []
  for (const element of elements) {
    if (element.kind !== 'regulator') continue
    const V = (solution.volts[element.a] ?? 0) - (solution.volts[element.b] ?? 0)
    const lit = element.lit ? V >= element.model.extinction_V : V >= element.model.strike_V
    if (lit !== element.lit) changed.push({ ...element, lit })
  }
  return changed
}
