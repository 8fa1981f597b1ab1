import { formatShort } from '../quantities/index.js'
import type { RunEnding } from '../story/index.js'

const units = ['V', 'A', 's', 'Ω', 'W', 'V/s', '°C'] as const

/** A figure as its rule has it: volts, amps, seconds, degrees, or whatever else it is held against. */
export function inUnit(value: number, unit: string): string {
  const known = units.find((each) => each === unit)
  return known === undefined ? `${Number(value.toPrecision(3))} ${unit}`.trim() : formatShort(value, known)
}

/** Code, rail, step and both figures of a reason in one line, the same at a run's end and in `show`. */
export function reasonFigures(reason: NonNullable<RunEnding['reason']>): string {
  const { code, rail, step, measured, limit, unit } = reason
  return [
    code,
    ...(rail === null ? [] : [`rail ${rail}`]),
    ...(step === null ? [] : [`step ${step}`]),
    ...(measured === null ? [] : [`measured ${inUnit(measured, unit)}`]),
    ...(limit === null ? [] : [`limit ${inUnit(limit, unit)}`]),
  ].join('; ')
}
