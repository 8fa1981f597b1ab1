import { choices } from './choices.js'
import { type Earlier, given } from './earlier.js'
import { draws, type Who } from './lab.js'
import { covariance, type Matrix } from './likelihood.js'
import type { Probe } from './probe.js'
import { type Model, shown, type Signal } from './signals.js'
import type { Fault } from './types.js'

/**
 * A fault that moves neither the highest point of a mode nor the lowest by this, in standard deviations, moves none of its others. The
 * highest alone does not tell: behind a gas regulator that has struck what draws less leaves the rail's current as it was.
 */
const still = 0.02
const asked = 2

/** Signals of one run, what healthy sets read of them, and how any state of the set shows in them. */
export interface Scale {
  readonly signals: readonly Signal[]
  readonly healthy: readonly number[]
  readonly centre: readonly number[]
  readonly spread: Matrix
  /** What the drawn healthy sets read, by their number. */
  readonly sets: readonly { readonly drawn: number; readonly row: readonly number[] }[]
  /** On the signals' scales; null where it could not be solved. */
  readonly row: (who: Who) => number[] | null
  /** Standard deviation of a reading with a fault over drawn sets; null where healthy ones tell it. */
  readonly width: (i: number, fault: Fault) => number | null
}

export function createScale(
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
  const drawnAt = (i: number, fault: Fault): ReturnType<Probe['drawn']> => {
    const signal = signals[i]
    return probe === null || signal === undefined || i < model.signals.length
      ? null
      : probe.drawn(signal, fault)
  }
  return {
    ...{ signals, healthy, spread, centre, sets },
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
          row[i] = (healthy[i] ?? 0) + over.moved
          return true
        }
        const one = signal === undefined ? null : value(signal, who, i)
        if (signal === undefined || one === null) return false
        row[i] = shown(one, signal).y
        return true
      }
      for (const points of modes) {
        let moves = false
        for (const [k, point] of points.entries())
          for (const i of at.get(point) ?? []) {
            if (k >= asked && !moves) row[i] = healthy[i] ?? 0
            else if (!put(i)) return null
            else
              moves ||=
                Math.abs((row[i] ?? 0) - (healthy[i] ?? 0)) >
                still * Math.sqrt((spread[i]?.[i] ?? 0) + (signals[i]?.error ?? 0))
          }
      }
      for (const i of row.keys()) if (Number.isNaN(row[i]) && !put(i)) return null
      return row
    },
  }
}

/** Points of each mode, highest first, then the lowest, then the others; each check below 5 V by itself. */
function modesOf({ points }: Model): number[][] {
  const modes = new Map<string, number[]>()
  const sum = (at: number): number =>
    Object.values(points[at]?.spot.point.volts ?? {}).reduce((total, V) => total + V, 0)
  for (const [at, { step, cold }] of points.entries()) {
    const key = cold ? `${at}` : `in ${step.mode}`
    modes.set(key, [...(modes.get(key) ?? []), at])
  }
  return [...modes.values()].map((each) => {
    const [highest, ...others] = each.sort((a, b) => sum(b) - sum(a))
    return highest === undefined ? [] : [highest, ...others.slice(-1), ...others.slice(0, -1)]
  })
}

/** Spread of healthy sets; what few draws say of two signals together is taken a little less than it says. */
function spreadOf(signals: readonly Signal[], cov: Matrix): number[][] {
  return signals.map((signal, i) =>
    signals.map((other, j) => {
      const value = cov[i]?.[j] ?? 0
      if (i === j) return 1.05 * value + (signal.band ?? 0)
      return signal.band !== undefined || other.band !== undefined ? 0 : choices.common * value
    }),
  )
}
