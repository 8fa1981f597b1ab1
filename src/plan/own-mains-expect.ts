import { type Equipment, type ModeName, ownRectified, type OwnMains, recordOf } from '../equipment/index.js'
import type { LimitProblem, LimitsDesk } from '../limits/index.js'
import { emissionAt, emissionReserve, rectified_V } from '../tubes/index.js'
import { railsOf } from './stages.js'

/** What the set's own transformer should make at one part of its mains volts. */
export interface OwnPoint {
  readonly part: number
  readonly mains_V: number
  /** Of the whole set at the plug, RMS. */
  readonly mains_A: number
  /** Null with the rectifier out. */
  readonly HT: {
    readonly V: number
    /** From the most that it should draw to nothing drawn at all. */
    readonly low_V: number
    readonly high_V: number
    readonly A: number
    readonly low_A: number
    readonly high_A: number
    /** Share of its current that cathodes at these heater volts give. */
    readonly emission: number
    /** Some gas tube may be lit or dark here. */
    readonly strikes: boolean
  } | null
  readonly problems: readonly LimitProblem[]
}

interface Of {
  readonly equipment: Equipment
  readonly desk: LimitsDesk
  readonly own: OwnMains
  readonly mode: ModeName
}

/** Below this part of rated heater volts nothing is held long, and a reading may be anything down to nothing (architecture.md). */
export const starved = 0.8
/** Watts at the secondaries over watts at the plug, and the form of a current that charges a reservoir (common practice, no source). */
const efficiency = 0.85
/**
 * With nothing on it, where the file does not say: part of what its fuse carries, and the most that passes (common practice, no
 * source: 5 to 25 % of full load, more in small ones, and a fuse carries one and a half times that).
 */
export const idleGuess = { usual: 0.1, most: 0.35 } as const
/** A person's knob, the mains themselves, and windings under load (common practice, no source). */
const spread = 0.1

/** Magnetising current at a part of full volts: nearly straight, then the iron begins to fill (common practice, no source). */
export function noLoad_A(full_A: number, part: number): number {
  const square = part * part
  return full_A * (0.7 * part + 0.3 * square * square * part)
}

export function idle_A({ own }: Of): number {
  return own.no_load_A?.value ?? idleGuess.usual * own.fuse_A
}

/** The whole set at a part of its mains; `HT`: its rectifier is in. */
export function ownPoint(of: Of, part: number, HT: boolean): OwnPoint {
  const { equipment, desk, own, mode } = of
  const mains_V = part * own.volts
  const problems: LimitProblem[] = []
  let watts = 0
  for (const rail of [...railsOf(equipment, 'heater'), ...railsOf(equipment, 'bias')]) {
    const V = Math.round(1000 * part * (equipment.rails[rail]?.working_V ?? 0)) / 1000
    const point = desk.at(mode, { [rail]: V }, null, {}, 'hot')
    watts += V * (point.limits[rail]?.expected_A ?? 0)
  }
  const heater = rectifierHeater(equipment, own)
  if (HT && heater !== null) watts += heater.V * heater.A * part * Math.sqrt(part)
  const found = HT ? highTension(of, part) : null
  problems.push(...(found?.problems ?? []))
  if (found !== null) watts += found.HT.V * found.HT.A
  const load_A = watts / efficiency / Math.max(1, mains_V)
  const idle_now_A = noLoad_A(idle_A(of), part)
  return {
    part,
    mains_V,
    mains_A: Math.sqrt(load_A * load_A + idle_now_A * idle_now_A),
    HT: found?.HT ?? null,
    problems,
  }
}

/** A rectifier's filament has a winding of its own. */
function rectifierHeater(
  equipment: Equipment,
  { HT }: OwnMains,
): { readonly V: number; readonly A: number } | null {
  const tube = HT.rectifier === null ? undefined : equipment.tubes[HT.rectifier]
  const heater = tube === undefined ? null : (recordOf(tube)?.heater ?? null)
  return heater === null ? null : { V: heater.volts.value, A: heater.amps.value }
}

/**
 * HT where source and set meet: what the tubes draw with the bias that stands there too, as far as their cathodes give it at
 * these heater volts, from what the rectifier gives at its own.
 */
function highTension(
  { equipment, desk, own, mode }: Of,
  part: number,
): { readonly HT: NonNullable<OwnPoint['HT']>; readonly problems: readonly LimitProblem[] } | null {
  const { rail } = own.HT
  const full = ownRectified(equipment, mode, part, 1)
  const now = ownRectified(equipment, mode, part, emissionAt(part))
  if (full === null || now === null) return null
  const bias = Object.fromEntries(
    railsOf(equipment, 'bias').map((name) => [name, round(part * (equipment.rails[name]?.working_V ?? 0))]),
  )
  const at = (V: number, tubes: 'hot' | 'cold') =>
    desk.at(mode, { ...bias, [rail]: round(V) }, null, {}, tubes)
  const emission = emissionAt(part)
  let V = part * (equipment.rails[rail]?.working_V ?? 0)
  let A = 0
  for (let i = 0; i < 4; i++) {
    const hot_A = at(Math.max(1, V), 'hot').limits[rail]?.expected_A ?? 0
    const cold_A = at(Math.max(1, V), 'cold').limits[rail]?.expected_A ?? 0
    A = cold_A + emission * Math.max(0, hot_A - cold_A)
    V = (V + rectified_V(now, A)) / 2
  }
  const hot = at(Math.max(1, V), 'hot')
  const limits = hot.limits[rail]
  const cold_A = at(Math.max(1, V), 'cold').limits[rail]?.expected_A ?? 0
  const stored = emissionAt(part, emissionReserve.stored)
  const low_A =
    part < starved || limits === undefined
      ? 0
      : (1 - spread) * (cold_A + stored * Math.max(0, limits.lower_A - cold_A))
  const high_A = limits?.trip_A ?? 0
  return {
    HT: {
      V,
      low_V: part < starved ? 0 : (1 - spread) * rectified_V(now, Math.max(A, limits?.upper_A ?? 0)),
      high_V: (1 + spread) * (part < starved ? full.peak_V : rectified_V(full, low_A)),
      A,
      low_A: Math.min(low_A, A),
      high_A: Math.max(high_A, A),
      emission,
      strikes: hot.strikes.length > 0,
    },
    problems: hot.problems,
  }
}

/** To a volt below which nothing is told apart, so that points already solved are found again. */
function round(V: number): number {
  return V > 20 ? Math.round(V) : Math.round(10 * V) / 10
}
