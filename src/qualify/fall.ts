import type { Channel } from '../bench/index.js'
import { parallel_ohm } from './limits.js'
import { between, deviation, mean, quantileOf, type Sample, type Seen, spanOf, toldAt } from './seen.js'
import type { ChannelFigures, Figure, Order } from './types.js'

type Fall = Pick<ChannelFigures, 'off_s' | 'down_s' | 'output_F' | 'sinks'>

interface Off {
  readonly from_V: number
  /** Slope of ln V: time constant, s, and where the line meets the volts before: seconds after the OFF. */
  readonly fit: { readonly tau_s: number; readonly off_s: number; readonly rough_s: number } | null
  /** Time constant no longer than this, s. */
  readonly tau_most_s: number
  /** Still up this long after OFF, and down by then. */
  readonly up_s: number
  readonly fallen_s: number
  readonly down_s: number | null
}

/**
 * OFF through a known resistor: volts fall as V0 exp(-(t - t0) / RC). The slope tells the output capacitor, the place where the
 * line meets V0 tells when the supply stopped driving.
 */
export function fallOf(order: Order, channel: Channel, seen: Seen): Fall {
  const ohm = parallel_ohm(
    order.load.ohm + (channel.remote_sense ? 0 : channel.lead_ohm),
    channel.bleeder_ohm,
  )
  const falls = seen.plan.steps.flatMap((step): Off[] => {
    if (step.proof?.of !== 'off') return []
    const told_s = toldAt(seen, step, 'off')
    const span = spanOf(seen, step)
    if (told_s === null || span === null) return []
    const before = between(seen.V, told_s - 2, told_s).map(({ value }) => value)
    return before.length < 2 ? [] : [offOf(mean(before), between(seen.V, told_s, span.to_s), told_s, channel)]
  })
  if (falls.length === 0)
    return { off_s: null, down_s: null, output_F: null, sinks: { value: null, how: 'not measured' } }
  const fitted = falls.flatMap(({ fit }) => (fit === null ? [] : [fit]))
  const downs = falls.flatMap(({ down_s }) => (down_s === null ? [] : [down_s]))
  const output_F = capacitance(order, ohm, falls, fitted)
  return {
    off_s: offTime(falls, fitted),
    down_s:
      downs.length === 0
        ? null
        : {
            value: Math.max(...downs),
            unit: 's',
            uncertainty: Math.max(...falls.map(({ up_s, fallen_s }) => fallen_s - up_s)),
            how: `from OFF to the first reading below 5 V or a tenth, the longest of ${downs.length}, through this load`,
          },
    output_F,
    sinks: sinksIn(seen, fitted.length < 2 ? null : mean(fitted.map(({ tau_s }) => tau_s)), channel),
  }
}

function offOf(from_V: number, after: readonly Sample[], told_s: number, channel: Channel): Off {
  const zero_V = Math.max(2 * channel.accuracy_V.plus, 3 * channel.resolution_V)
  const on = after.filter(({ value }) => value > 0.97 * from_V)
  const falling = after.filter(
    ({ value }) => value <= 0.97 * from_V && value > Math.max(0.03 * from_V, 3 * zero_V),
  )
  const first = after.find(({ value }) => value <= 0.97 * from_V)
  const down = after.find(({ value }) => value <= Math.max(zero_V, Math.min(5, 0.1 * from_V)))
  const up_s = (on.at(-1)?.t_s ?? told_s) - told_s
  const fallen_s = (first?.t_s ?? told_s) - told_s
  const rest_V = Math.max(first?.value ?? 0, zero_V)
  return {
    from_V,
    fit: fit(from_V, falling, told_s, channel.resolution_V),
    tau_most_s: fallen_s / Math.max(Math.log(from_V / rest_V), 1e-3),
    up_s,
    fallen_s,
    down_s: down === undefined ? null : down.t_s - told_s,
  }
}

/** Least squares of ln V over t. */
function fit(from_V: number, points: readonly Sample[], told_s: number, step_V: number): Off['fit'] {
  if (points.length < 2) return null
  const t = points.map(({ t_s }) => t_s - told_s)
  const y = points.map(({ value }) => Math.log(value))
  const [tm, ym] = [mean(t), mean(y)]
  let [xy, xx] = [0, 0]
  for (const [i, at] of t.entries()) {
    xy += (at - tm) * ((y[i] ?? 0) - ym)
    xx += (at - tm) * (at - tm)
  }
  if (xx <= 0 || xy >= 0) return null
  const tau_s = -xx / xy
  const off_s = tm + tau_s * (ym - Math.log(from_V))
  // How far the last digit of the lowest reading turns the line.
  const least = Math.min(...points.map(({ value }) => value))
  const span_s = (t.at(-1) ?? 0) - (t[0] ?? 0)
  return { tau_s, off_s, rough_s: (tau_s * tau_s * (step_V / least)) / Math.max(span_s, 1e-6) }
}

function offTime(falls: readonly Off[], fitted: readonly NonNullable<Off['fit']>[]): Figure {
  if (fitted.length > 0) {
    const times = fitted.map(({ off_s }) => off_s)
    return {
      value: Math.max(0, ...times),
      unit: 's',
      // An orderly OFF waits for the answer under way, which the urgent one does not: at most one gap between readings.
      uncertainty:
        Math.max(deviation(times), ...fitted.map(({ rough_s }) => rough_s)) +
        readingAge_s +
        Math.max(...falls.map(({ fallen_s, up_s }) => fallen_s - up_s)),
      how: `from our OFF to where the fall, drawn back, meets the volts before it; the longest of ${times.length}; an orderly OFF, which waits for the answer under way`,
    }
  }
  const value = Math.max(...falls.map(({ fallen_s }) => fallen_s))
  return {
    value,
    unit: 's',
    uncertainty: Math.max(...falls.map(({ fallen_s, up_s }) => fallen_s - up_s)),
    bound: 'at most',
    how: `from our OFF to the first reading that had fallen, the longest of ${falls.length}: it falls faster than it is read`,
  }
}

/** A reading is told when its reply has come; it was taken up to this much earlier (about a period of the mains: common practice, no source). */
const readingAge_s = 0.02

function capacitance(
  order: Order,
  ohm: number,
  falls: readonly Off[],
  fitted: readonly NonNullable<Off['fit']>[],
): Figure {
  if (fitted.length === 0) {
    return {
      value: Math.min(...falls.map(({ tau_most_s }) => tau_most_s)) / ohm,
      unit: 'F',
      uncertainty: 0,
      bound: 'at most',
      how: 'it discharged through the load before the first reading after OFF; a load of more ohms tells more',
    }
  }
  const taus = fitted.map(({ tau_s }) => tau_s)
  const tau_s = quantileOf(taus, 0.5)
  const spread_s = Math.max(
    deviation(taus),
    quantileOf(
      fitted.map(({ rough_s }) => rough_s),
      0.5,
    ),
  )
  return {
    value: tau_s / ohm,
    unit: 'F',
    uncertainty: (tau_s / ohm) * (order.load.tolerance + (2 * spread_s) / tau_s + 0.01),
    how: `time constant of the fall after OFF over the resistance across the terminals, the median of ${taus.length}`,
  }
}

/** Lowered with the output on: a supply that takes current back falls faster than through the load alone. */
function sinksIn(seen: Seen, tau_s: number | null, channel: Channel): Fall['sinks'] {
  if (tau_s === null)
    return { value: null, how: 'not told apart: the load drains the output faster than it is read' }
  const part: number[] = []
  for (const step of seen.plan.steps) {
    if (step.do !== 'lower') continue
    const told_s = toldAt(seen, step, 'set')
    const span = spanOf(seen, step)
    if (told_s === null || span === null) continue
    const from_V = between(seen.V, told_s - 2, told_s).at(-1)?.value ?? 0
    const on = between(seen.V, told_s, span.to_s).filter(
      ({ value }) => value < 0.9 * from_V && value > Math.max(1.5 * step.target_V, 5 * channel.resolution_V),
    )
    // Where the load alone would be by then.
    for (const { t_s, value } of on) part.push(Math.log(from_V / value) / ((t_s - told_s) / tau_s))
  }
  if (part.length === 0)
    return { value: null, how: 'not told apart: no reading fell between the two set-points' }
  const faster = quantileOf(part, 0.5)
  return faster > 2
    ? {
        value: true,
        how: `lowered with the output on it fell ${faster.toFixed(1)} times as fast as the load alone drains it`,
      }
    : {
        value: false,
        how: `lowered with the output on it fell no faster than the load drains it (${faster.toFixed(1)} times)`,
      }
}
