import { choices } from './choices.js'
import type { Earlier } from './earlier.js'
import { cholesky, distance, logLikelihood, logSum, type Matrix, unscaledBy } from './likelihood.js'
import type { Probe } from './probe.js'
import { createScale, type Scale } from './scale.js'
import { pairOf, type Severity, sizeOff } from './severity.js'
import { type Model, shown, type Signal } from './signals.js'
import type { Fault } from './types.js'
import { logOfUnknown, logOfUnknownSince } from './unknown.js'

/** A fault with its neighbours in severity, and its part of all faults before anything is measured. */
export interface Family {
  readonly fault: Fault
  readonly severities: readonly Severity[]
  readonly share: number
}

export interface Weighed {
  readonly fault: Fault
  /** The severity that explains best what was read. */
  readonly best: Fault
  /** Those that explain it nearly as well, that one among them: a tenth as likely, or more. For words alone. */
  readonly sizes: readonly Fault[]
  /** Place of the point at which it came; null where it explains more as having been there all along. */
  readonly from: number | null
  readonly log: number
  /** What was read speaks for it by this much against a whole set, as a logarithm. */
  readonly evidence: number
  /** What it makes of the signals, on their scales: at the library's severity; and at the best, as far as it can be told from others. */
  readonly row: readonly number[]
  readonly bestRow: readonly number[]
  /** Of the signals the one that is furthest off, by how many standard deviations. */
  readonly worst: Worst
}

interface Worst {
  readonly at: number
  readonly by: number
}
const none: Worst = { at: 0, by: 0 }

export interface Posterior {
  readonly signals: readonly Signal[]
  readonly healthy: readonly number[]
  /** What was read, on the signals' scales; middle and spread of healthy sets, and each that was drawn. */
  readonly measured: readonly number[]
  readonly centre: readonly number[]
  readonly spread: Matrix
  readonly sets: Scale['sets']
  readonly causes: readonly Weighed[]
  readonly wholeLog: number
  readonly noneLog: number
  /** How far two rows lie apart, in standard deviations of healthy sets. */
  readonly far: (a: readonly number[], b: readonly number[]) => number
}

/** Causes less likely by the run alone than the best by this, as a logarithm, are not looked at again with the readings. */
const given_up = 14

/** What one severity may explain worse than the one before it, as a logarithm, if those beyond it are still to be looked at; and what is no difference. */
const falling = 1
const flat = 0.2
/** A severity this much less likely than the best, as a logarithm, is told beside it. */
const nearly = Math.log(10)

/** Variances that one reading may be off before a fault that came at some step is no longer reckoned with: ten standard deviations. */
const refuted = 100

/** How well each fault, nothing, and none of the known explain what a run measured. */
export function weighRun(model: Model, families: readonly Family[], earlier: Earlier | null): Posterior {
  const scale = createScale(model, earlier, model.signals, (signal, who) => model.value(signal, who))
  return posteriorOf(model, scale, families)
}

/** The same with readings that were taken since. Causes that the run alone gives up are not looked at again. */
export function weighMore(
  alone: Posterior,
  model: Model,
  probe: Probe,
  families: readonly Family[],
  earlier: Earlier | null,
): Posterior {
  const top = Math.max(alone.noneLog, alone.wholeLog, ...alone.causes.map(({ log }) => log))
  const left = new Set(alone.causes.filter(({ log }) => log > top - given_up).map(({ fault }) => fault))
  const own = model.signals.length
  const scale = createScale(
    model,
    earlier,
    [...model.signals, ...probe.signals],
    (signal, who, i) => (i < own ? model.value(signal, who) : probe.value(signal, who)),
    probe,
  )
  return posteriorOf(
    model,
    scale,
    families.filter(({ fault }) => left.has(fault)),
    alone,
  )
}

function posteriorOf(
  model: Model,
  { signals, healthy, centre, spread, sets, row, width }: Scale,
  families: readonly Family[],
  alone: Posterior | null = null,
): Posterior {
  const { tripped } = model
  const last = model.points.length - 1
  const measured = signals.map((signal) => shown(signal.measured, signal).y)
  const parts = signals.map((signal, i) => Math.max(partAt(healthy[i] ?? 0, signal), 0.05))
  // Where healthy sets stand still (a grid at nothing), what a fault makes of volts spreads by its own parts.
  const elsewhere = (of: readonly number[], i: number): number => {
    if (signals[i]?.unit !== 'V') return 0
    const moved = Math.min(1, Math.abs((of[i] ?? 0) - (healthy[i] ?? 0)))
    return choices.voltsSpread * choices.voltsSpread * moved * moved
  }
  const likely = (
    of: readonly number[],
    by: readonly number[],
    fault: Fault | null,
    from: number | null,
  ): { readonly lower: Matrix; readonly log: number; readonly worst: Worst } | null => {
    const widths = of.map((_, i) => (fault === null ? null : width(i, fault)))
    const ratio = of.map((y, i) => {
      const own = widths[i] ?? null
      const usual = partAt(y, signals[i]) / (parts[i] ?? 1)
      if (own === null) return usual
      const wide = own / Math.sqrt(Math.max(spread[i]?.[i] ?? 0, 1e-4))
      // What volts spread by beyond what healthy ones do is the fault's own: it says nothing of other readings.
      return signals[i]?.unit === 'V' ? Math.min(wide, usual) : wide
    })
    // What carries little of how healthy sets differ (a dead short) carries as little of where their middle lies.
    const above = of.map(
      (y, i) => y + Math.min(1, ratio[i] ?? 1) * ((centre[i] ?? 0) - (healthy[i] ?? 0)) - (measured[i] ?? 0),
    )
    const least = (i: number): boolean => (above[i] ?? 0) > 0 && isLeast(signals[i], tripOf(from))
    const off = above.map((y, i) => (least(i) ? 0 : -y))
    const variance = spread.map((line, i) => {
      const own = widths[i] ?? null
      const size = by[i] ?? 0
      // Healthy sets may not spread at all where this one does: the ohms of a winding that is open in it.
      const common = own === null ? (line[i] ?? 0) * (ratio[i] ?? 1) * (ratio[i] ?? 1) : own * own
      return common + size * size + (signals[i]?.error ?? 0) + 1e-4 + elsewhere(of, i)
    })
    // Much the most of what might have come at some step is refuted by one reading alone.
    if (from !== null && off.some((y, i) => y * y > refuted * (variance[i] ?? 1))) return null
    // The half that is read, written out: this is done for every fault and every step at which it may have come.
    const together = spread.map((line, i) => {
      const row: number[] = []
      for (let j = 0; j < i; j++)
        row.push((line[j] ?? 0) * (ratio[i] ?? 1) * (ratio[j] ?? 1) + (by[i] ?? 0) * (by[j] ?? 0))
      row.push(variance[i] ?? 1)
      return row
    })
    const lower = cholesky(together)
    // One that lies anywhere below what the cause draws speaks less for it than one that is met.
    const anywhere = above.reduce(
      (sum, y, i) =>
        least(i)
          ? sum + Math.log(1 + Math.min(y, choices.onItsWay) / Math.sqrt(2 * Math.PI * (variance[i] ?? 1)))
          : sum,
      0,
    )
    const worst = off.reduce<Worst>((most, y, i) => {
      const sds = Math.abs(y) / Math.sqrt(variance[i] ?? 1)
      return sds > most.by ? { at: i, by: sds } : most
    }, none)
    const beyond = Math.max(0, worst.by * worst.by - choices.tailsEnd * choices.tailsEnd) / 2
    return { lower, log: logLikelihood(lower, off) - anywhere - beyond, worst }
  }
  /** Where the run was stopped by what came there. */
  const tripOf = (from: number | null): number | null => (tripped && from === last ? last : null)
  const told = (of: readonly number[], from: number | null): readonly number[] =>
    of.map((y, i) =>
      isLeast(signals[i], tripOf(from)) && !heldUp(model, signals[i]) ? Math.min(y, measured[i] ?? y) : y,
    )
  const base = likely(healthy, [], null, null) ?? { lower: [], log: -Infinity, worst: none }
  const wholePrior = tripped ? choices.wholeTripped : choices.wholeRan
  const onsets = onsetsOf(model)
  const weighed = (
    of: readonly number[],
    by: readonly number[],
    fault: Fault,
  ): Pick<Weighed, 'log' | 'from' | 'bestRow' | 'worst'> => {
    if (of.every((y, i) => y === healthy[i]))
      return { log: base.log, from: null, bestRow: of, worst: base.worst }
    let sum = -Infinity
    let best = { log: -Infinity, from: null as number | null, bestRow: of, worst: none }
    for (const { from, part } of onsets) {
      // Before it came, the steps were those of a whole set.
      const before = (i: number): boolean => from !== null && isBefore(signals[i], from)
      const came = of.map((y, i) => (before(i) ? (healthy[i] ?? 0) : y))
      const size = by.map((each, i) => (before(i) ? 0 : each))
      const made = likely(came, size, fault, from)
      const log = (made?.log ?? -Infinity) + Math.log(part)
      sum = logSum(sum, log)
      if (log > best.log) best = { log, from, bestRow: told(came, from), worst: made?.worst ?? none }
    }
    return { ...best, log: sum }
  }
  /** Single faults that have been weighed, by name: pairs come after them. */
  const alike = new Map<string, Weighed>()
  const causes = families.flatMap(({ fault, severities: listed, share }): Weighed[] => {
    const own = row({ fault })
    if (own === null) return []
    const severities = fault.with === undefined ? listed : sizesOfPair(fault, alike)
    let sum = -Infinity
    const looked: { readonly of: Fault; readonly log: number }[] = []
    let best: Omit<Weighed, 'fault' | 'row' | 'evidence' | 'sizes'> = {
      best: fault,
      from: null,
      bestRow: own,
      log: -Infinity,
      worst: none,
    }
    const take = (of: Fault, part: number, one: ReturnType<typeof weighed>): void => {
      const log = Math.log(part) + one.log
      sum = logSum(sum, log)
      looked.push({ of, log })
      if (log > best.log) best = { ...one, best: of, log }
    }
    const at = severities.findIndex((each) => each.fault === fault)
    const rowAt = (k: number): number[] | null => {
      const each = severities[k]
      return each === undefined ? null : row({ fault: each.fault })
    }
    // What moves nothing at the library's severity moves next to nothing at its neighbours.
    const moves = severities.length > 1 && own.some((y, i) => y !== healthy[i])
    const [milder, worse] = moves ? [rowAt(at - 1), rowAt(at + 1)] : [null, null]
    const first = weighed(own, stepsAt(own, milder, worse, healthy, sizeOff(fault)), fault)
    take(fault, moves ? (severities[at]?.part ?? 1) : 1, first)
    // From the library's own severity outwards, as far as it explains no less than the one before.
    for (const by of moves ? [-1, 1] : []) {
      let before = { row: own, log: first.log }
      for (let k = at + by; k >= 0 && k < severities.length; k += by) {
        const each = severities[k]
        const here = k === at - 1 ? milder : k === at + 1 ? worse : rowAt(k)
        if (each === undefined || here === null) break
        const one = weighed(here, stepsAt(here, before.row, null, healthy, 0), each.fault)
        const isEnd = by < 0 && Math.abs(one.log - before.log) < flat
        const left = isEnd ? severities.slice(0, k + 1) : [each]
        take(
          each.fault,
          left.reduce((total, { part }) => total + part, 0),
          one,
        )
        // Milder still, and it is as good as not there.
        if (isEnd || one.log < before.log - falling) break
        before = { row: here, log: one.log }
      }
    }
    const log = Math.log(share * (1 - wholePrior - choices.none)) + sum
    const sizes = looked.flatMap((each) => (each.log > best.log - nearly ? [each.of] : []))
    const made = { ...best, sizes, fault, log, evidence: sum - base.log, row: own }
    if (fault.with === undefined) alike.set(fault.fault, made)
    return [made]
  })
  const off = measured.map((y, i) => y - (centre[i] ?? 0))
  const unknown = (): number =>
    logOfUnknown(
      causes.map(({ row: of, fault }) => ({
        moved: of.map((y, i) => y - (healthy[i] ?? 0)),
        weight: fault.weight,
      })),
      { spread, errors: signals.map(({ error }) => error + 1e-4), off },
      onsets.map(({ from, part }) => ({ part, moves: (i) => from === null || !isBefore(signals[i], from) })),
    )
  const own = model.signals.length
  const noneLog =
    alone === null
      ? Math.log(choices.none) + unknown()
      : logOfUnknownSince(
          alone.noneLog,
          own,
          signals.slice(own).map(({ error }, k) => ({
            off: off[own + k] ?? 0,
            variance: (spread[own + k]?.[own + k] ?? 0) + error + 1e-4,
          })),
        )
  return {
    ...{ signals, healthy, measured, centre, spread, sets, causes },
    wholeLog: Math.log(wholePrior) + base.log,
    noneLog,
    far: (a, b) =>
      Math.sqrt(
        distance(
          base.lower,
          a.map((y, i) => y - (b[i] ?? 0)),
        ),
      ),
  }
}

/** A pair as the library has it, and with each half of the size that explains best what was read were it alone. */
function sizesOfPair(pair: Fault, alike: ReadonlyMap<string, Weighed>): Severity[] {
  const [first = '', second = ''] = pair.fault.split(' + ')
  const a = alike.get(first)
  const b = alike.get(second)
  if (a === undefined || b === undefined || (a.best === a.fault && b.best === b.fault))
    return [{ fault: pair, part: 1 }]
  return [
    { fault: pair, part: 0.5 },
    { fault: pairOf(pair, a.best, b.best), part: 0.5 },
  ]
}

/** A rail that has fallen to some part of its volts stands there with its supply at the limit: volts and current tell the path. */
function heldUp({ points }: Model, signal: Signal | undefined): boolean {
  if (signal === undefined || signal.least === true || signal.at === null || !('rail' in signal.of))
    return false
  const { rail } = signal.of
  const mode = points[signal.at]?.spot.point.mode
  const volts = points.map(({ spot: { point } }) => (point.mode === mode ? (point.volts[rail] ?? 0) : 0))
  return (volts[signal.at] ?? 0) < fallen * Math.max(...volts.slice(0, signal.at))
}
/** Part of the volts that it stood at before. */
const fallen = 0.8

/** When a fault may have come: before the run (null), in the step that it tripped in, or at any other point under volts. */
function onsetsOf({ points, tripped }: Model): { readonly from: number | null; readonly part: number }[] {
  const last = points.length - 1
  const hot = points.flatMap(({ cold }, at) => (cold || at === 0 ? [] : [at]))
  const stopped = tripped && hot.includes(last) ? last : null
  const others = hot.filter((at) => at !== stopped)
  const made = [
    ...(stopped === null ? [] : [{ from: stopped, part: choices.cameLast }]),
    ...others.map((from) => ({ from, part: choices.cameBefore / others.length })),
  ]
  return [{ from: null, part: 1 - made.reduce((sum, { part }) => sum + part, 0) }, ...made]
}

/**
 * How far each signal may be off a row since its fault's size is not known: half a step to its neighbours in size, or some of what
 * it changes.
 */
function stepsAt(
  row: readonly number[],
  from: readonly number[] | null,
  to: readonly number[] | null,
  healthy: readonly number[],
  off: number,
): number[] {
  if (from === null && to === null)
    return row.map((y, i) => off * Math.max(-2, Math.min(2, y - (healthy[i] ?? 0))))
  const steps = from === null || to === null ? 1 : 2
  return row.map(
    (y, i) =>
      (choices.betweenSteps * ((to === null ? y : (to[i] ?? 0)) - (from === null ? y : (from[i] ?? 0)))) /
      steps,
  )
}

/** How much of the spread of healthy sets a scaled value carries. */
function partAt(y: number, signal: Signal | undefined): number {
  return signal === undefined ? 1 : shown(unscaled(y, signal), signal).part
}

export function unscaled(y: number, { scale }: Pick<Signal, 'scale'>): number {
  return unscaledBy(y, scale)
}

/**
 * A current that is the least a cause must account for: where the rail's volts had fallen, and in the step `last` where a fault came:
 * the run was stopped at the first reading of a current still on its way up.
 */
export const isLeast = (signal: Signal | undefined, last: number | null): boolean =>
  signal?.least === true ||
  (last !== null && signal !== undefined && signal.unit === 'A' && signal.at === last && 'rail' in signal.of)

export const isBefore = (signal: Signal | undefined, last: number): boolean =>
  signal !== undefined && signal.at !== null && signal.at < last && signal.at >= 0
