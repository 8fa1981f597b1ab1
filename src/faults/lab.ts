import { chance } from '../chance/index.js'
import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, NodeName, RailName } from '../equipment/index.js'
import { benchRails, clippedOn, type RailBench, sampleElements, stresses } from '../limits/index.js'
import type { Element, Solution, Solved } from '../network/index.js'
import { type Bed, createBed, faulted, nodesOf, railAmps } from './bed.js'
import { type Cold, createCold, layCold } from './cold.js'
import { scaled } from './likelihood.js'
import { acrossPart, type Ends, endsOf, placeOf } from './place.js'
import type { Change, Fault, Point } from './types.js'

/** One solved state of a set: volts and currents. */
export interface State {
  readonly amps: Readonly<Record<RailName, number>>
  readonly volts: Solution['volts']
  readonly volt: Solved['volt']
}

/** Whose state: the set as its file has it, with a fault, or one of the healthy sets drawn. */
export type Who = { readonly fault: Fault } | { readonly drawn: number } | null

/** A meter that somebody has put on: at a node against the chassis, or across a part (`A to B`). */
export interface Put {
  readonly place: string
  readonly ohm: number
}

/** One drawn set with a fault, and the same set whole. */
export interface DrawnState {
  readonly faulty: State
  readonly whole: State
}

/** Where the rails stand, with everything that was solved there: each question is solved once. */
export interface Spot {
  readonly point: Point
  /** Null where no steady state was found. */
  state(who: Who): State | null
  /** A few drawn sets with a fault, those that could be solved. */
  drawnWith(fault: Fault): readonly DrawnState[]
  /** What a fault puts above its rating there that is below it in the whole set. */
  burns(fault: Fault): boolean
}

/**
 * Predictions of one set on one bench, kept from one question to the next: a run, the readings after it, and other runs of the
 * same plan ask for the same states again.
 */
export interface Lab {
  readonly equipment: Equipment
  readonly rails: Readonly<Record<RailName, RailBench>>
  at(point: Point, meter?: Put): Spot
  /** Ohms at a place, set off, tubes cold. */
  ohm(mode: ModeName, place: string, who: Who): number
  /** The same over a few drawn sets, on the scale of readings, with a fault or whole: an open path leaves what leaks, which no file tells. */
  ohmDrawn(
    mode: ModeName,
    place: string,
    fault: Fault | null,
  ): { readonly mean: number; readonly variance: number }
  /** Nodes that a meter can be put on. */
  places(mode: ModeName): ReadonlySet<NodeName>
  /** Where a meter at a place stands; null where it has no such place. */
  ends(mode: ModeName, place: string): Ends | null
  bed(mode: ModeName): Bed
}

/** Healthy sets drawn: enough for the covariance of some twenty signals. */
export const draws = 60
/** Of them, those that readings with a fault are told from. */
const faultyDraws = 10
/** Spots that are kept; those of runs that tripped on their way come only once. */
const mostSpots = 24

/** Ohms below this count as nothing. */
export const ohmScale = 0.5

const voltName = (place: string): string => `voltmeter at ${place}`

export function createLab(equipment: Equipment, bench: Bench, seed = 31): Lab {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const beds = once((mode: ModeName) => createBed(equipment, mode, rails, meters))
  const places = once(
    (mode: ModeName) =>
      new Set(
        beds(mode)
          .network.elements.flatMap(nodesOf)
          .filter((node) => !node.includes(':')),
      ),
  )
  const { chassis_node: chassis } = equipment
  const ends = (mode: ModeName, place: string): Ends | null =>
    endsOf(place, chassis, (node) => places(mode).has(node))
  /** With a meter at every node and across every part, which conducts nothing until it is put on. */
  const metered = once((mode: ModeName) => {
    const across = [...Object.keys(equipment.parts), ...Object.keys(equipment.tubes)].flatMap((part) =>
      acrossPart(equipment, part).map((pair) => placeOf(pair, chassis)),
    )
    const meters_at = [...new Set([...places(mode), ...across])].flatMap((place) => {
      const at = ends(mode, place)
      return at === null ? [] : [meterAt(at, place, Infinity)]
    })
    return createBed(equipment, mode, rails, meters, meters_at)
  })
  const bare = once((mode: ModeName) => createBed(equipment, mode, {}, []))
  const coldLaid = once((mode: ModeName) => layCold(bare(mode)))
  const cold = once((mode: ModeName): Cold => createCold(coldLaid(mode)))
  // One set in all its modes: each part draws by its own name.
  const own = (bed: Bed, n: number): Element[] =>
    sampleElements(equipment, bed.network.elements, chance(seed).fork(`set ${n}`))
  const drawnIn = new Map<Bed, Map<number, Element[]>>()
  const drawn = (bed: Bed, n: number): Element[] => kept(inner(drawnIn, bed), n, () => own(bed, n))
  const changedIn = new Map<Bed, Map<Fault, Element[]>>()
  const changed = (bed: Bed, fault: Fault): Element[] =>
    kept(inner(changedIn, bed), fault, () =>
      faulted(bed, fault).filter((element) => !same(element, bed.elements.get(element.name))),
    )
  const coldIn = new Map<
    ModeName,
    Map<number, { readonly elements: Map<string, Element>; readonly cold: Cold }>
  >()
  const coldSet = (mode: ModeName, n: number) =>
    kept(inner(coldIn, mode), n, () => {
      const bed = bare(mode)
      const elements = new Map(bed.elements)
      for (const element of own(bed, n)) elements.set(element.name, element)
      return { elements, cold: createCold(coldLaid(mode), elements) }
    })
  const changedDrawn = new Map<Fault | null, Map<ModeName, Element[][]>>()
  const blurred = new Map<Fault | null, Map<string, { readonly mean: number; readonly variance: number }>>()
  const spots = new Map<string, Spot>()
  return {
    equipment,
    rails,
    places,
    ends,
    bed: beds,
    at(point, meter) {
      const key = `${point.mode} ${point.hot} ${JSON.stringify(point.volts)} ${meter === undefined ? '' : `${meter.place} ${meter.ohm}`}`
      const known = spots.get(key)
      if (known !== undefined) return known
      const stands = meter === undefined ? null : ends(point.mode, meter.place)
      // Across what is no part's own two ends it is reckoned as drawing nothing.
      const laid = meter !== undefined && metered(point.mode).elements.has(voltName(meter.place))
      const bed = laid ? metered(point.mode) : beds(point.mode)
      const put = !laid || stands === null ? [] : [meterAt(stands, meter.place, meter.ohm)]
      const made = createSpot(equipment, rails, bed, point, put, drawn, changed)
      const only = Object.keys(point.volts)
      const rail = only.length === 1 && !point.hot ? rails[only[0] ?? ''] : undefined
      // A rail alone in a cold set is one resistance, unless a diode stands in its way.
      const straight = !bed.network.elements.some(({ kind }) => kind === 'junction')
      if (rail !== undefined && straight) {
        const mine = bare(point.mode)
        spots.set(
          key,
          coldSpot(equipment, made, { ...rail, lead_ohm: inLead(bed, rail) }, cold(point.mode), (fault) =>
            changed(mine, fault),
          ),
        )
        return spots.get(key) ?? made
      }
      if (spots.size >= mostSpots) for (const [old] of [...spots].slice(0, mostSpots / 2)) spots.delete(old)
      spots.set(key, made)
      return made
    },
    ohmDrawn: (mode, place, given) => {
      // A fault of what conducts nothing cold leaves the ohms of a whole set.
      const fault = given !== null && given.changes.some(showsCold) ? given : null
      return kept(inner(blurred, fault), `${mode} ${place}`, () => {
        const sets = Array.from({ length: faultyDraws }, (_, n) => coldSet(mode, n))
        const by = kept(inner(changedDrawn, fault), mode, () =>
          sets.map(({ elements }) => (fault === null ? [] : faulted(bare(mode), fault, elements))),
        )
        const { a, b } = ends(mode, place) ?? { a: place, b: chassis }
        const ys = sets.map(({ cold: of }, n) => scaled(of.ohm(a, by[n] ?? [], b), ohmScale))
        const mean = ys.reduce((sum, y) => sum + y, 0) / ys.length
        const variance = ys.reduce((sum, y) => sum + (y - mean) * (y - mean), 0) / (ys.length - 1)
        return { mean, variance }
      })
    },
    ohm(mode, place, who) {
      const { a, b } = ends(mode, place) ?? { a: place, b: chassis }
      if (who === null) return cold(mode).ohm(a, [], b)
      if ('fault' in who) return cold(mode).ohm(a, changed(bare(mode), who.fault), b)
      return coldSet(mode, who.drawn).cold.ohm(a, [], b)
    },
  }
}

function createSpot(
  equipment: Equipment,
  rails: Lab['rails'],
  bed: Bed,
  point: Point,
  put: readonly Element[],
  drawn: (bed: Bed, n: number) => readonly Element[],
  changed: (bed: Bed, fault: Fault) => readonly Element[],
): Spot {
  const solve = (by: readonly Element[], start?: Solution['volts']): State | null => {
    const { solution } = bed.solve(point, [...by, ...put], new Set(), start, true)
    if (!solution.converged) return null
    return {
      amps: railAmps(rails, point, solution),
      volt: solution.volt,
      // Named when somebody asks: of most states nobody does.
      get volts() {
        return solution.volts
      },
    }
  }
  const whole = solve([])
  const faults = new Map<Fault, State | null>()
  const sets = new Map<number, State | null>()
  const burning = new Map<Fault, boolean>()
  const drawnFaulty = new Map<Fault, readonly DrawnState[]>()
  const above = (fault: Fault | null): string[] => {
    const by = fault === null ? [] : changed(bed, fault)
    const now = new Map(by.map((element) => [element.name, element]))
    const elements = bed.network.elements.map((element) => now.get(element.name) ?? element)
    // What has failed has nothing more to lose, a tube excepted.
    const lost = fault !== null && equipment.tubes[fault.part] === undefined ? fault.part : null
    const { solution } = bed.solve(point, [...by, ...put], new Set(), whole?.volts)
    return stresses(equipment, elements, solution, 1)
      .filter(({ part }) => part !== lost)
      .map(({ what }) => what)
  }
  let usual: ReadonlySet<string> | null = null
  const state = (who: Who): State | null => {
    if (who === null) return whole
    if ('drawn' in who) return kept(sets, who.drawn, () => solve(drawn(bed, who.drawn), whole?.volts))
    return kept(faults, who.fault, () => {
      const by = changed(bed, who.fault)
      return by.length === 0 ? whole : solve(by, whole?.volts)
    })
  }
  return {
    point,
    state,
    drawnWith: (fault) =>
      kept(drawnFaulty, fault, () => {
        const near = state({ fault })
        return Array.from({ length: faultyDraws }, (_, n) => n).flatMap((n) => {
          const own = new Map(drawn(bed, n).map((element) => [element.name, element]))
          const whole = state({ drawn: n })
          const all = [...own.values(), ...faulted(bed, fault, new Map([...bed.elements, ...own]))]
          const faulty = solve(
            [...new Map(all.map((element) => [element.name, element])).values()],
            near?.volts,
          )
          return whole === null || faulty === null ? [] : [{ whole, faulty }]
        })
      }),
    burns: (fault) =>
      kept(burning, fault, () => {
        usual ??= new Set(above(null))
        const known = usual
        return above(fault).some((what) => !known.has(what))
      }),
  }
}

/** The check of the wiring below 5 V: with a fault it is told from the cold set's one inverse; drawn sets are solved. */
function coldSpot(
  { rails }: Equipment,
  solved: Spot,
  { name, lead_ohm, bleeder_ohm }: RailBench,
  cold: Cold,
  changed: (fault: Fault) => readonly Element[],
): Spot {
  const { positive = '', negative = '' } = rails[name] ?? {}
  const V = solved.point.volts[name] ?? 0
  const beside = bleeder_ohm === null ? 0 : V / bleeder_ohm
  return {
    ...solved,
    state(who) {
      if (who === null || 'drawn' in who) return solved.state(who)
      const { changes } = who.fault
      if (changes.length === 0) return solved.state(null)
      const off = changes.find((change) => change.element === name && change.is === 'resistance')
      const ohm = cold.ohm(positive, changed(who.fault), negative)
      const path = ohm + (off?.is === 'resistance' ? off.ohm : Math.max(lead_ohm, 1e-3))
      return { amps: { [name]: V / path + beside }, volts: {}, volt: () => 0 }
    },
  }
}

/** What stands in a rail's lead before the set: its own resistance, a fuse, a resistor in series. */
function inLead(bed: Bed, { name, lead_ohm }: RailBench): number {
  return ['fuse', 'series'].reduce((sum, what) => {
    const element = bed.elements.get(`${name} ${what}`)
    return sum + (element?.kind === 'resistor' ? element.ohm : 0)
  }, lead_ohm)
}

function meterAt({ a, b }: Ends, place: string, ohm: number): Element {
  return { kind: 'meter', name: voltName(place), a, b, ohm }
}

/** A change of what a current of the cold set flows through. */
const showsCold = ({ is }: Change): boolean => is !== 'emission times' && is !== 'gas' && is !== 'model'

/** Whether a change changes anything (a contact stuck closed that is closed anyway does not). */
function same(one: Element, other: Element | undefined): boolean {
  if (other === undefined || one.kind !== other.kind) return false
  return Object.entries(one).every(([key, value]) => (other as Record<string, unknown>)[key] === value)
}

function kept<K, V>(known: Map<K, V>, key: K, make: () => V): V {
  const old = known.get(key)
  if (old !== undefined || known.has(key)) return old as V
  const made = make()
  known.set(key, made)
  return made
}

function inner<K, L, V>(known: Map<K, Map<L, V>>, key: K): Map<L, V> {
  return kept(known, key, () => new Map<L, V>())
}

function once<K, V>(make: (key: K) => V): (key: K) => V {
  const known = new Map<K, V>()
  return (key) => kept(known, key, () => make(key))
}
