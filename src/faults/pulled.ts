import type { Bench } from '../bench/index.js'
import { drivenStages, type Equipment, type PartName } from '../equipment/index.js'
import { benchRails, clippedOn, createLimits, heaterPoint, show } from '../limits/index.js'
import { createBed, faulted, railAmps } from './bed.js'
import type { PlanPoint } from './points.js'
import type { Suggestion } from './suggest.js'
import type { Fault } from './types.js'

/** Tubes that are tried out of their sockets: those that take most of a rail hide most in it. */
const mostTried = 2
/** A heater that would then be further than this from its rating must not lose its neighbour (our choice). */
const heaterRoom = 0.1
/** Fewer than this are not worth a run of their own. */
const least = 3

/**
 * What the last step would show more with one tube pulled: the tubes that draw most hide others by their own spread. Faults
 * that are never noticed are held against limits computed anew without it.
 */
export function pulledTube(
  equipment: Equipment,
  bench: Bench,
  top: PlanPoint,
  unseen: readonly Fault[],
  /** Of those, that burn a part. */
  burns: (fault: Fault) => boolean,
): Suggestion[] {
  const { point } = top
  const rails = benchRails(equipment, bench)
  const bed = createBed(equipment, point.mode, rails, clippedOn(equipment, bench))
  const { solution } = bed.solve(point, [], new Set())
  const driven = new Set(drivenStages(equipment, point.mode).map(({ tube }) => tube))
  const drawn = (tube: PartName): number =>
    [...bed.elements.values()].reduce((sum, element) => {
      if (element.name !== tube && !element.name.startsWith(`${tube}.`)) return sum
      const { plate = 0, screen = 0 } = solution.currents[element.name] ?? {}
      return sum + plate + screen
    }, 0)
  const tried = Object.keys(equipment.tubes)
    .filter((tube) => equipment.tubes[tube]?.pulled !== true && !driven.has(tube))
    .map((tube) => ({ tube, A: drawn(tube) }))
    .filter(({ tube, A }) => A > 1e-3 && mayBePulled(equipment, tube))
    .sort((a, b) => b.A - a.A)
    .slice(0, mostTried)
  const found = tried.map(({ tube }) => {
    const own = equipment.tubes[tube]
    const without =
      own === undefined
        ? equipment
        : { ...equipment, tubes: { ...equipment.tubes, [tube]: { ...own, pulled: true } } }
    const { limits } = createLimits(without, bench).at(
      point.mode,
      point.volts,
      null,
      {},
      point.hot ? 'hot' : 'cold',
    )
    const bare = createBed(without, point.mode, rails, clippedOn(without, bench))
    const start = bare.solve(point, [], new Set()).solution.volts
    const shows = unseen.filter((fault) => {
      if (fault.part === tube || fault.changes.length === 0) return false
      const solved = bare.solve(point, faulted(bare, fault), new Set(), start).solution
      if (!solved.converged) return false
      const amps = railAmps(rails, point, solved)
      return Object.entries(limits).some(
        ([rail, { trip_A, ask_A }]) =>
          amps[rail] !== undefined && (amps[rail] > trip_A || amps[rail] < ask_A),
      )
    })
    return { tube, shows }
  })
  const best = found.sort((a, b) => b.shows.length - a.shows.length)[0]
  if (best === undefined || best.shows.length < least) return []
  const at = Object.entries(point.volts)
    .map(([rail, V]) => `${rail} ${show(V, 'V')}`)
    .join(', ')
  return [
    {
      text: `A run with ${best.tube} pulled (set off, its charge measured away first) would show ${best.shows.length} more of them at ${at}, with limits for the set without it: ${listed(best.shows.map(({ fault }) => fault))}.`,
      more_caught: best.shows.length,
      saved: best.shows.filter(burns).length,
    },
  ]
}

/** Whether all other heaters keep their volts with one tube out of its socket. */
function mayBePulled(equipment: Equipment, tube: PartName): boolean {
  return Object.values(equipment.heater_chains).every(({ rail, series }) => {
    if (!series.flat().includes(tube)) return true
    const V = equipment.rails[rail]?.working_V ?? 0
    const { chains } = heaterPoint(equipment, rail, V, 0, (part) => (part === tube ? 'open' : 1))
    return chains.every(({ elements }) =>
      elements.every(
        ({ part, volts, rated_V }) =>
          part === tube || rated_V === null || Math.abs(volts - rated_V) <= heaterRoom * rated_V,
      ),
    )
  })
}

function listed(names: readonly string[]): string {
  return names.length <= 6 ? names.join(', ') : `${names.slice(0, 6).join(', ')} and ${names.length - 6} more`
}
