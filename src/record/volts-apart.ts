/**
 * What the volts at which two currents were measured may make of their difference, A. A knob that a person turns stops within 5 % of
 * where it should, so two runs may stand a tenth apart, and what draws more at more volts has not changed for that. Space-charge
 * limited current goes with the 3/2 power of the volts (the law of Child and Langmuir) and a resistor's with the first: the steeper of
 * the two is allowed for. It excuses only what it explains: more current at fewer volts is more at any.
 */
export function allowedForVolts(
  a: { readonly volts: number | null; readonly amps: number },
  b: { readonly volts: number | null; readonly amps: number },
): number {
  if (a.volts === null || b.volts === null) return 0
  const [low, high] = a.volts <= b.volts ? [a, b] : [b, a]
  const [low_V, high_V] = [Math.abs(low.volts ?? 0), Math.abs(high.volts ?? 0)]
  if (low_V === 0 || high_V <= low_V || high.amps <= low.amps) return 0
  const ratio = high_V / low_V
  return Math.abs(low.amps) * (ratio * Math.sqrt(ratio) - 1)
}
