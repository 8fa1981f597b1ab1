/* What a leak does, as arithmetic: published second-hand, with the check cases in tests/outside. */

/** Grid shift that a coupling capacitor's leak makes: V·Rg/(Rleak + Rg). */
export function gridShift_V(before_V: number, grid_ohm: number, leak_ohm: number): number {
  return (before_V * grid_ohm) / (leak_ohm + grid_ohm)
}

/** The leak that makes this shift. */
export function leakFor_ohm(before_V: number, grid_ohm: number, shift_V: number): number {
  return grid_ohm * (before_V / shift_V - 1)
}

/** What a tube of this slope draws more when its grid shifts so far: small signals only. */
export function riseOf_A(shift_V: number, slope_S: number): number {
  return shift_V * slope_S
}

/** Current of an insulation test. */
export function leak_A(test_V: number, leak_ohm: number): number {
  return test_V / leak_ohm
}
