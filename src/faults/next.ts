import type { Bench } from '../bench/index.js'
import type { ModeName } from '../equipment/index.js'
import { choices } from './choices.js'
import { handMeter, ohmmeter } from './hand-meter.js'
import { coldWords, endWords, hotWords, inWords } from './next-words.js'
import { acrossPart, feeding, nodesOfPart, placeOf, voltsBetween } from './place.js'
import type { Posterior } from './posterior.js'
import type { NextMeasurement, Reading, WouldRead } from './seen.js'
import type { Model } from './signals.js'
import { leftBy, toldBy } from './tells.js'
import { coldTrials, hotTrials, type Trial } from './trials.js'
import type { Fault, Point } from './types.js'

/** A cause that is left, with its likeliest severity, and what it makes of what was read before. */
export interface Cause {
  readonly fault: Fault
  readonly probability: number
  readonly row: readonly number[]
  /** Neither shown nor ruled out by what was read. */
  readonly hidden: boolean
}

/** Causes that a next measurement is chosen for, and places that are tried. */
const causesTried = 36
const placesTried = 40

const sumOf = (causes: readonly Pick<Cause, 'probability'>[]): number =>
  causes.reduce((total, { probability }) => total + probability, 0)

/** Causes that are not ruled out: what is asked for is to tell them apart. A pair waits until no single fault is as likely. */
function leftOf(causes: readonly Cause[]): Cause[] {
  const single = causes.filter(({ fault }) => fault.with === undefined)
  const mostly = 2 * sumOf(single) > sumOf(causes) ? single : causes
  const least = 0.001 * sumOf(mostly)
  return mostly.filter(({ probability }) => probability > least).slice(0, causesTried)
}

/**
 * Those that count when nothing may burn during a reading: one in a hundred and likelier, of a set that is held for faulty.
 *
 * @param causes - those that show
 */
export function mayBurn(causes: readonly Pick<Cause, 'fault' | 'probability'>[]): Fault[] {
  const least = 0.01 * Math.min(1, 2 * sumOf(causes))
  return causes.flatMap(({ fault, probability }) => (probability >= least ? [fault] : []))
}

interface ToMeasure {
  readonly model: Model
  readonly bench: Bench
  /** Where the rails stand when volts are read. */
  readonly at: Model['stood'][number] | null
  /** In which mode the controls stand for ohms. */
  readonly cold: ModeName
  /** Likeliest first. */
  readonly causes: readonly Cause[]
  /** Of a whole set, and of what no library lists: it reads at most places as a whole set does. */
  readonly nothing: number
  /** It is looked for though nothing shows. */
  readonly fails: boolean
  readonly taken: readonly Reading[]
  readonly posterior: Posterior
}

/** The next reading, or in a sentence why there is none. */
export type Next = { readonly next: NextMeasurement } | { readonly ends: string }

/**
 * Where one more reading parts the causes that are left best: cold resistances first, else volts by the safe sequence. None
 * where one cause is left, or where no reading parts them.
 */
export function nextMeasurement({
  model,
  bench,
  at: stood,
  cold: mode,
  causes,
  nothing,
  fails,
  taken,
  posterior,
}: ToMeasure): Next {
  const { equipment, lab, points } = model
  const shown = leftOf(causes.filter(({ hidden }) => !hidden))
  const unshown = 1 - sumOf(causes.filter(({ hidden }) => !hidden))
  // What the readings point at is followed up first; where they point nowhere, all that they have not ruled out is looked through.
  const likely = unshown > choices.settled ? leftOf(causes) : shown
  if ((shown.length === 0 && !fails) || points.length === 0)
    return { ends: 'No next reading: no cause is left that shows.' }
  // Whoever goes to the set with a meter holds it for faulty: a whole one counts at most as much as all causes together.
  const stand = [...likely.map(({ probability }) => probability), Math.min(nothing, sumOf(likely))]
  const asked = {
    who: [...likely.map(({ fault }) => ({ fault })), null],
    stand,
    rows: [...likely.map(({ row }) => row), posterior.healthy],
  }
  // The same place at other volts is another reading, but seldom one that tells more.
  const done = new Set(taken.map(({ place, unit }) => `${unit} ${place}`))
  const places = placesFor(model, mode, likely)
  const left = (unit: Reading['unit']): string[] => places.filter((place) => !done.has(`${unit} ${place}`))
  const named = handMeter(bench)
  const ohms = coldTrials(lab, mode, left('Ω'), asked, named)
  const at = stood?.point ?? null
  const spot = at === null ? null : lab.at(at)
  const may = [
    ...mayBurn(shown),
    ...likely.flatMap(({ fault, hidden, probability }) => (hidden && probability >= 0.01 ? [fault] : [])),
  ]
  const burning = spot === null ? [] : may.filter((fault) => spot.burns(fault))
  const volts =
    spot === null || burning.length > 0 ? [] : hotTrials(lab, spot, left('V'), asked, posterior, named)
  const best = (all: readonly Trial[]): Trial | undefined =>
    all.reduce<Trial | undefined>(
      (most, each) => (most === undefined || each.gain > most.gain ? each : most),
      undefined,
    )
  const cold = best(ohms)
  const hot = best(volts)
  const chosen = cold !== undefined && cold.gain >= choices.coldEnough * (hot?.gain ?? 0) ? cold : hot
  if (chosen === undefined || chosen.gain < choices.worthwhile)
    return {
      ends: endWords({
        left: tiedTo(shown, [...ohms, ...volts]),
        others: 1 - unshown - sumOf(shown),
        unshown,
        burning: stood === null ? null : burning,
      }),
    }
  const { place, unit } = chosen
  const ends = lab.ends(mode, place) ?? { a: place, b: equipment.chassis_node }
  const { left: weigh, of } = leftBy(chosen.expected, stand)
  const values =
    unit === 'Ω' || at === null
      ? chosen.values
      : asked.who.map((each, i) => {
          const state = lab.at(at, { place, ohm: named.ohm }).state(each)
          return state === null ? (chosen.values[i] ?? 0) : voltsBetween(state, ends)
        })
  const from = inWords(equipment, ends.a)
  const to = ends.b === equipment.chassis_node ? ends.b : inWords(equipment, ends.b)
  const where = ends.b === equipment.chassis_node ? from : `${from} to ${to}`
  const next: NextMeasurement = {
    measure: unit === 'Ω' ? 'ohms' : 'volts',
    place,
    where,
    leads: [ends.a, ends.b],
    step: unit === 'Ω' ? null : (stood?.step.index ?? null),
    how:
      unit === 'Ω' || stood === null
        ? coldWords(mode, from, to, ohmmeter.name)
        : hotWords(equipment, ends, from, to, named.name, heldAs(model, stood)),
    why: `${unshown > choices.settled ? 'Nothing that was read shows a fault; if something is wrong all the same, it' : 'It'} parts the causes best: from ${of.toFixed(1)} that weigh now to ${weigh.toFixed(1)} on average.`,
    meter: unit === 'Ω' ? ohmmeter : { name: named.name, ohm: named.ohm },
    predicts: predicted(
      likely.map(({ fault }) => fault.text),
      values,
      unit,
    ),
    leaves: weigh,
    of,
  }
  return { next }
}

/** That of the steps at the same volts in which a person has longest to read: a way back up holds nowhere. */
function heldAs({ stood }: Model, own: Model['stood'][number]): Model['stood'][number] {
  if (own.step.hold_s > 0) return own
  const same = ({ mode, volts }: Point): string => `${mode} ${JSON.stringify(volts)}`
  return stood
    .filter(({ point }) => same(point) === same(own.point))
    .reduce((most, each) => (each.step.hold_s > most.step.hold_s ? each : most), own)
}

/** Figures nearer than this to one another are told as one: no meter of a workshop parts them. Our choice. */
const alike = 0.02

/** `values`: by each cause, and last of a whole set. */
function predicted(
  causes: readonly string[],
  values: readonly number[],
  unit: WouldRead['unit'],
): readonly WouldRead[] {
  const groups: { value: number; unit: WouldRead['unit']; causes: string[]; whole: boolean }[] = []
  const at = (value: number): (typeof groups)[number] => {
    const near = groups.find(
      (group) => Math.abs(group.value - value) <= alike * Math.max(Math.abs(group.value), Math.abs(value)),
    )
    if (near !== undefined) return near
    const own = { value, unit, causes: [], whole: false }
    groups.push(own)
    return own
  }
  at(values[causes.length] ?? 0).whole = true
  for (const [i, cause] of causes.entries()) at(values[i] ?? 0).causes.push(cause)
  return [...groups.filter(({ whole }) => !whole), ...groups.filter(({ whole }) => whole)]
}

/**
 * Causes beside the likeliest, each with whether an open reading could part it from that: none could where none would be worth it
 * were these two alone, and as likely as each other.
 */
function tiedTo(causes: readonly Cause[], open: readonly Trial[]): (Cause & { readonly tied: boolean })[] {
  return causes.map((cause, i) => ({
    ...cause,
    tied:
      i === 0 ||
      open.every(({ expected: [first, ...others] }) => {
        const own = others[i - 1]
        return first === undefined || own === undefined || toldBy([first, own], [1, 1]) < choices.worthwhile
      }),
  }))
}

/** Nodes at the parts of the likely causes and across each of these parts, and the set's test points. */
function placesFor(model: Model, mode: ModeName, likely: readonly Cause[]): string[] {
  const { equipment, lab } = model
  const { chassis_node: chassis } = equipment
  const known = lab.places(mode)
  const parts = new Set(likely.map(({ fault }) => fault.part))
  const nodes = new Set([...parts].flatMap((part) => nodesOfPart(equipment, part)))
  for (const node of Object.keys(equipment.test_points)) nodes.add(node)
  const pairs = new Set(
    [...new Set([...parts].flatMap((part) => [part, ...feeding(equipment, part)]))].flatMap((part) =>
      acrossPart(equipment, part)
        .filter(({ a, b }) => known.has(a) && known.has(b))
        .map((ends) => placeOf(ends, chassis)),
    ),
  )
  return [
    ...[...nodes].filter((node) => node !== chassis && known.has(node)).slice(0, placesTried),
    ...[...pairs].slice(0, placesTried),
  ]
}
