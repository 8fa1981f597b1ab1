import type { ModeName, NodeName } from '../equipment/index.js'
import { type HandMeter, mostOff } from './hand-meter.js'
import { type Lab, ohmScale, type Spot, type State, type Who } from './lab.js'
import { scaled, unscaledBy } from './likelihood.js'
import { most_ohm } from './cold.js'
import { voltsBetween } from './place.js'
import type { Reading } from './seen.js'
import type { Model, Signal } from './signals.js'
import type { Fault, Point } from './types.js'

/** Readings that were taken after the run, as signals beside those of the run. */
export interface Probe {
  readonly signals: readonly Signal[]
  /** What could not be reckoned with: no such place in that mode, or volts at a step at which no rail stood. */
  readonly left_out: readonly Reading[]
  value(signal: Signal, who: Who): number | null
  /**
   * What drawn sets read with a fault, on the reading's scale: by how much more than the same sets whole, and how they differ. Null
   * where healthy sets tell it well enough: volts that the fault moves little.
   */
  drawn(signal: Signal, fault: Fault): { readonly moved: number; readonly variance: number } | null
}

/**
 * @param at - where the rails stood when volts were read, unless a reading says
 * @param meter - that they were read with
 */
export function createProbe(
  model: Model,
  at: Point | null,
  readings: readonly Reading[],
  meter: HandMeter,
): Probe {
  const { equipment, lab } = model
  const against = equipment.chassis_node
  const mode = modeOf(model, at)
  const standing = ({ step }: Reading): Point | null =>
    step === undefined ? at : (model.stood.find((each) => each.step.index === step)?.point ?? null)
  const usable = readings.filter(
    (each) => lab.ends(mode, each.place) !== null && (each.unit === 'Ω' || standing(each) !== null),
  )
  const points = new Map<Signal, Point | null>()
  const signals = usable.map((each): Signal => {
    const { place, unit, value } = each
    const ohms = unit === 'Ω'
    const measured = ohms ? Math.min(most_ohm, value) : value
    const error = errorOf(unit, measured, each.off ?? mostOff(unit, measured, meter))
    const made: Signal = {
      ...{
        what: !lab.places(mode).has(place)
          ? `${ohms ? 'ohms' : 'volts'} from ${place}`
          : ohms
            ? `ohms from ${place} to ${against}`
            : `volts at ${place}`,
        unit,
        scale: scaleOf(unit),
      },
      ...{ measured, error: error * error, at: -1, of: { node: place, against } },
    }
    points.set(made, standing(each))
    return made
  })
  return {
    signals,
    left_out: readings.filter((each) => !usable.includes(each)),
    drawn(signal, fault) {
      const { of, unit } = signal
      if (!('node' in of)) return null
      if (unit === 'Ω') {
        const { mean, variance } = lab.ohmDrawn(mode, of.node, fault)
        return { moved: mean - lab.ohmDrawn(mode, of.node, null).mean, variance }
      }
      const point = points.get(signal) ?? null
      return point === null
        ? null
        : voltsDrawn(lab, lab.at(point, { place: of.node, ohm: meter.ohm }), of.node, fault)
    },
    value(signal, who) {
      const { of, unit } = signal
      const point = points.get(signal) ?? null
      if (!('node' in of)) return 0
      if (unit === 'Ω' || point === null) return ohmsAt(lab, mode, of.node, who)
      const state = lab.at(point, { place: of.node, ohm: meter.ohm }).state(who)
      const ends = lab.ends(mode, of.node)
      return state === null || ends === null ? null : voltsBetween(state, ends)
    },
  }
}

/** A fault that moves volts by less, on their scale, leaves them about as sure as those of a whole set are. */
const little = 0.3

/** Volts at a place with a fault over drawn sets, against the same sets whole, on the scale of readings; null where it moves them little. */
export function voltsDrawn(
  lab: Lab,
  spot: Spot,
  place: string,
  fault: Fault,
): { readonly moved: number; readonly variance: number } | null {
  const ends = lab.ends(spot.point.mode, place)
  const [with_it, without] = [spot.state({ fault }), spot.state(null)]
  if (ends === null || with_it === null || without === null) return null
  const read = (state: State): number => scaled(voltsBetween(state, ends), scaleOf('V'))
  if (Math.abs(read(with_it) - read(without)) < little) return null
  const sets = spot.drawnWith(fault).map(({ faulty, whole }) => ({ y: read(faulty), whole: read(whole) }))
  if (sets.length < 2) return null
  const mean = sets.reduce((sum, { y }) => sum + y, 0) / sets.length
  return {
    moved: mean - sets.reduce((sum, { whole }) => sum + whole, 0) / sets.length,
    variance: sets.reduce((sum, { y }) => sum + (y - mean) * (y - mean), 0) / (sets.length - 1),
  }
}

/** Ohms as they are told: the middle of drawn sets, since an open path leaves what leaks. */
export function ohmsAt(lab: Lab, mode: ModeName, place: NodeName, who: Who): number {
  return who !== null && 'drawn' in who
    ? lab.ohm(mode, place, who)
    : unscaledBy(lab.ohmDrawn(mode, place, who?.fault ?? null).mean, ohmScale)
}

/** Below these, values of a reading count as nothing. */
export const scaleOf = (unit: Reading['unit']): number => (unit === 'Ω' ? ohmScale : 0.3)

/** What a reading may be wrong by, on the scale: as likely anywhere up to the most that it may be off, so 0.6 of that. */
export function errorOf(unit: Reading['unit'], value: number, off: number): number {
  const scale = scaleOf(unit)
  return (0.6 * off) / Math.sqrt(value * value + scale * scale)
}

/** In which mode the controls stand for a reading: where volts are read, else as at the end of the run. */
export function modeOf({ points, equipment }: Model, at: Point | null): ModeName {
  return at?.mode ?? points.at(-1)?.step.mode ?? Object.keys(equipment.modes)[0] ?? ''
}

/**
 * Where volts are read afterwards: the highest step at which the rails stood, that did not trip, and at
 * which no cause that is left puts a part above its rating. Null where there is none: then only cold readings are taken.
 */
export function standingFor(
  { lab, stood, points }: Model,
  tripped: number | null,
  left: readonly Fault[],
): Model['stood'][number] | null {
  const sum = ({ point }: Model['stood'][number]): number =>
    Object.values(point.volts).reduce((total, V) => total + V, 0)
  // The mode in which the run ended first; of those as high as one another the last.
  const mode = points.at(-1)?.step.mode
  const isLast = ({ point }: Model['stood'][number]): number => Number(point.mode === mode)
  const highest = [...stood].reverse().sort((a, b) => isLast(b) - isLast(a) || sum(b) - sum(a))
  const tried = new Set<string>()
  for (const each of highest) {
    const { step, point } = each
    const key = `${point.mode} ${JSON.stringify(point.volts)}`
    if (step.index === tripped || tried.has(key)) continue
    tried.add(key)
    const spot = lab.at(point)
    if (!left.some((fault) => spot.burns(fault))) return each
  }
  return null
}
