import type { Equipment, ModeName, RailName } from '../equipment/index.js'
import { dischargeTime_s, type LimitsDesk, parallel_ohm, terminalBleeder_ohm } from '../limits/index.js'

/** The path by which charge at a supply's terminals goes away once its output is off. */
export interface Discharge {
  readonly ohm: number
  readonly F: number
  readonly through: string
}

/** Volts that count as low: 60 V DC (IEC/EN 61010-1 6.3.1, second-hand). */
export const low_V = 60

/** Room on a computed discharge time for bleeders that have drifted high: our choice. */
const drift = 1.5

/** What a rail's own parts are to direct current with tubes cold, and what they hold. */
interface SetSide {
  /** Null where the file does not say, or nothing conducts. */
  readonly ohm: number | null
  readonly F: number
}

function setSide(equipment: Equipment, desk: LimitsDesk, name: RailName): SetSide {
  const rail = equipment.rails[name]
  const bench = desk.rails[name]
  if (rail === undefined || bench === undefined) return { ohm: null, F: 0 }
  const volts = rail.working_V
  if (desk.operating === null || rail.role === 'heater') {
    const F = Object.values(equipment.rail_capacitors)
      .filter((capacitor) => capacitor.rail === name)
      .reduce((sum, capacitor) => sum + capacitor.F, 0)
    return { ohm: null, F }
  }
  let ohm: number | null = null
  let F = 0
  // The worst mode counts: what a contact takes away may be the only path.
  for (const mode of modesOf(equipment)) {
    const here = desk.operating.cold(mode, { [name]: volts })
    const bleeder = terminalBleeder_ohm(rail, bench)
    const amps = (here.amps[name] ?? 0) - (bleeder === null ? 0 : volts / bleeder)
    const each = amps > 1e-9 ? volts / amps : null
    ohm = each === null ? ohm : Math.max(ohm ?? 0, each)
    F = Math.max(F, (here.charging_F[name] ?? 0) - bench.output_F)
  }
  return { ohm, F }
}

/** What a rail's own parts are to direct current with tubes cold; null where the file does not say, or nothing conducts. */
export function setPath_ohm(equipment: Equipment, desk: LimitsDesk, name: RailName): number | null {
  return setSide(equipment, desk, name).ohm
}

/** What a rail's own capacitors hold together, F. */
export function setCapacitance_F(equipment: Equipment, desk: LimitsDesk, name: RailName): number {
  return setSide(equipment, desk, name).F
}

export function modesOf(equipment: Equipment): ModeName[] {
  return Object.keys(equipment.modes)
}

/**
 * Discharge path at a programmed rail's terminals: bleeders on the bench, and the set's own where no diode and no fuse
 * stands between. Null where there is none: such a rail may not go above 60 V.
 */
export function dischargeOf(equipment: Equipment, desk: LimitsDesk, name: RailName): Discharge | null {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined || side.class !== 'programmed') return null
  const own = terminalBleeder_ohm(rail, side)
  const parts = setSide(equipment, desk, name)
  const apart = rail.feeds.blocking_diode === true || rail.feeds.fuse_A !== undefined
  const throughSet = apart ? null : parts.ohm
  const ohm = parallel_ohm([own, throughSet])
  if (ohm === null) return null
  // Behind a diode the set's charge does not come back to the terminals; behind a fuse it does as long as it is whole.
  const behind_F = rail.feeds.blocking_diode === true ? 0 : parts.F
  const through = [
    own === null ? null : 'the bench bleeder',
    throughSet === null ? null : "the set's own bleeder and dividers",
  ]
  return {
    ohm,
    F: Math.max(side.output_F + behind_F, 1e-9),
    through: through.filter((each) => each !== null).join(' and '),
  }
}

/**
 * Time for the set's own plate and screen supplies to fall to 60 V through paths that are there with tubes cold, with room
 * for drift. Null where a rail has charge and no known path.
 */
export function setDischarge_s(equipment: Equipment, desk: LimitsDesk): number | null {
  let longest_s = 0
  for (const [name, rail] of Object.entries(equipment.rails)) {
    if (rail.role === 'heater' || rail.role === 'bias') continue
    const bench = desk.rails[name]
    const parts = setSide(equipment, desk, name)
    const own = bench === undefined ? null : terminalBleeder_ohm(rail, bench)
    // A lead that falls off or a fuse that blows takes the bench's bleeder away: the set's own path counts alone where it
    // has one, and the bench's only where nothing but wire joins the two.
    const joined = rail.feeds.blocking_diode !== true && rail.feeds.fuse_A === undefined
    const ohm = parts.ohm ?? (joined ? own : null)
    const F = parts.F + (bench?.output_F ?? 0)
    if (ohm === null) return null
    longest_s = Math.max(longest_s, drift * dischargeTime_s(ohm, F, rail.working_V, low_V))
  }
  return longest_s
}
