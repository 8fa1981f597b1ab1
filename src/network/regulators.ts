import type { Element, Solved } from './types.js'

type Regulator = Extract<Element, { kind: 'regulator' }>

/**
 * Gas regulators that the solution itself contradicts, as changed elements: dark ones with their striking volts across
 * them, lit ones that have fallen below extinction. Solve again with these until none is left.
 */
export function regulatorsToChange(
  elements: readonly Element[],
  { volt }: Pick<Solved, 'volt'>,
): readonly Regulator[] {
  return regulatorsTurned(elements, volt)
}

/** The same by a node's volts. */
export function regulatorsTurned(
  elements: readonly Element[],
  volt: (node: string) => number,
): readonly Regulator[] {
  const changed: Regulator[] = []
  for (const element of elements) {
    if (element.kind !== 'regulator') continue
    const V = volt(element.a) - volt(element.b)
    const lit = element.lit ? V >= element.model.extinction_V : V >= element.model.strike_V
    if (lit !== element.lit) changed.push({ ...element, lit })
  }
  return changed
}
