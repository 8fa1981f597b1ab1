/* Capacitance from the charge that goes in against the volts gained. */

/**
 * What is known of a charging: the areas under both voltages, V·s, from a reading of the part's meter with the supply at its new
 * volts until everything stands. While the supply itself moves nothing is reckoned: when it stepped is known to a reading only.
 */
export interface Charging {
  readonly s: number
  /** Volts of the part where the areas begin and end. */
  readonly from_V: number
  readonly to_V: number
  /** What of a rise of the drop is the meter's own current is a straight line. */
  readonly meter_ohm: number | null
  /** Area under the drop across the feed resistor and under the part's own volts. */
  readonly drop_Vs: number
  readonly part_Vs: number
  /** Before the supply moved and after all has settled: the drop and the volts as they stood. */
  readonly before: { readonly drop_V: number; readonly V: number }
  readonly after: { readonly drop_V: number; readonly V: number }
}

export interface Capacitance {
  readonly F: number
  readonly error_F: number
}

/** What is taken off for leakage may be wrong: it bends with the volts while they rise, and falls all the time (our choice). */
const bent = 0.15
/** Readings of a part's meter come this far apart while it charges, s (five a second on an ordinary line). */
const between_s = 0.2

/**
 * Leakage, the meter's own current and both instruments' errors are what the drop stands at before and after; between the two
 * they are taken as rising with the volts, and what is left went into the capacitor.
 */
export function capacitanceOf(
  ramp: Charging,
  feed_ohm: number,
  feed_error: number,
  read_V: number,
): Capacitance | null {
  const { before, after } = ramp
  const gained_V = ramp.to_V - ramp.from_V
  if (gained_V < Math.max(3, 20 * read_V) || after.V <= before.V || ramp.s <= 0) return null
  const rise = after.drop_V - before.drop_V
  const standing_Vs =
    before.drop_V * ramp.s + (rise / (after.V - before.V)) * (ramp.part_Vs - before.V * ramp.s)
  const F = (ramp.drop_Vs - standing_Vs) / (feed_ohm * gained_V)
  if (!(F > 0)) return null
  const straight_V = ramp.meter_ohm === null ? 0 : ((after.V - before.V) * feed_ohm) / ramp.meter_ohm
  const leak_Vs = bent * Math.abs(rise - straight_V) * ramp.s
  const leaks_F = leak_Vs / (feed_ohm * gained_V)
  const reads_F = (0.3 * read_V * ramp.s) / (feed_ohm * gained_V) + (read_V / gained_V) * F
  // Straight lines between readings lie above what bends: a twelfth of the square of their distance over the time constant.
  const apart = between_s / (feed_ohm * F)
  return { F, error_F: leaks_F + reads_F + (feed_error + (apart * apart) / 12) * F }
}

/** Fewer last digits than this below its last volts are not told from none. */
const toldApart = 3

/**
 * The most that a part can have that was read at `from_V` and `s` later at `seen_V`, on its way to `after`: what was missing dies away
 * no sooner than through its feed resistor at the last volts, however the supply rose. Null where that says nothing.
 */
export function atMost_F(
  rise: {
    readonly s: number
    readonly from_V: number
    readonly seen_V: number
    readonly after: { readonly drop_V: number; readonly V: number }
  },
  feed_ohm: number,
  read_V: number,
): number | null {
  const { from_V, seen_V, after } = rise
  const gained_V = after.V - from_V
  const missing_V = Math.max(0, after.V - seen_V) + toldApart * read_V
  if (gained_V < Math.max(3, 20 * read_V) || missing_V >= gained_V || rise.s <= 0) return null
  // What it leaks shortens its time constant: the resistor counts as far as the part has come.
  const ohm = (feed_ohm * after.V) / Math.max(after.V, after.V + after.drop_V)
  return rise.s / (ohm * Math.log(gained_V / missing_V))
}

/** Ramps taken together, each by how well it tells. */
export function together(a: Capacitance | null, b: Capacitance | null): Capacitance | null {
  if (a === null || b === null) return a ?? b
  const [wa, wb] = [1 / (a.error_F * a.error_F), 1 / (b.error_F * b.error_F)]
  return { F: (a.F * wa + b.F * wb) / (wa + wb), error_F: Math.min(a.error_F, b.error_F) }
}
