/**
 * The case of a set as one lump of metal: warmed by all that its rails take, cooled by the room. A set of some 60 W in its own
 * case stands about 25 K above the room after an hour (common practice, no source).
 */
export interface Case {
  /** °C now. */
  readonly degrees: number
  /** Time passes while this much is taken, W. */
  pass(dt_s: number, watts: number): void
}

const room_degrees = 21
const kelvin_per_watt = 0.42
const slow_s = 1500

export function createCase(): Case {
  let degrees = room_degrees
  return {
    get degrees() {
      return degrees
    },
    pass(dt_s, watts) {
      const end = room_degrees + kelvin_per_watt * Math.max(0, watts)
      degrees = end + (degrees - end) * Math.exp(-dt_s / slow_s)
    },
  }
}
