/** Energy in a capacitor, joules: ½·C·V². */
export function storedEnergy_J(F: number, V: number): number {
  return 0.5 * F * V * V
}

/** Charge in a capacitor, coulombs: C·V. */
export function charge_C(F: number, V: number): number {
  return F * V
}

/** Seconds until a capacitor falls from `from_V` to `to_V` through a resistor: R·C·ln(V0/V); 0 where it is there already. */
export function dischargeTime_s(ohm: number, F: number, from_V: number, to_V: number): number {
  return from_V <= to_V ? 0 : ohm * F * Math.log(from_V / to_V)
}

/** Volts left after `t_s` through a resistor: V0·e^(−t/RC). */
export function voltsAfter_V(ohm: number, F: number, from_V: number, t_s: number): number {
  return from_V * Math.exp(-t_s / (ohm * F))
}

/** Several resistances in parallel; null where there is none. */
export function parallel_ohm(ohms: readonly (number | null | undefined)[]): number | null {
  let siemens = 0
  for (const ohm of ohms) if (ohm !== null && ohm !== undefined && ohm > 0) siemens += 1 / ohm
  return siemens > 0 ? 1 / siemens : null
}
