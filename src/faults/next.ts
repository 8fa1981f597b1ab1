import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, NodeName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import { draws, type Spot } from './lab.js'
import { scaled } from './likelihood.js'
import { errorOf, modeOf, ohmsAt, scaleOf, usualMeter_ohm } from './probe.js'
import type { NextMeasurement, Reading } from './seen.js'
import type { Model } from './signals.js'
import type { Fault, Point } from './types.js'

/** A cause that is left, with its likeliest severity. */
export interface Cause {
  readonly fault: Fault
  readonly probability: number
}

/** Causes that a next measurement is chosen for, and places that are tried. */
const causesTried = 36
const placesTried = 40
/** What a cold reading spreads by over healthy sets (our choice), and the least that volts do. */
const spreadTried = { cold: 0.13, least: 0.05 } as const
/** A cold reading is taken where it parts the causes nearly as well: nothing has to be energised for it. */
const coldEnough = 0.7
/** A reading that tells less than this, in nats, is not worth going to the set for (our choice); one that settles an even pair tells 0.7. */
const worthwhile = 0.02

/** Causes that are not ruled out: what is asked for is to tell them apart. A pair waits until no single fault is as likely. */
function leftOf(causes: readonly Cause[]): Cause[] {
  const single = causes.filter(({ fault }) => fault.with === undefined)
  const sum = (all: readonly Cause[]): number =>
    all.reduce((total, { probability }) => total + probability, 0)
  const mostly = 2 * sum(single) > sum(causes) ? single : causes
  return mostly.filter(({ probability }) => probability > 0.001).slice(0, causesTried)
}

/** Those that count when nothing may burn during a reading: one in a hundred and likelier. */
export function mayBurn(causes: readonly Cause[]): Fault[] {
  return causes.flatMap(({ fault, probability }) => (probability >= 0.01 ? [fault] : []))
}

interface ToMeasure {
  readonly model: Model
  readonly bench: Bench
  /** Where the rails stand when volts are read. */
  readonly at: Point | null
  /** Those that show, likeliest first. */
  readonly causes: readonly Cause[]
  /** Of a whole set, and of all that cannot show. */
  readonly nothing: number
  readonly taken: readonly Reading[]
}

interface Trial {
  readonly place: NodeName
  readonly unit: Reading['unit']
  readonly values: readonly number[]
  readonly spread: number
  readonly gain: number
}

/** The meter that a person holds: the bench file's, else the usual one. */
export function handMeter(bench: Bench): { readonly name: string; readonly ohm: number } {
  const meter = Object.entries(bench.meters).find(
    ([, { line, on, measures }]) => line === null && on === null && measures === 'V',
  )
  return { name: meter?.[0] ?? 'a meter of 10 MΩ', ohm: meter?.[1].ohm ?? usualMeter_ohm }
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
  nothing,
  taken,
}: ToMeasure): NextMeasurement | null {
  const { equipment, lab, points } = model
  const likely = leftOf(causes)
  if (likely.length === 0 || points.length === 0) return null
  const stand = [...likely.map(({ probability }) => probability), nothing]
  const who = [...likely.map(({ fault }) => ({ fault })), null]
  const done = new Set(taken.map(({ place, unit }) => `${unit} ${place}`))
  const mode = modeOf(model, at)
  const places = placesFor(model, mode, likely)
  const trial = (
    place: NodeName,
    unit: Reading['unit'],
    values: readonly (number | null)[],
    spread: number,
  ): Trial[] => {
    if (done.has(`${unit} ${place}`) || values.some((value) => value === null)) return []
    const known = values.map((value) => value ?? 0)
    return [{ place, unit, values: known, spread, gain: toldBy(known, stand, unit, spread) }]
  }
  const ohms = places.flatMap((place) =>
    trial(
      place,
      'Ω',
      who.map((each) => ohmsAt(lab, mode, place, each)),
      spreadTried.cold,
    ),
  )
  const spot = at === null ? null : lab.at(at)
  const volts =
    spot === null || mayBurn(likely).some((fault) => spot.burns(fault))
      ? []
      : places.flatMap((place) =>
          trial(
            place,
            'V',
            who.map((each) => spot.state(each)?.volts[place] ?? null),
            spreadAt(spot, place),
          ),
        )
  const best = (all: readonly Trial[]): Trial | undefined =>
    all.reduce<Trial | undefined>(
      (most, each) => (most === undefined || each.gain > most.gain ? each : most),
      undefined,
    )
  const cold = best(ohms)
  const hot = best(volts)
  const chosen = cold !== undefined && cold.gain >= coldEnough * (hot?.gain ?? 0) ? cold : hot
  if (chosen === undefined || chosen.gain < worthwhile) return null
  const { place, unit } = chosen
  const where =
    equipment.test_points[place] === undefined ? place : `${place} (${equipment.test_points[place] ?? ''})`
  const { left, of } = leftBy(chosen.values, stand, unit, chosen.spread)
  const named = handMeter(bench)
  const values =
    unit === 'Ω' || at === null
      ? chosen.values
      : who.map(
          (each, i) =>
            lab.at(at, { place, ohm: named.ohm }).state(each)?.volts[place] ?? chosen.values[i] ?? 0,
        )
  return {
    measure: unit === 'Ω' ? 'ohms' : 'volts',
    place,
    where,
    how: unit === 'Ω' ? coldWords(equipment, mode, where) : hotWords(equipment, where, named.name, at),
    why: `It parts the causes best: from ${of.toFixed(1)} that weigh now to ${left.toFixed(1)} on average.`,
    meter: unit === 'Ω' ? null : named,
    predicts: [...likely.map(({ fault }) => fault.fault), 'nothing wrong'].map((fault, i) => ({
      fault,
      value: values[i] ?? 0,
      unit,
    })),
    leaves: left,
    of,
  }
}

/** What volts at a node spread by over healthy sets, on their scale. */
function spreadAt(spot: Spot, place: NodeName): number {
  let n = 0
  let sum = 0
  let squares = 0
  for (let i = 0; i < draws; i += 2) {
    const V = spot.state({ drawn: i })?.volts[place]
    if (V === undefined) continue
    const y = scaled(V, scaleOf('V'))
    n++
    sum += y
    squares += y * y
  }
  if (n < 2) return spreadTried.cold
  return Math.sqrt(Math.max(squares / n - (sum / n) * (sum / n), 0) + spreadTried.least * spreadTried.least)
}

function coldWords(equipment: Equipment, mode: ModeName, where: string): string {
  return `Set off, all leads of the supplies off, every capacitor's charge measured away first; tubes cold and in their sockets; controls as in mode ${mode}. Ohmmeter from ${where} to ${equipment.chassis_node}, until the reading stands still.`
}

/** The safe sequence: nobody holds anything while it is energised. */
function hotWords(equipment: Equipment, where: string, meter: string, point: Point | null): string {
  const at = Object.entries(point?.volts ?? {})
    .map(([rail, V]) => `${rail} ${show(V, 'V')}`)
    .join(', ')
  return `HT off and watched down; measure that it is dead at ${where}; clip ${meter} between ${where} and ${equipment.chassis_node}; hands clear; slowglow run of the same profile, with its cautions and limits, brings it to ${at} in mode ${point?.mode ?? ''} and is held there; read without touching; HT off and watched down again before the clip comes off.`
}

/** Nodes at the parts of the likely causes, and the set's test points. */
function placesFor(model: Model, mode: ModeName, likely: readonly Cause[]): NodeName[] {
  const { equipment, lab } = model
  const known = lab.places(mode)
  const places = new Set(likely.flatMap(({ fault }) => nodesOfPart(model, fault.part)))
  for (const node of Object.keys(equipment.test_points)) places.add(node)
  return [...places]
    .filter((node) => node !== equipment.chassis_node && known.has(node))
    .slice(0, placesTried)
}

function nodesOfPart({ equipment }: Model, part: string): NodeName[] {
  const own = equipment.parts[part]
  if (own !== undefined)
    return 'ends' in own ? [...own.ends, own.wiper] : 'between' in own ? [...(own.between ?? [])] : []
  const tube = equipment.tubes[part]
  if (tube !== undefined)
    return tube.sections.flatMap(({ plate, screen, grid, cathode }) =>
      [plate, screen, grid, cathode].filter((node) => node !== undefined),
    )
  const rail = equipment.rails[part]
  return rail === undefined ? [] : [rail.positive, rail.negative]
}

/** How likely two causes would be taken for one another by a reading (overlap of two bells of the same width), 0 to 1. */
function overlap(a: number, b: number, unit: Reading['unit'], spread: number): number {
  const scale = scaleOf(unit)
  const off = scaled(a, scale) - scaled(b, scale)
  const wide = (errorOf(unit, a) * errorOf(unit, a) + errorOf(unit, b) * errorOf(unit, b)) / 2
  return Math.exp(-(off * off) / (8 * (spread * spread + wide)))
}

/** What a reading is expected to tell, in nats: a bound from below, by the overlap of each two causes. */
function toldBy(
  values: readonly number[],
  stand: readonly number[],
  unit: Reading['unit'],
  spread: number,
): number {
  const total = stand.reduce((sum, p) => sum + p, 0)
  let told = 0
  for (const [i, a] of values.entries()) {
    let alike = 0
    for (const [j, b] of values.entries()) alike += (stand[j] ?? 0) * overlap(a, b, unit, spread)
    told -= ((stand[i] ?? 0) / total) * Math.log(Math.max(alike / total, 1e-12))
  }
  return told
}

/** Causes left on average, each counted by its weight: the inverse of the sum of squares, before and after. */
function leftBy(
  values: readonly number[],
  stand: readonly number[],
  unit: Reading['unit'],
  spread: number,
): { readonly left: number; readonly of: number } {
  const total = stand.reduce((sum, p) => sum + p, 0)
  const part = stand.map((p) => p / Math.max(total, 1e-12))
  const of = 1 / part.reduce((sum, p) => sum + p * p, 0)
  let left = 0
  for (const [i, a] of values.entries()) {
    const after = values.map((b, j) => (part[j] ?? 0) * overlap(a, b, unit, spread))
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
