import type { Change, Fault, FaultKind } from './types.js'

/*
 * A fault of the library stands for its neighbours: one somewhat milder and one somewhat worse are weighed with it, and what
 * lies between them is allowed for. How far neighbours go is our choice, no source.
 */
interface Spread {
  /** Factor on what the fault changes, milder and worse. */
  readonly by: readonly [number, number]
  /** What is left between two of them, as a part of what the fault changes. */
  readonly between: number
}

const spreads: Readonly<Partial<Record<FaultKind, Spread>>> = {
  leaky: { by: [2, 0.5], between: 0.3 },
  gassy: { by: [0.5, 2], between: 0.3 },
  drift: { by: [0.8, 1.3], between: 0.15 },
  weak: { by: [1.3, 0.75], between: 0.15 },
  strong: { by: [0.75, 1.3], between: 0.15 },
}
const usual = { between: 0.05, 'heater-leak': 0.2 } as const
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
    ...spread.by.map((by) => ({
      fault: { ...fault, changes: fault.changes.map((change) => scaledChange(change, by)) },
      part: parts[1],
    })),
  ]
}

export function between({ kind }: Fault): number {
  return spreads[kind]?.between ?? (kind === 'heater-leak' ? usual['heater-leak'] : usual.between)
}

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
    case 'contact':
      return change
  }
}
