import type { Channel } from '../bench/index.js'
import { dynamicsOf } from './dynamics.js'
import { fallOf } from './fall.js'
import { parallel_ohm } from './limits.js'
import { pollOf } from './poll.js'
import { proofsOf } from './proofs.js'
import { between, deviation, mean, type Sample, type Seen, spanOf } from './seen.js'
import type { ChannelFigures, Figure, Level, Order } from './types.js'

/** Everything a run's record tells about the channel. What the run did not come to is null. */
export function figuresOf(order: Order, channel: Channel, seen: Seen): ChannelFigures {
  const levels = levelsIn(order, channel, seen)
  const fall = fallOf(order, channel, seen)
  return {
    levels,
    ...readBack(order, channel, levels),
    ...finest(channel, seen),
    ...dynamicsOf(channel, seen),
    ...pollOf(seen),
    ...fall,
    proofs: proofsOf(order, seen),
  }
}

/** So much of a plateau is left to settling, s. */
const settled_s = 2

function levelsIn(order: Order, channel: Channel, seen: Seen): Level[] {
  return seen.plan.steps.flatMap((step): Level[] => {
    if (step.do !== 'raise' || !step.stage.startsWith('read-back')) return []
    const span = spanOf(seen, step)
    if (span === null) return []
    const from_s = Math.max(span.from_s, span.to_s - step.hold_s + settled_s)
    const V = between(seen.V, from_s, span.to_s).map(({ value }) => value)
    const A = between(seen.A, from_s, span.to_s).map(({ value }) => value)
    if (V.length < 3 || A.length < 3) return []
    const meter_V = typedAfter(seen, step.index)
    const stands_V = meter_V ?? mean(V)
    return [
      {
        set_V: step.target_V,
        read_V: mean(V),
        noise_V: deviation(V),
        read_A: mean(A),
        noise_A: deviation(A),
        samples: V.length,
        meter_V,
        load_A: loadDraws(order, channel, stands_V, meter_V !== null),
      },
    ]
  })
}

/** A meter stands at the load itself, behind the leads; the supply's own reading at its terminals. */
function loadDraws(order: Order, channel: Channel, V: number, atLoad: boolean): number {
  const lead_ohm = channel.remote_sense ? 0 : channel.lead_ohm
  if (!atLoad) return V / parallel_ohm(order.load.ohm + lead_ohm, channel.bleeder_ohm)
  const through_A = V / order.load.ohm
  return through_A + (channel.bleeder_ohm === null ? 0 : (V + through_A * lead_ohm) / channel.bleeder_ohm)
}

function typedAfter(seen: Seen, index: number): number | null {
  const asked = seen.plan.steps.find((step) => step.index === index + 1)
  if (asked?.ask?.about.startsWith('meter') !== true) return null
  const said = seen.events.filter(({ what, step }) => what === 'answer' && step === index + 1).at(-1)
  const value = said?.data.value
  return typeof value === 'number' ? value : null
}

type ReadBack = Pick<ChannelFigures, 'accuracy_V' | 'accuracy_A' | 'noise_V' | 'noise_A'>

function readBack(order: Order, channel: Channel, levels: readonly Level[]): ReadBack {
  if (levels.length === 0) return { accuracy_V: null, accuracy_A: null, noise_V: null, noise_A: null }
  const n = levels.reduce((sum, level) => sum + level.samples, 0)
  const noise = (unit: 'V' | 'A', of: (level: Level) => number): Figure => {
    const value = Math.max(...levels.map(of))
    return {
      value,
      unit,
      // Of a standard deviation: 1/sqrt(2(n-1)) of itself, textbook statistics; rounding hides what is below a step.
      uncertainty: value / Math.sqrt(2 * Math.max(1, n / levels.length - 1)),
      how: `standard deviation of ${n} readings over ${levels.length} set-points, the largest`,
    }
  }
  return {
    accuracy_V: voltsError(order, channel, levels),
    accuracy_A: ampsError(order, channel, levels),
    noise_V: noise('V', ({ noise_V }) => noise_V),
    noise_A: noise('A', ({ noise_A }) => noise_A),
  }
}

/** Worst of read-back less the meter's reading, what the leads take between the two counted. */
function voltsError(order: Order, channel: Channel, levels: readonly Level[]): Figure | null {
  const { meter } = order
  const read = levels.filter(({ meter_V }) => meter_V !== null)
  if (meter === null || read.length === 0) return null
  const lead_ohm = channel.remote_sense ? 0 : channel.lead_ohm
  const errors = read.map(({ read_V, meter_V, noise_V, samples }) => {
    const shown_V = meter_V ?? 0
    const dropped_V = (shown_V / order.load.ohm) * lead_ohm
    return {
      off: Math.abs(read_V - dropped_V - shown_V),
      room: meter.of_reading * shown_V + meter.plus + 0.5 * dropped_V + noise_V / Math.sqrt(samples),
    }
  })
  const worst = errors.reduce((most, each) => (each.off + each.room > most.off + most.room ? each : most))
  return {
    value: worst.off,
    unit: 'V',
    uncertainty: worst.room,
    how: `read-back less your own meter at ${read.length} set-points, the worst; the uncertainty is mostly your meter's`,
  }
}

/** Worst of read-back less volts over ohms; what may be wrong with the volts counts as what may be wrong with the ohms does. */
function ampsError(order: Order, channel: Channel, levels: readonly Level[]): Figure {
  const errors = levels.map(({ read_A, load_A, read_V, meter_V, noise_A, samples }) => {
    const [volts, by] =
      meter_V !== null && order.meter !== null ? [meter_V, order.meter] : [read_V, channel.accuracy_V]
    return {
      off: Math.abs(read_A - load_A),
      room:
        load_A * order.load.tolerance +
        (by.of_reading * volts + by.plus) / order.load.ohm +
        noise_A / Math.sqrt(samples),
    }
  })
  const worst = errors.reduce((most, each) => (each.off + each.room > most.off + most.room ? each : most))
  const by = levels.some(({ meter_V }) => meter_V !== null) ? "your meter's volts" : 'its own volts'
  return {
    value: worst.off,
    unit: 'A',
    uncertainty: worst.room,
    how: `read-back less ${by} over the load's ohms at ${levels.length} set-points, the worst; the uncertainty is that of the load's ohms and of these volts`,
  }
}

/** Smallest step between two readings: the resolution that is seen, not the one that is printed. */
function finest(channel: Channel, seen: Seen): Pick<ChannelFigures, 'resolution_V' | 'resolution_A'> {
  const of = (samples: readonly Sample[], unit: 'V' | 'A', stated: number): Figure | null => {
    let least = Infinity
    for (let i = 1; i < samples.length; i++) {
      const step = Math.abs((samples[i]?.value ?? 0) - (samples[i - 1]?.value ?? 0))
      if (step > 0.01 * stated && step < least) least = step
    }
    if (!Number.isFinite(least)) return null
    return {
      value: least,
      unit,
      uncertainty: 0.01 * stated,
      how: `smallest difference of two readings in a row, of ${samples.length}`,
    }
  }
  return {
    resolution_V: of(seen.V, 'V', channel.resolution_V),
    resolution_A: of(seen.A, 'A', channel.resolution_A),
  }
}
