/** Volts at a supply's terminals after OFF: where they began, and whether they go as the stated discharge path predicts. */
export interface Fall {
  readonly from_V: number | null
  readonly from_us: number | null
}

interface Path {
  readonly expected_fall: { readonly ohm: number; readonly F: number } | null
  readonly resolution_V: number
}

const resolutions = 3
/**
 * Electrolytics may carry up to half as much again as their marking and more (common practice, no source), bleeders drift
 * upwards: a fall up to this much slower than the nominal time constant still counts as predicted.
 */
const slower = 2

/** Fallen by at least three read-back resolutions and no slower than predicted. */
export function fallenEnough(fall: Fall, volts: number, t_us: number, path: Path): boolean {
  if (fall.from_V === null || fall.from_us === null || path.expected_fall === null) return false
  if (!belowTheFall(fall, volts, path)) return false
  const tau_s = path.expected_fall.ohm * path.expected_fall.F * slower
  const spent_s = (t_us - fall.from_us) / 1e6
  const predicted = tau_s > 0 ? Math.abs(fall.from_V) * Math.exp(-spent_s / tau_s) : 0
  return Math.abs(volts) <= predicted + resolutions * path.resolution_V
}

/** Fallen by at least three read-back resolutions since OFF. */
export function belowTheFall(fall: Fall, volts: number, path: Path): boolean {
  return fall.from_V !== null && Math.abs(fall.from_V) - Math.abs(volts) >= resolutions * path.resolution_V
}
