import type { DiodeModel, RegulatorModel } from './types.js'

/** Vacuum diode by the law of Child and Langmuir, amps and siemens; mercury arcs conduct beyond their drop only. */
export function diodeWithSlope(
  model: DiodeModel,
  V: number,
): { readonly I: number; readonly slope_S: number } {
  const v = V - (model.drop_V ?? 0)
  if (!(v > 0)) return { I: 0, slope_S: 0 }
  const root = Math.sqrt(v)
  return { I: model.K * v * root, slope_S: 1.5 * model.K * root }
}

/** Current in amps at V volts plate to cathode; none below zero (or below the arc's drop). */
export function diodeCurrent(model: DiodeModel, V: number): number {
  return diodeWithSlope(model, V).I
}

/** Volts across a lit gas regulator at I amps: operating volts at the middle of its range, sloping by its resistance. */
export function regulatorVolts(model: RegulatorModel, I: number): number {
  return model.operating_V + model.slope_ohm * (I - (model.min_A + model.max_A) / 2)
}
