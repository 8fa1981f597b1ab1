import type { Bench } from '../bench/index.js'
import type { Equipment, NodeName } from '../equipment/index.js'
import { benchRails, clippedOn, show, stresses } from '../limits/index.js'
import type { Element } from '../network/index.js'
import { type Bed, createBed, faulted } from './bed.js'
import { shown, type Model, type Signal, type State } from './signals.js'
import type { NextMeasurement, Reading } from './seen.js'
import type { Fault, Point } from './types.js'

/** A cause with what it makes of the set where the run stood. */
export interface Cause {
  readonly fault: Fault
  readonly states: readonly State[]
  readonly probability: number
}

/** An ohmmeter's volts: below what makes a semiconductor diode conduct. */
const ohmmeter_V = 0.2
/** Beyond any meter's range. */
const most_ohm = 5e7
/** A node read by a meter held by hand, when the bench file has none. */
const usualMeter_ohm = 1e7
/** Causes that a next measurement is chosen for, and places that are tried. */
const causesTried = 24
const placesTried = 40
/** What a reading at a node spreads by over healthy sets, where it is only chosen and not judged (our choice). */
const spreadTried = 0.12
/** A cold reading is taken where it parts the causes nearly as well: nothing has to be energised for it. */
const coldEnough = 0.7

const ohmName = (place: string): string => `ohmmeter at ${place}`
const voltName = (place: string): string => `voltmeter at ${place}`

/** The set with meters that can be put on at these places. */
function probed(equipment: Equipment, bench: Bench | null, mode: string, places: readonly NodeName[]): Bed {
  const b = equipment.chassis_node
  const extra = places.flatMap((place): Element[] => [
    { kind: 'supply', name: ohmName(place), a: place, b, V: 0, limit_A: 1e3, ohm: 1e-3 },
    { kind: 'meter', name: voltName(place), a: place, b, ohm: Infinity },
  ])
  const rails = bench === null ? {} : benchRails(equipment, bench)
  return createBed(equipment, mode, rails, bench === null ? [] : clippedOn(equipment, bench), extra)
}

/** Ohms from a place to chassis, set off, tubes cold. */
function ohmAt(bed: Bed, place: string, changed: readonly Element[]): number {
  const point: Point = { mode: bed.mode, volts: { [ohmName(place)]: ohmmeter_V }, hot: false }
  const { solution } = bed.solve(point, changed, new Set())
  const A = -(solution.currents[ohmName(place)]?.a ?? 0)
  return Math.min(most_ohm, ohmmeter_V / Math.max(A, 1e-12))
}

/** Readings that were taken after the run, as signals beside those of the run. */
export function createProbe(
  model: Model,
  at: number | null,
  readings: readonly Reading[],
): {
  readonly signals: readonly Signal[]
  value(
    signal: Signal,
    states: readonly State[],
    fault: Fault | null,
    own?: ReadonlyMap<string, Element>,
  ): number
} {
  const { equipment } = model
  const against = equipment.chassis_node
  const known = new Set(model.points.flatMap(({ bed }) => [...nodesIn(bed)]))
  const usable = readings.filter(({ place, unit }) => known.has(place) && (unit === 'Ω' || at !== null))
  const signals = usable.map(({ place, unit, value }): Signal => {
    const ohms = unit === 'Ω'
    // Of a meter held by hand: 1 % and its last digit (common practice, no source).
    const error = ohms ? 0.02 : 0.01 + 0.05 / Math.max(Math.abs(value), 0.5)
    return {
      ...{
        what: ohms ? `ohms from ${place} to ${against}` : `volts at ${place}`,
        unit,
        scale: ohms ? 0.5 : 0.3,
      },
      measured: ohms ? Math.min(most_ohm, value) : value,
      ...{ error: error * error, at: ohms ? -1 : at, of: { node: place, against } },
    }
  })
  const mode = model.points.at(-1)?.point.mode ?? Object.keys(equipment.modes)[0] ?? ''
  const cold = usable.some(({ unit }) => unit === 'Ω')
    ? probed(
        equipment,
        null,
        mode,
        usable.filter(({ unit }) => unit === 'Ω').map(({ place }) => place),
      )
    : null
  return {
    signals,
    value(signal, states, fault, own) {
      if (!('node' in signal.of)) return 0
      if (signal.at !== null && signal.at >= 0) return states[signal.at]?.volts[signal.of.node] ?? 0
      if (cold === null) return 0
      const changed = new Map(own)
      if (fault !== null)
        for (const element of faulted(cold, fault, own ?? cold.elements)) changed.set(element.name, element)
      return ohmAt(
        cold,
        signal.of.node,
        [...changed.values()].filter(({ name }) => cold.elements.has(name)),
      )
    },
  }
}

function nodesIn(bed: Bed): Set<string> {
  const nodes = new Set<string>()
  for (const element of bed.network.elements)
    for (const end of ['a', 'b', 'plate', 'screen', 'grid', 'cathode'] as const) {
      const node = (element as Partial<Record<typeof end, string>>)[end]
      if (node !== undefined && !node.includes(':')) nodes.add(node)
    }
  return nodes
}

interface ToMeasure {
  readonly model: Model
  readonly bench: Bench
  /** Point at which volts are read. */
  readonly at: number | null
  readonly causes: readonly Cause[]
  /** Probability of a whole set. */
  readonly whole: number
  readonly taken: readonly Reading[]
}

/**
 * Where one more reading parts the causes that are left best: cold resistances first, else volts by the safe sequence. Null
 * where one cause is left, or where no reading parts them.
 */
export function nextMeasurement({
  model,
  bench,
  at,
  causes,
  whole,
  taken,
}: ToMeasure): NextMeasurement | null {
  const { equipment } = model
  const likely = causes.filter(({ probability }) => probability > 0.002).slice(0, causesTried)
  if (likely.length === 0) return null
  const stand = [...likely.map(({ probability }) => probability), whole]
  const done = new Set(taken.map(({ place, unit }) => `${unit} ${place}`))
  const mode = model.points.at(-1)?.point.mode ?? ''
  const lastBed = model.points.at(-1)?.bed
  if (lastBed === undefined) return null
  const places = placesFor(model, lastBed, likely)
  const bed = probed(equipment, bench, mode, places)
  const ohms = places
    .filter((place) => !done.has(`Ω ${place}`))
    .map((place) => {
      const values = [
        ...likely.map(({ fault }) => ohmAt(bed, place, faulted(bed, fault))),
        ohmAt(bed, place, []),
      ]
      return { place, values, gain: partedBy(values, stand, 0.5) }
    })
  const volts =
    at === null || !mayStand(model, at, likely)
      ? []
      : places
          .filter((place) => !done.has(`V ${place}`))
          .map((place) => {
            const values = [
              ...likely.map(({ states }) => states[at]?.volts[place] ?? 0),
              model.nominal[at]?.volts[place] ?? 0,
            ]
            return { place, values, gain: partedBy(values, stand, 0.3) }
          })
  const best = (all: typeof ohms): (typeof ohms)[number] | undefined =>
    all.reduce<(typeof ohms)[number] | undefined>(
      (most, each) => (most === undefined || each.gain > most.gain ? each : most),
      undefined,
    )
  const cold = best(ohms)
  const hot = best(volts)
  const takesCold = cold !== undefined && cold.gain >= coldEnough * (hot?.gain ?? 0)
  const chosen = takesCold ? cold : hot
  if (chosen === undefined || chosen.gain < 1e-3) return null
  const where =
    equipment.test_points[chosen.place] === undefined
      ? chosen.place
      : `${chosen.place} (${equipment.test_points[chosen.place] ?? ''})`
  const { left, of } = leftBy(chosen.values, stand, takesCold ? 0.5 : 0.3)
  const meter = Object.entries(bench.meters).find(
    ([, { line, on, measures }]) => line === null && on === null && measures === 'V',
  )
  const named = { name: meter?.[0] ?? 'a meter of 10 MΩ', ohm: meter?.[1].ohm ?? usualMeter_ohm }
  const point = at === null ? undefined : model.points[at]?.point
  const values =
    takesCold || point === undefined
      ? chosen.values
      : [...likely.map(({ fault }) => fault), null].map((fault) =>
          loaded(bed, point, chosen.place, named.ohm, fault),
        )
  const unit = takesCold ? 'Ω' : 'V'
  const predicts = [...likely.map(({ fault }) => fault.fault), 'nothing wrong'].map(
    (fault, i) => ({ fault, value: values[i] ?? 0, unit }) as const,
  )
  return {
    measure: takesCold ? 'ohms' : 'volts',
    place: chosen.place,
    where,
    how: takesCold ? coldWords(equipment, where) : hotWords(equipment, where, named.name, point),
    why: `It parts the causes best: from ${of.toFixed(1)} that weigh now to ${left.toFixed(1)} on average.`,
    meter: takesCold ? null : named,
    predicts,
    leaves: left,
    of,
  }
}

/** Whether the set may stand at a point for a reading: no cause that is left puts a part above its rating that is below it in the whole set. */
function mayStand({ equipment, points }: Model, at: number, likely: readonly Cause[]): boolean {
  const there = points[at]
  if (there === undefined) return false
  const { point, bed } = there
  const above = (fault: Fault | null): string[] => {
    const changed = fault === null ? [] : faulted(bed, fault)
    const now = new Map(changed.map((element) => [element.name, element]))
    const elements = bed.network.elements.map((element) => now.get(element.name) ?? element)
    // What has failed has nothing more to lose, a tube excepted.
    const lost = fault !== null && equipment.tubes[fault.part] === undefined ? fault.part : null
    return stresses(equipment, elements, bed.solve(point, changed, new Set()).solution, 1)
      .filter(({ part }) => part !== lost)
      .map(({ what }) => what)
  }
  const whole = new Set(above(null))
  return likely.every(({ fault }) => above(fault).every((what) => whole.has(what)))
}

/** What a cause makes a meter show, the meter's own resistance with it. */
function loaded(bed: Bed, point: Point, place: NodeName, ohm: number, fault: Fault | null): number {
  const meter: Element = {
    kind: 'meter',
    name: voltName(place),
    a: place,
    b: bed.equipment.chassis_node,
    ohm,
  }
  const { solution } = bed.solve(point, [...(fault === null ? [] : faulted(bed, fault)), meter], new Set())
  return solution.volts[place] ?? 0
}

function coldWords(equipment: Equipment, where: string): string {
  return `Set off, all leads of the supplies off, every capacitor's charge measured away first; tubes cold and in their sockets; mode controls as in the run. Ohmmeter from ${where} to ${equipment.chassis_node}, until the reading stands still.`
}

/** The safe sequence: nobody holds anything while it is energised. */
function hotWords(equipment: Equipment, where: string, meter: string, point: Point | undefined): string {
  const at = Object.entries(point?.volts ?? {})
    .map(([rail, V]) => `${rail} ${show(V, 'V')}`)
    .join(', ')
  return `HT off and watched down; measure that it is dead at ${where}; clip ${meter} between ${where} and ${equipment.chassis_node}; hands clear; slowglow run of the same profile, with its cautions and limits, brings it to ${at} and is held there; read without touching; HT off and watched down again before the clip comes off.`
}

/** Nodes at the parts of the likely causes, and the set's test points. */
function placesFor(model: Model, bed: Bed, likely: readonly Cause[]): NodeName[] {
  const { equipment } = model
  const places = new Set<NodeName>()
  for (const { fault } of likely)
    for (const element of bed.network.elements)
      if (
        element.name === fault.part ||
        element.name.startsWith(`${fault.part}.`) ||
        element.name.startsWith(`${fault.part} `)
      )
        for (const node of nodesIn({ ...bed, network: { ...bed.network, elements: [element] } }))
          places.add(node)
  for (const node of Object.keys(equipment.test_points)) places.add(node)
  const known = nodesIn(bed)
  return [...places]
    .filter((node) => node !== equipment.chassis_node && known.has(node))
    .slice(0, placesTried)
}

/** How likely two causes would be taken for one another by a reading (overlap of two bells of the same width), 0 to 1. */
function overlap(a: number, b: number, scale: number): number {
  const from = { what: '', unit: 'V', measured: 0, scale, error: 0, at: null, of: { rail: '' } } as const
  const off = (shown(a, from).y - shown(b, from).y) / spreadTried
  return Math.exp(-(off * off) / 8)
}

function partedBy(values: readonly number[], stand: readonly number[], scale: number): number {
  let gain = 0
  for (const [i, a] of values.entries())
    for (let j = 0; j < i; j++)
      gain += (stand[i] ?? 0) * (stand[j] ?? 0) * (1 - overlap(a, values[j] ?? 0, scale))
  return gain
}

/** Causes left on average, each counted by its weight: the inverse of the sum of squares, before and after. */
function leftBy(
  values: readonly number[],
  stand: readonly number[],
  scale: number,
): { readonly left: number; readonly of: number } {
  const total = stand.reduce((sum, p) => sum + p, 0)
  const part = stand.map((p) => p / Math.max(total, 1e-12))
  const of = 1 / part.reduce((sum, p) => sum + p * p, 0)
  let left = 0
  for (const [i, a] of values.entries()) {
    const after = values.map((b, j) => (part[j] ?? 0) * overlap(a, b, scale))
    const all = after.reduce((sum, p) => sum + p, 0)
    left +=
      (part[i] ?? 0) /
      Math.max(
        after.reduce((sum, p) => sum + (p / all) * (p / all), 0),
        1e-12,
      )
  }
  return { left, of }
}
