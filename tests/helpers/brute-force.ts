import type { Fault, Seen } from '../../src/faults/index.js'
import { cholesky, covariance, logLikelihood, scaled } from '../../src/faults/likelihood.js'
import type { FaultySet } from './faulty-sets.js'

/** Sets drawn of each fault, and healthy ones. */
const drawn = { faulty: 24, healthy: 120 } as const
/** A seed of its own: none of these sets is a case. */
const seed = 900_001

interface Shape {
  /** Part of the sets whose run ends where this one does. */
  readonly part: number
  readonly mean: readonly number[]
  readonly lower: readonly (readonly number[])[]
}

/**
 * The same question by brute force: of each fault, sets are drawn as the cases are, each run through the plan, and what was
 * read is held against what they read. Nothing is borrowed from healthy sets but where few runs end alike. Gives each fault's
 * share of the probability, `''` for a whole set. `among`: of these alone.
 */
export function bruteForce(
  faults: readonly Fault[],
  draw: (fault: Fault | null, seed: number) => FaultySet,
  prior: { readonly wholeRan: number; readonly wholeTripped: number },
): (seen: Seen, among?: readonly Fault[]) => ReadonlyMap<string, number> {
  const read = new Map<string, readonly Seen[]>()
  const runs = (fault: Fault | null): readonly Seen[] => {
    const name = fault?.fault ?? ''
    const known = read.get(name)
    if (known !== undefined) return known
    const n = fault === null ? drawn.healthy : drawn.faulty
    const made = Array.from({ length: n }, (_, i) => draw(fault, seed + i).seen)
    read.set(name, made)
    return made
  }
  const shapes = new Map<string, Map<string, Shape | null>>()
  const shapeOf = (fault: Fault | null, end: string, wide: number): Shape | null => {
    const own = shapes.get(fault?.fault ?? '') ?? new Map<string, Shape | null>()
    shapes.set(fault?.fault ?? '', own)
    const known = own.get(end)
    if (known !== undefined) return known
    const all = runs(fault)
    const same = all.filter((each) => endOf(each) === end).map(featuresOf)
    const made = same.length === 0 ? null : shaped(same, all.length, wide)
    own.set(end, made)
    return made
  }
  return (seen, among = faults) => {
    const total = among.reduce((sum, { weight }) => sum + weight, 0)
    const end = endOf(seen)
    const y = featuresOf(seen)
    const whole = seen.tripped === null ? prior.wholeRan : prior.wholeTripped
    const logs = new Map<string, number>()
    for (const fault of [null, ...among]) {
      const shape = shapeOf(fault, end, 0.05)
      if (shape === null) continue
      const share = fault === null ? whole : ((1 - whole) * fault.weight) / total
      const off = y.map((each, i) => each - (shape.mean[i] ?? 0))
      logs.set(fault?.fault ?? '', Math.log(share * shape.part) + logLikelihood(shape.lower, off))
    }
    const top = Math.max(...logs.values())
    const sum = [...logs.values()].reduce((all, log) => all + Math.exp(log - top), 0)
    return new Map([...logs].map(([name, log]) => [name, Math.exp(log - top) / sum]))
  }
}

function shaped(rows: readonly (readonly number[])[], of: number, wide: number): Shape {
  const { mean, cov } = covariance(rows)
  // Few rows say little of how signals go together: their own spread counts more then.
  const own = rows.length < 6 ? 0.3 : 0.9
  const least = rows.length < 6 ? 3 * wide : wide
  const spread = cov.map((line, i) => line.map((value, j) => (i === j ? value + least * least : own * value)))
  return { part: rows.length / of, mean, lower: cholesky(spread) }
}

/** Where a run ended: only such that ended alike read the same things. */
function endOf({ tripped, steps, hookups = [] }: Seen): string {
  return `${tripped?.step ?? 'ran'} ${steps.length} ${hookups.length}`
}

/** All that was read, on one scale. */
function featuresOf({ steps, hookups = [], tripped }: Seen): number[] {
  return [
    ...hookups.map(({ amps }) => scaled(amps, 2e-5)),
    ...steps.flatMap(({ rails, meters }, at) => [
      ...Object.values(rails).flatMap(({ volts, amps }) => [
        scaled(amps, 1e-3),
        ...(tripped !== null && at === steps.length - 1 ? [scaled(volts, 1)] : []),
      ]),
      ...Object.values(meters).map((volts) => scaled(volts, 0.5)),
    ]),
  ]
}
