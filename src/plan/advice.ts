import type { Equipment, RailName } from '../equipment/index.js'
import {
  dischargeTime_s,
  type LimitsDesk,
  show,
  storedEnergy_J,
  terminalBleeder_ohm,
} from '../limits/index.js'
import { low_V, setCapacitance_F } from './discharge.js'
import { blows, carries, fuseFor, type Top, wattsFor } from './preparations.js'
import { isHot } from './stages.js'

/** Part of the rail's volts that a series resistor may drop at what the rail should draw: our choice, inside the set-point's own 2 %. */
const drop = 0.02
/** A lead and a supply's own wiring have some of this at least (common practice, no source). */
const least_ohm = 0.05

/**
 * What would let less of a fault through on a rail of plates, screens or drive, each with its arithmetic: a fuse for the
 * lead, a resistor in series, and what the bleeder across the terminals does. Advice: the run asks for none of it.
 */
export function adviceFor(equipment: Equipment, desk: LimitsDesk, name: RailName, top: Top | null): string[] {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined || top === null || !isHot(equipment, name)) return []
  const { V, trip_A } = top
  if (V <= low_V || !(trip_A > 0)) return []
  return [
    ...fuseAdvice(rail.feeds.fuse_A, top, side.max_A, storedEnergy_J(side.output_F, V)),
    ...seriesAdvice(rail.feeds.series_ohm, top, side.output_F, side.lead_ohm),
    ...bleederAdvice(
      terminalBleeder_ohm(rail, side),
      side.output_F + setCapacitance_F(equipment, desk, name),
      V,
    ),
  ]
}

function fuseAdvice(
  stated_A: number | undefined,
  { V, trip_A }: Top,
  gives_A: number,
  own_J: number,
): string[] {
  const fit_A = fuseFor(trip_A)
  if (fit_A === null || (stated_A !== undefined && stated_A <= fit_A)) return []
  const sum = `${carries} × the ${show(trip_A, 'A')} trip is ${show(carries * trip_A, 'A')}, so ${show(fit_A, 'A')} is the next rating that carries it`
  const blown =
    gives_A < blows * fit_A
      ? `it takes ${blows} × its rating, ${show(blows * fit_A, 'A')}, to blow it by current and the supply gives ${show(gives_A, 'A')}, so it opens on charge only (${show(own_J, 'J')} in the supply's own capacitor)`
      : `the supply can blow it: ${blows} × its rating is ${show(blows * fit_A, 'A')} of the ${show(gives_A, 'A')} it gives`
  const stands = stated_A === undefined ? '' : ` (the set file states ${show(stated_A, 'A')})`
  return [
    `a fuse of ${show(fit_A, 'A')} in the positive lead, fast, for ${show(V, 'V')} DC or more${stands}: ${sum}; ${blown} (IEC 60127, from memory)`,
  ]
}

function seriesAdvice(
  stated_ohm: number | undefined,
  { V, trip_A, expected_A }: Top,
  own_F: number,
  lead_ohm: number,
): string[] {
  if (stated_ohm !== undefined || !(expected_A > 0) || !(own_F > 0)) return []
  const ohm = lowerE12((drop * V) / expected_A)
  if (ohm < 1) return []
  return [
    `a resistor of ${show(ohm, 'Ω')}, ${wattsFor(ohm, trip_A * ohm)} or more, in series with the positive lead (write it as series): it drops ${show(ohm * expected_A, 'V')} of ${show(V, 'V')} at the ${show(expected_A, 'A')} expected, and holds what the supply's own ${show(own_F, 'F')} can give into a short to ${show(V / ohm, 'A')} for ${show(ohm * own_F, 's')} instead of ${show(V / Math.max(lead_ohm, least_ohm), 'A')} (V/R and R·C; at most ${100 * drop} % of the volts: our choice)`,
  ]
}

function bleederAdvice(ohm: number | null, F: number, V: number): string[] {
  if (ohm === null || !(F > 0)) return []
  return [
    `the fixed bleeder of ${show(ohm, 'Ω')} takes ${show((V * V) / ohm, 'W')} at ${show(V, 'V')} and alone brings the ${show(F, 'F')} of supply and set from there to ${low_V} V in ${show(dischargeTime_s(ohm, F, V, low_V), 's')} (t = R·C·ln(V/${low_V})): a known fall, and what lets a set-point come down`,
  ]
}

/** The next lower value of the E12 series (IEC 60063). */
function lowerE12(ohm: number): number {
  const series = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
  for (let decade = 1000; decade >= 0.1; decade /= 10) {
    const value = series.toReversed().find((each) => each * decade <= ohm)
    if (value !== undefined) return Number((value * decade).toPrecision(2))
  }
  return 0
}
