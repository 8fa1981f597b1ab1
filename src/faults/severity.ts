import { aboutText, pairText } from './told.js'
import type { Change, Fault, FaultKind } from './types.js'

/*
 * A fault of the library stands for its neighbours: milder and worse ones are weighed with it, and what lies between them is
 * allowed for. How far neighbours go and how often each comes is our choice, no source: leaks and gas spread over a decade and
 * more, so theirs do.
 */
/** Factors on what a fault changes with the part of its weight that each has, in order of size. */
type Sizes = readonly (readonly [by: number, part: number])[]
const wide: Sizes = [
  [5, 0.08],
  [2.2, 0.22],
  [1, 0.4],
  [0.45, 0.22],
  [0.2, 0.08],
]
const narrow: Sizes = [
  [1.3, 0.3],
  [1, 0.4],
  [0.75, 0.3],
]
const sizes: Readonly<Partial<Record<FaultKind, Sizes>>> = {
  leaky: wide,
  gassy: wide,
  drift: [
    [0.8, 0.25],
    [1, 0.4],
    [1.3, 0.25],
    [1.8, 0.1],
  ],
  weak: narrow,
  strong: narrow,
}

export interface Severity {
  readonly fault: Fault
  /** Of the fault's weight. */
  readonly part: number
}

/** In order of size, the library's own severity among them as the fault itself. */
export function severitiesOf(fault: Fault): Severity[] {
  const own = fault.with === undefined ? sizes[fault.kind] : undefined
  if (own === undefined) return [{ fault, part: 1 }]
  return own.map(([by, part]) => {
    if (by === 1) return { fault, part }
    const other = { ...fault, changes: fault.changes.map((change) => scaledChange(change, by)) }
    return { fault: { ...other, text: aboutText(other) }, part }
  })
}

const pairs = new WeakMap<Fault, WeakMap<Fault, WeakMap<Fault, Fault>>>()

/** A pair with its halves of these sizes; the same each time, since what was solved is kept by fault. */
export function pairOf(pair: Fault, a: Fault, b: Fault): Fault {
  const ofPair = pairs.get(pair) ?? new WeakMap<Fault, WeakMap<Fault, Fault>>()
  pairs.set(pair, ofPair)
  const ofFirst = ofPair.get(a) ?? new WeakMap<Fault, Fault>()
  ofPair.set(a, ofFirst)
  const made = ofFirst.get(b) ?? { ...pair, text: pairText(a, b), changes: [...a.changes, ...b.changes] }
  ofFirst.set(b, made)
  return made
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
