import type { Bench } from '../bench/index.js'
import type { Equipment, RailName } from '../equipment/index.js'
import { createLimits, show } from '../limits/index.js'
import type { Solution, Volts } from '../network/index.js'
import type { CoveredFault } from './coverage.js'
import { pulledTube } from './pulled.js'
import type { PlanPoint } from './points.js'
import type { Fault, Point } from './types.js'

export interface Suggestion {
  readonly text: string
  /** Faults that it adds to those noticed in time, and how many of these would otherwise burn a part. */
  readonly more_caught: number
  readonly saved: number
}

export interface Tried {
  readonly covered: CoveredFault
  /** Node volts at each point that was solved. */
  readonly nodes: readonly Solution['volts'][]
  /** Steps at which no steady state was found with the fault in: it is not judged there. */
  readonly unsolved: readonly number[]
}

interface ToSuggest {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly points: readonly PlanPoint[]
  readonly whole: readonly Volts[]
  readonly faults: readonly Fault[]
  readonly tried: readonly Tried[]
  /** Rail currents and worst stress with a fault at a point. */
  readonly stressAt: (
    fault: Fault,
    point: Point,
  ) => { readonly amps: Readonly<Record<RailName, number>>; readonly of_allowed: number }
}

/** Volts by which a node must be off before a meter there counts as showing a fault: a healthy set's parts spread that much (our choice). */
const nodeSpread = 0.3
const nodeLeast_V = 1

/**
 * Where one more meter on a line would show most of what no rail shows now, taken one after the other; and what would be
 * noticed if an earlier hold were put in.
 */
export function suggest(of: ToSuggest): Suggestion[] {
  const { equipment, points, whole, tried } = of
  const made: Suggestion[] = [...earlierHolds(of)]
  const last = points.length - 1
  const top = points[last]
  const healthy = whole[last]
  if (top === undefined || healthy === undefined) return []
  const hidden = tried.flatMap(({ covered }, at) => (covered.caught ? [] : (of.faults[at] ?? [])))
  const burning = new Set(tried.flatMap(({ covered }) => (covered.early ? [] : [covered.fault])))
  made.push(...pulledTube(equipment, of.bench, top, hidden, ({ fault }) => burning.has(fault)))
  let unseen = tried.filter(({ covered, nodes }) => !covered.caught && nodes.length === points.length)
  const watched = new Set(Object.keys(equipment.rails).map((rail) => equipment.rails[rail]?.positive))
  const places = Object.keys(healthy).filter(
    (node) => !node.includes(':') && node !== equipment.chassis_node && !watched.has(node),
  )
  const off = (node: string, V: number): boolean => {
    const usual = healthy[node] ?? 0
    return Math.abs(V - usual) > Math.max(nodeLeast_V, nodeSpread * Math.abs(usual))
  }
  for (let n = 0; n < 3; n++) {
    const ranked = places
      .map((node) => ({ node, shows: unseen.filter(({ nodes }) => off(node, nodes[last]?.[node] ?? 0)) }))
      .sort((a, b) => gain(b.shows) - gain(a.shows))
    const best = ranked[0]
    if (best === undefined || best.shows.length < 2) break
    const saved = best.shows.filter(({ covered }) => !covered.early).length
    const at = equipment.test_points[best.node]
    made.push({
      text: `A meter on a line at ${best.node}${at === undefined ? '' : ` (${at})`} would show ${best.shows.length} more of them at ${Object.entries(
        top.point.volts,
      )
        .map(([rail, V]) => `${rail} ${show(V, 'V')}`)
        .join(', ')}: ${listed(best.shows.map(({ covered }) => covered.fault))}.`,
      more_caught: best.shows.length,
      saved,
    })
    unseen = unseen.filter((each) => !best.shows.includes(each))
  }
  return made
}

const gain = (shows: readonly Tried[]): number =>
  shows.length + 2 * shows.filter(({ covered }) => !covered.early).length

function listed(names: readonly string[]): string {
  return names.length <= 6 ? names.join(', ') : `${names.slice(0, 6).join(', ')} and ${names.length - 6} more`
}

/** Of what a rating allows: less than this over it is the arithmetic's rounding. */
const harms = 1.0005

interface Late {
  readonly step: number
  readonly fault: Fault
}

/**
 * Holds half way to each step at which faults are noticed too late, with limits computed as the plan's are; that first which
 * notices most of them in time. A step of heaters is none of these: no circuit is solved there.
 */
function earlierHolds({ points, faults, tried, ...of }: ToSuggest): Suggestion[] {
  const late = tried.flatMap(({ covered: { caught, early, step } }, at): Late[] => {
    const fault = faults[at]
    return !caught || early || step === null || fault === undefined ? [] : [{ step, fault }]
  })
  return points
    .flatMap((here, at) => {
      const own = late.filter(({ step }) => step === here.step.index)
      return own.length === 0 ? [] : holdBefore(of, here, points[at - 1], own)
    })
    .sort((a, b) => b.saved - a.saved)
}

function holdBefore(
  { equipment, bench, stressAt }: Pick<ToSuggest, 'equipment' | 'bench' | 'stressAt'>,
  here: PlanPoint,
  before: PlanPoint | undefined,
  late: readonly Late[],
): Suggestion[] {
  const { rail, target_V, index } = here.step
  if (rail === null) return []
  const from_V = before?.point.mode === here.point.mode ? (before.point.volts[rail] ?? 0) : 0
  const V = Math.round((from_V + target_V) / 2 / 5) * 5
  if (V <= from_V || V >= target_V) return []
  const volts = { ...here.point.volts, [rail]: V }
  const { limits } = createLimits(equipment, bench).at(
    here.point.mode,
    volts,
    null,
    {},
    here.point.hot ? 'hot' : 'cold',
  )
  const saved = late.filter(({ fault }) => {
    const { amps, of_allowed } = stressAt(fault, { ...here.point, volts })
    const noticed = Object.entries(limits).some(
      ([name, { trip_A, ask_A }]) => amps[name] !== undefined && (amps[name] > trip_A || amps[name] < ask_A),
    )
    return noticed && of_allowed <= harms
  })
  if (saved.length === 0) return []
  return [
    {
      text: `A hold of ${rail} at ${show(V, 'V')}, before step ${index}, would notice ${saved.length} in time of what is now noticed too late: ${listed(saved.map(({ fault }) => fault.fault))}.`,
      more_caught: saved.length,
      saved: saved.length,
    },
  ]
}
