import type { Change, Fault, FaultKind } from './types.js'

/*
 * A fault of the library stands for its neighbours: one somewhat milder and one somewhat worse are weighed with it, and what
 * lies between them is allowed for. How far neighbours go is our choice, no source.
 */
/** Factor on what a fault changes, milder and worse. */
const spreads: Readonly<Partial<Record<FaultKind, readonly [number, number]>>> = {
  leaky: [2, 0.5],
  gassy: [0.5, 2],
  drift: [0.8, 1.3],
  weak: [1.3, 0.75],
  strong: [0.75, 1.3],
}
/** Weights of the library's own severity and of each neighbour. */
const parts = [0.4, 0.3] as const

export interface Severity {
  readonly fault: Fault
  /** Of the fault's weight. */
  readonly part: number
}

/** The library's own severity first. */
export function severitiesOf(fault: Fault): Severity[] {
  const spread = fault.with === undefined ? spreads[fault.kind] : undefined
  if (spread === undefined) return [{ fault, part: 1 }]
  return [
    { fault, part: parts[0] },
    ...spread.map((by) => ({
      fault: { ...fault, changes: fault.changes.map((change) => scaledChange(change, by)) },
      part: parts[1],
    })),
  ]
}

/** Of a fault with one severity: what its size may be off by, as a part of what it changes. */
export const sizeOff = (fault: Fault): number =>
  fault.with !== undefined ? 0.15 : fault.kind === 'heater-leak' ? 0.2 : 0.05

function scaledChange(change: Change, by: number): Change {
  switch (change.is) {
    case 'leaks':
      return { ...change, ohm: change.ohm * by }
    case 'ohm times':
    case 'emission times':
      return { ...change, by: change.by * by }
    case 'gas':
      return { ...change, of_plate: change.of_plate * by }
    case 'resistance':
    case 'dark':
    case 'model':
    case 'contact':
      return change
  }
}
