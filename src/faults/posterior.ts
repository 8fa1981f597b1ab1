import type { Who } from './lab.js'
import { draws } from './lab.js'
import { cholesky, covariance, distance, logLikelihood, type Matrix, unscaledBy } from './likelihood.js'
import { type Earlier, given } from './earlier.js'
import type { Probe } from './probe.js'
import { betweenSteps, type Severity, sizeOff } from './severity.js'
import { type Model, shown, type Signal } from './signals.js'
import type { Fault } from './types.js'

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
  /** It explains more as having come in the last step than as having been there all along. */
  readonly late: boolean
  readonly log: number
  /** What it makes of the signals, on their scales: at the library's severity, and at the best. */
  readonly row: readonly number[]
  readonly bestRow: readonly number[]
}

export interface Posterior {
  readonly signals: readonly Signal[]
  readonly healthy: readonly number[]
  readonly causes: readonly Weighed[]
  readonly wholeLog: number
  readonly noneLog: number
  /** How far two rows lie apart, in standard deviations of healthy sets. */
  readonly far: (a: readonly number[], b: readonly number[]) => number
}

/* What is taken before anything is measured: our choice, no source. */
export const prior = {
  ...{ wholeRan: 0.5, wholeTripped: 0.02, none: 0.02, doubles: 0.05, pairs: 60 },
  /** Of the faults that trip a run, those that came in its last step: what breaks down does so at volts. */
  late: 0.3,
} as const
/** And none of the known faults: anything within this many times, on the signals' scale. */
const anything = 1
/** Of volts that a fault moves by their own size, standard deviation of the logarithm (our choice: parts of 10 to 20 %). */
const voltsSpread = 0.12
/** A fault that moves the highest point of a mode by less than this, in standard deviations, moves none of its others. */
const still = 0.02
/** Causes less likely by the run alone than the best by this, as a logarithm, are not looked at again with the readings. */
const given_up = 14

/** How well each fault, nothing, and none of the known explain what a run measured. */
export function weighRun(
  model: Model,
  families: readonly Family[],
  tripped: boolean,
  earlier: Earlier | null,
): Posterior {
  const scale = createScale(model, earlier, model.signals, (signal, who) => model.value(signal, who))
  return posteriorOf(model, scale, families, tripped)
}

/** The same with readings that were taken since. Causes that the run alone gives up are not looked at again. */
export function weighMore(
  alone: Posterior,
  model: Model,
  probe: Probe,
  families: readonly Family[],
  tripped: boolean,
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
    tripped,
  )
}

interface Scale {
  readonly signals: readonly Signal[]
  readonly healthy: readonly number[]
  readonly centre: readonly number[]
  readonly spread: Matrix
  /** On the signals' scales; null where it could not be solved. */
  readonly row: (who: Who) => number[] | null
  /** Standard deviation of a cold reading with a fault over drawn sets; null where healthy ones tell it. */
  readonly width: (i: number, fault: Fault) => number | null
}

function createScale(
  model: Model,
  earlier: Earlier | null,
  signals: readonly Signal[],
  value: (signal: Signal, who: Who, i: number) => number | null,
  probe: Probe | null = null,
): Scale {
  const plainRow = (who: Who): number[] | null => {
    const row: number[] = []
    for (const [i, signal] of signals.entries()) {
      const one = value(signal, who, i)
      if (one === null) return null
      row.push(shown(one, signal).y)
    }
    return row
  }
  const healthy = plainRow(null) ?? signals.map(() => 0)
  const sets = Array.from({ length: draws }, (_, drawn) => ({ drawn, row: plainRow({ drawn }) })).filter(
    (each): each is { drawn: number; row: number[] } => each.row !== null,
  )
  const rows = sets.map(({ row }) => row)
  const { mean, cov } =
    earlier === null
      ? covariance(rows)
      : given(
          rows,
          earlier,
          sets.map(({ drawn }) => drawn),
        )
  const spread = spreadOf(signals, cov)
  const modes = modesOf(model)
  const at = new Map<number, number[]>()
  for (const [i, signal] of signals.entries())
    if (signal.at !== null && signal.at >= 0 && i < model.signals.length)
      at.set(signal.at, [...(at.get(signal.at) ?? []), i])
  const centre = mean.length === signals.length ? mean : healthy
  const drawnAt = (i: number, fault: Fault | null): ReturnType<Probe['drawn']> => {
    const signal = signals[i]
    return probe === null || signal === undefined || i < model.signals.length
      ? null
      : probe.drawn(signal, fault)
  }
  return {
    ...{ signals, healthy, spread, centre },
    width: (i, fault) => {
      const found = drawnAt(i, fault)
      return found === null ? null : Math.sqrt(found.variance)
    },
    row(who) {
      const row = new Array<number>(signals.length).fill(Number.NaN)
      const put = (i: number): boolean => {
        const signal = signals[i]
        const over = who !== null && 'fault' in who ? drawnAt(i, who.fault) : null
        if (over !== null) {
          // Against the same sets whole, so that what they happen to be drops out.
          row[i] = (healthy[i] ?? 0) + over.mean - (drawnAt(i, null)?.mean ?? 0)
          return true
        }
        const one = signal === undefined ? null : value(signal, who, i)
        if (signal === undefined || one === null) return false
        row[i] = shown(one, signal).y
        return true
      }
      for (const points of modes) {
        let moves = true
        for (const [k, point] of points.entries())
          for (const i of at.get(point) ?? []) {
            if (!moves) row[i] = healthy[i] ?? 0
            else if (!put(i)) return null
            if (k === 0 && i === at.get(point)?.at(-1)) {
              const here = at.get(point) ?? []
              moves = here.some(
                (j) =>
                  Math.abs((row[j] ?? 0) - (healthy[j] ?? 0)) >
                  still * Math.sqrt((spread[j]?.[j] ?? 0) + (signals[j]?.error ?? 0)),
              )
            }
          }
      }
      for (const i of row.keys()) if (Number.isNaN(row[i]) && !put(i)) return null
      return row
    },
  }
}

/** Points of each mode, highest first; each check below 5 V by itself. */
function modesOf({ points }: Model): number[][] {
  const modes = new Map<string, number[]>()
  const sum = (at: number): number =>
    Object.values(points[at]?.spot.point.volts ?? {}).reduce((total, V) => total + V, 0)
  for (const [at, { step, cold }] of points.entries()) {
    const key = cold ? `${at}` : `in ${step.mode}`
    modes.set(key, [...(modes.get(key) ?? []), at])
  }
  return [...modes.values()].map((each) => each.sort((a, b) => sum(b) - sum(a)))
}

function posteriorOf(
  { points }: Model,
  { signals, healthy, centre, spread, row, width }: Scale,
  families: readonly Family[],
  tripped: boolean,
): Posterior {
  const last = points.length - 1
  const measured = signals.map((signal) => shown(signal.measured, signal).y)
  const parts = signals.map((signal, i) => Math.max(partAt(healthy[i] ?? 0, signal), 0.05))
  // Where healthy sets stand still (a grid at nothing), what a fault makes of volts spreads by its own parts.
  const elsewhere = (of: readonly number[], i: number): number => {
    if (signals[i]?.unit !== 'V') return 0
    const moved = Math.min(1, Math.abs((of[i] ?? 0) - (healthy[i] ?? 0)))
    return voltsSpread * voltsSpread * moved * moved
  }
  const likely = (
    of: readonly number[],
    by: readonly number[],
    fault: Fault | null,
    late = false,
  ): { readonly lower: Matrix; readonly log: number } => {
    const off = measured.map((y, i) => {
      const by = y - ((centre[i] ?? 0) + (of[i] ?? 0) - (healthy[i] ?? 0))
      return isLeast(signals[i], late ? last : null) ? Math.max(0, by) : by
    })
    const ratio = of.map((y, i) => {
      const own = fault === null ? null : width(i, fault)
      if (own !== null) return own / Math.sqrt(Math.max(spread[i]?.[i] ?? 0, 1e-4))
      return partAt(y, signals[i]) / (parts[i] ?? 1)
    })
    const lower = cholesky(
      spread.map((line, i) =>
        line.map(
          (value, j) =>
            value * (ratio[i] ?? 1) * (ratio[j] ?? 1) +
            (by[i] ?? 0) * (by[j] ?? 0) +
            (i === j ? (signals[i]?.error ?? 0) + 1e-4 + elsewhere(of, i) : 0),
        ),
      ),
    )
    return { lower, log: logLikelihood(lower, off) }
  }
  const base = likely(healthy, [], null)
  const hasBefore = points.filter(({ cold }) => !cold).length > 1
  const wholePrior = tripped ? prior.wholeTripped : prior.wholeRan
  const weighed = (
    of: readonly number[],
    by: readonly number[],
    fault: Fault,
  ): Pick<Weighed, 'log' | 'late' | 'bestRow'> => {
    if (of.every((y, i) => y === healthy[i])) return { log: base.log, late: false, bestRow: of }
    const always = likely(of, by, fault).log
    if (!tripped || !hasBefore) return { log: always, late: false, bestRow: of }
    // It may have come at the end only: the steps before were those of a whole set.
    const before = (i: number): boolean => isBefore(signals[i], last)
    const came = of.map((y, i) => (before(i) ? (healthy[i] ?? 0) : y))
    const logs = {
      always: always + Math.log(1 - prior.late),
      late:
        likely(
          came,
          by.map((each, i) => (before(i) ? 0 : each)),
          fault,
          true,
        ).log + Math.log(prior.late),
    }
    const late = logs.late > logs.always
    return { log: logSum(logs.always, logs.late), late, bestRow: late ? came : of }
  }
  const causes = families.flatMap(({ fault, severities, share }): Weighed[] => {
    const own = row({ fault })
    if (own === null) return []
    // What moves nothing at the library's severity moves next to nothing at its neighbours.
    const moves = own.some((y, i) => y !== healthy[i])
    const rows = severities.map((each) => ({
      ...each,
      row: each.fault === fault || !moves ? own : row({ fault: each.fault }),
    }))
    const by = stepsOf(
      own,
      rows.map((each) => each.row),
      healthy,
      sizeOff(fault),
    )
    let sum = -Infinity
    let best: Omit<Weighed, 'fault' | 'row'> = { best: fault, late: false, bestRow: own, log: -Infinity }
    for (const each of rows) {
      if (each.row === null) continue
      const one = weighed(each.row, by, each.fault)
      const log = Math.log(each.part) + one.log
      sum = logSum(sum, log)
      if (log > best.log) best = { ...one, best: each.fault, log }
    }
    const log = Math.log(share * (1 - wholePrior - prior.none)) + sum
    return [{ ...best, fault, log, row: own }]
  })
  const off = measured.map((y, i) => y - (centre[i] ?? 0))
  const wide = spread.map((line, i) => line.map((value, j) => value + (i === j ? anything * anything : 0)))
  return {
    ...{ signals, healthy, causes },
    wholeLog: Math.log(wholePrior) + base.log,
    noneLog: Math.log(prior.none) + logLikelihood(cholesky(wide), off),
    far: (a, b) =>
      Math.sqrt(
        distance(
          base.lower,
          a.map((y, i) => y - (b[i] ?? 0)),
        ),
      ),
  }
}

/** How far each signal may be off a row since a fault's size is not known: half a step to its neighbours, or some of what it changes. */
function stepsOf(
  own: readonly number[],
  [, milder = null, worse = null]: readonly (readonly number[] | null)[],
  healthy: readonly number[],
  off: number,
): number[] {
  if (milder !== null && worse !== null)
    return own.map((_, i) => (betweenSteps * ((worse[i] ?? 0) - (milder[i] ?? 0))) / 2)
  return own.map((y, i) => off * Math.max(-2, Math.min(2, y - (healthy[i] ?? 0))))
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

function logSum(a: number, b: number): number {
  const most = Math.max(a, b)
  return most === -Infinity ? most : most + Math.log(Math.exp(a - most) + Math.exp(b - most))
}

/** Spread of healthy sets; what few draws say of two signals together is taken a little less than it says. */
function spreadOf(signals: readonly Signal[], cov: Matrix): number[][] {
  return signals.map((signal, i) =>
    signals.map((other, j) => {
      const value = cov[i]?.[j] ?? 0
      if (i === j) return 1.05 * value + (signal.band ?? 0)
      return signal.band !== undefined || other.band !== undefined ? 0 : 0.97 * value
    }),
  )
}
