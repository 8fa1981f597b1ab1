import type { Equipment, PartName, RailName } from '../equipment/index.js'
import { formatQuantity } from '../quantities/index.js'
import type { Element, Solution } from '../network/index.js'
import { astray_A, halfOfEven, high, leakiest, mostAstray, ownerOf, strongest } from './sampling.js'
import { quantile } from './spread.js'
import type { RailBench } from './types.js'

/** Tubes looked at on each rail, by what they take of it, and of the set, by how far their curves may err where they end. */
const tubesEach = 3
const named = 3
/** Sampled sets whose resistors alone are put into the nominal set: enough for how far they move a rail within some 25 %. */
export const resistorSets = 8
/** A share of the band below this is not worth a word. */
const least = 0.02
/** Amps near cut-off below this part of a tube's own current are lost in its spread. */
const unseen = 0.05

type Amps = Readonly<Record<RailName, number>>
type Shares = Readonly<Record<RailName, readonly { readonly tube: PartName; readonly A: number }[]>>

interface At {
  readonly rails: Readonly<Record<RailName, RailBench>>
  readonly shares: Shares
  readonly expected_A: Amps
}

/** What was drawn for the band: each rail's amps in the sampled sets, and the resistors of the first of these. */
interface Drawn {
  readonly amps: Readonly<Record<RailName, readonly number[]>>
  readonly resistors: readonly (readonly Element[])[]
}

/** One cause alone: what it moves a rail by at its 95 % point, and half of what lies between that and its 5 % point. */
interface Cause {
  readonly of: string
  readonly A: number
  readonly half_A: number
}

/**
 * What makes a rail's band as wide as it is: each cause alone at the 95 % point of its spread, in words by rail, the three
 * largest first, then all else together. Causes are independent, so their halves add as squares to half of the band.
 */
export function contributorsOf(
  equipment: Equipment,
  elements: readonly Element[],
  at: At,
  nominal: Solution,
  drawn: Drawn,
  amps: (changed: readonly Element[]) => Amps,
): Record<RailName, string> {
  const found = causes(equipment, elements, at, nominal, drawn.resistors, amps)
  const words: Record<RailName, string> = {}
  for (const [rail, expected_A] of Object.entries(at.expected_A)) {
    const accuracy = at.rails[rail]?.accuracy_A
    const read_A = accuracy === undefined ? 0 : accuracy.of_reading * expected_A + accuracy.plus
    const all = [...found.map((each) => each(rail)), { of: 'read-back', A: read_A, half_A: read_A }].sort(
      (a, b) => Math.abs(b.A) - Math.abs(a.A),
    )
    const most = Math.abs(all[0]?.A ?? 0)
    const told = all.slice(0, named).filter(({ A }) => Math.abs(A) > least * most)
    const sets = drawn.amps[rail] ?? []
    const half_A = (quantile(sets, 0.95) - quantile(sets, 0.05)) / 2
    const rest_A = Math.sqrt(
      told.reduce((left, each) => Math.max(0, left - each.half_A * each.half_A), half_A * half_A),
    )
    words[rail] = [
      told.map(({ of, A }) => `${of} ${A < 0 ? '−' : '+'}${short(A)}`).join(', '),
      ...(told.length > 0 && rest_A > least * half_A ? [`all else together ±${short(rest_A)}`] : []),
    ].join('; ')
  }
  return words
}

function causes(
  equipment: Equipment,
  elements: readonly Element[],
  { shares, expected_A }: At,
  nominal: Solution,
  resistors: Drawn['resistors'],
  amps: (changed: readonly Element[]) => Amps,
): ((rail: RailName) => Cause)[] {
  const moved = (changed: readonly Element[]): ((rail: RailName) => number) => {
    if (changed.length === 0) return () => 0
    const after = amps(changed)
    return (rail) => (after[rail] ?? 0) - (expected_A[rail] ?? 0)
  }
  const strays = straysOf(equipment, elements, nominal)
  const found = [...leaders(shares, strays)].map((tube): ((rail: RailName) => Cause) => {
    const own = elements.filter(({ name }) => ownerOf(equipment, name) === tube)
    const spread = moved(strongest(equipment, tube, own))
    const stray = strays.get(tube)
    const ended = stray !== undefined && stray.A > unseen * stray.own_A
    const off = moved(ended ? mostAstray(equipment, tube, own) : [])
    return (rail) => {
      const [A, more_A] = [spread(rail), off(rail)]
      // Below its curves a tube loses no more than they say it draws.
      const down_A = stray === undefined ? 0 : (more_A * stray.own_A) / (stray.own_A + stray.A)
      return {
        of: Math.abs(more_A) > Math.abs(A) ? `${tube} near cut-off` : tube,
        A: Math.hypot(A, more_A) * (A + more_A < 0 ? -1 : 1),
        half_A: Math.hypot(A, (more_A + down_A) / 2),
      }
    }
  })
  if (resistors.some((of) => of.length > 0)) {
    const by = resistors.map(moved)
    found.push((rail) => {
      const offs = by.map((off) => off(rail))
      const middle = offs.reduce((sum, each) => sum + each, 0) / offs.length
      const squares = offs.reduce((sum, each) => sum + (each - middle) * (each - middle), 0)
      const half_A = high * Math.sqrt(squares / (offs.length - 1))
      return {
        of: 'resistors by tolerance and age',
        A: middle < 0 ? middle - half_A : middle + half_A,
        half_A,
      }
    })
  }
  const leaking = leakiest(equipment, elements)
  if (leaking.length > 0) {
    const by = moved(leaking)
    const half = halfOfEven(leaking.flatMap((each) => (each.kind === 'capacitor' ? [each.leak_S] : [])))
    found.push((rail) => ({ of: 'leaking electrolytics', A: by(rail), half_A: by(rail) * half }))
  }
  return found
}

function short(A: number): string {
  return formatQuantity(Number(Math.abs(A).toPrecision(2)), 'A')
}

interface Stray {
  /** By how much its curves may be off where they end. */
  readonly A: number
  /** What it draws by them here. */
  readonly own_A: number
}

function straysOf(
  equipment: Equipment,
  elements: readonly Element[],
  { volts, currents }: Solution,
): ReadonlyMap<PartName, Stray> {
  const strays = new Map<PartName, Stray>()
  for (const element of elements) {
    if (element.kind !== 'triode' && element.kind !== 'screen tube') continue
    const owner = ownerOf(equipment, element.name)
    if (owner === null) continue
    const plate_V = (volts[element.plate] ?? 0) - (volts[element.cathode] ?? 0)
    const before = strays.get(owner) ?? { A: 0, own_A: 0 }
    strays.set(owner, {
      A: before.A + astray_A(equipment, element, plate_V),
      own_A: before.own_A + Math.max(0, currents[element.name]?.plate ?? 0),
    })
  }
  return strays
}

function leaders(shares: Shares, strays: ReadonlyMap<PartName, Stray>): ReadonlySet<PartName> {
  const most = [...strays]
    .filter(([, { A, own_A }]) => A > unseen * own_A)
    .sort(([, a], [, b]) => b.A - a.A)
    .slice(0, tubesEach)
    .map(([tube]) => tube)
  const largest = Object.values(shares).flatMap((of) =>
    of
      .filter(({ A }) => A > 0)
      .toSorted((a, b) => b.A - a.A)
      .slice(0, tubesEach)
      .map(({ tube }) => tube),
  )
  return new Set([...largest, ...most])
}
