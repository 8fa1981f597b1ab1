import type { Chance } from '../chance/index.js'
import { type Equipment, type OwnMains, ownRectified } from '../equipment/index.js'
import { rectified } from '../tubes/index.js'
import type { Heater } from './warmth.js'
import { emission, warm } from './warmth.js'

/**
 * The set's own transformer and rectifier behind a person's variable transformer. It begins as it is tried first: nothing on its
 * windings, the rectifier out; a person joins the one and fits the other.
 */
export interface OwnPack {
  readonly of: OwnMains
  V: number
  to_V: number
  V_per_s: number
  /** The set's own wires are joined to its windings. */
  joined: boolean
  /** Its rectifier is in, or its HT fuse. */
  rectifies: boolean
  /** Its rectifier's filament, on a winding of its own. */
  readonly filament: Heater | null
  /** This transformer's volts over those of the file, and its magnetising current over the usual. */
  readonly ratio: number
  readonly iron: number
  readonly primary: number
}

/** What stands for one rail: volts behind a resistance. */
export interface OwnSource {
  readonly V: number
  readonly ohm: number
}

/** With nothing on it, where the file does not say: part of what its fuse carries (common practice, no source). */
const idle = 0.08
const efficiency = 0.85
/** Nearly no conduction at all: where the reservoir stands at the peak. */
const least_S = 1e-6

export function createOwnPack(
  equipment: Equipment,
  heaters: ReadonlyMap<string, Heater>,
  source: Chance,
): OwnPack | null {
  const of = equipment.own_mains
  if (of === undefined) return null
  const spread = (part: number): number => 1 + part * Math.max(-1.5, Math.min(1.5, source.normal()))
  return {
    of,
    ...{ V: 0, to_V: 0, V_per_s: 0, joined: false, rectifies: false },
    filament: of.HT.rectifier === null ? null : (heaters.get(of.HT.rectifier) ?? null),
    ratio: spread(0.015),
    iron: spread(0.1),
    primary: spread(0.05),
  }
}

const partOf = ({ V, of, ratio }: OwnPack): number => (ratio * V) / of.volts

/** What it makes of a rail now that stands at `now_V`. */
export function ownSource(
  pack: OwnPack,
  equipment: Equipment,
  mode: string,
  rail: string,
  now_V: number,
): OwnSource {
  const part = pack.joined ? partOf(pack) : 0
  const declared = equipment.rails[rail]
  if (declared === undefined || part <= 0) return { V: 0, ohm: 0.05 }
  if (rail !== pack.of.HT.rail)
    return declared.role === 'heater' || declared.role === 'bias'
      ? { V: part * declared.working_V, ohm: 0.05 }
      : { V: 0, ohm: 0.05 }
  if (!pack.rectifies) return { V: 0, ohm: 0.05 }
  const given = ownRectified(
    equipment,
    mode,
    part,
    pack.filament === null ? 1 : Math.min(1, emission(pack.filament)),
  )
  if (given === null) return { V: 0, ohm: 0.05 }
  // A straight line through where it stands now: each step of the world lays it anew.
  const { A, slope_S } = rectified(given, now_V)
  const ohm = 1 / Math.max(least_S, -slope_S)
  return { V: Math.max(0, now_V) + A * ohm, ohm }
}

/** The rectifier's filament warms with the knob. */
export function warmPack(pack: OwnPack, dt_s: number): void {
  if (pack.filament === null) return
  warm(pack.filament, pack.rectifies && pack.joined ? partOf(pack) * pack.filament.hot_V : 0, dt_s)
}

/** What stands at a winding that is lifted or not, RMS. */
export function windingVolts(pack: OwnPack, winding: string): number {
  return partOf(pack) * (pack.of.windings[winding] ?? 0)
}

/** RMS amps at the plug, `watts` being what all rails take. */
export function plugAmps(pack: OwnPack, watts: number): number {
  if (pack.V <= 0) return 0
  const part = pack.V / pack.of.volts
  const full = pack.of.no_load_A?.value ?? idle * pack.of.fuse_A
  const square = part * part
  const iron_A = full * pack.iron * (0.7 * part + 0.3 * square * square * part)
  const filament = pack.filament
  const own_W =
    filament === null || !pack.rectifies ? 0 : filament.hot_V * filament.hot_A * part * Math.sqrt(part)
  const load_A = (watts + own_W) / efficiency / pack.V
  return Math.sqrt(iron_A * iron_A + load_A * load_A)
}
