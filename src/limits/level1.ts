import {
  type Equipment,
  type ModeName,
  type Rail,
  type RailName,
  recordOf,
  type Tube,
} from '../equipment/index.js'
import { formatQuantity } from '../quantities/index.js'
import { ratingFactor } from './ratings.js'
import { terminalBleeder_ohm } from './bench-rails.js'
import { periodLeakage_A } from './sampling.js'
import type { Guard, RailBench } from './types.js'

/**
 * Expected current of a rail whose circuit the file does not give: from the handbook's total, else from the types.
 * Bands: ×0.5..1.5 about a total, ×0.3..1.5 about a sum of types (our choice: they bound what a set with healthy tubes
 * draws at any voltage below its own).
 */
export interface Estimate {
  readonly expected_A: number
  readonly low: number
  readonly high: number
  readonly text: string
  readonly source: string
}

/** Total cathode current of a whole set against its HT: between the 3/2 law and a resistor (common practice, no source). */
const exponent = 1.4

/** Null where the file says nothing that a current could be computed from. */
export function estimate(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  mode: ModeName,
  volts: number,
  bench: RailBench,
): Estimate | null {
  const bleeder = terminalBleeder_ohm(rail, bench)
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const withBleeder = bleeder === null ? '' : `, and ${formatQuantity(round(bleeder_A), 'A')} of bleeder`
  const total = rail.totals[mode]
  if (total !== undefined) {
    return {
      expected_A: total.current_A * scaled(volts / total.at_V) + bleeder_A,
      low: 0.5,
      high: 1.5,
      text: `handbook total of ${formatQuantity(total.current_A, 'A')} at ${formatQuantity(total.at_V, 'V')} in ${mode}, scaled to ${formatQuantity(volts, 'V')}${withBleeder}`,
      source: total.source,
    }
  }
  const types = tubesOn(equipment, name, mode)
  let sum_A = 0
  const counted: string[] = []
  for (const { part, tube } of types) {
    const point = classA(tube)
    if (point === null) continue
    sum_A += point.amps * scaled(Math.min(1, volts / point.volts))
    counted.push(part)
  }
  if (counted.length > 0) {
    return {
      expected_A: sum_A + bleeder_A,
      low: 0.3,
      high: 1.5,
      text: `sum of types: published currents of ${counted.join(', ')}, scaled to ${formatQuantity(volts, 'V')}${withBleeder}`,
      source: 'tube data, each type’s published operating point',
    }
  }
  if (bleeder === null) return null
  return {
    expected_A: bleeder_A,
    low: 0.8,
    high: 1.25,
    text: `${formatQuantity(volts, 'V')} across the bench bleeder of ${formatQuantity(bleeder, 'Ω')}, nothing else is stated`,
    source: 'the set and bench files',
  }
}

/**
 * The same rail with its tubes cold or pulled (reforming): only bleeders and capacitor leakage are left, and a handbook's
 * total says nothing. Unformed electrolytics draw several times their limit at first (2-3 mA seen where 1 mA is allowed).
 */
export function coldEstimate(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  volts: number,
  bench: RailBench,
): Estimate | null {
  const bleeder = terminalBleeder_ohm(rail, bench)
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const leakage_A = Object.values(equipment.rail_capacitors)
    .filter((part) => part.rail === name && part.dielectric === 'electrolytic')
    .reduce((sum, part) => sum + periodLeakage_A(part.F, part.rated_V), 0)
  const expected_A = bleeder_A + leakage_A
  if (!(expected_A > 0)) return null
  return {
    expected_A,
    low: (0.8 * bleeder_A) / expected_A,
    high: (1.25 * bleeder_A + 3 * leakage_A) / expected_A,
    text: `tubes cold or pulled: ${formatQuantity(round(leakage_A), 'A')} of capacitor leakage allowed${bleeder === null ? '' : `, and ${formatQuantity(round(bleeder_A), 'A')} of bleeder`}`,
    source:
      'JAN-C-62, I(mA) = K·C(µF) + 0.3, second-hand; three times that while unformed (common practice, no source)',
  }
}

/** Largest currents that the tubes of a rail may draw together at these volts, each at its own rating, and the bleeders'. */
export function tubeSumGuard(
  equipment: Equipment,
  name: RailName,
  mode: ModeName,
  volts: number,
  bleeder: number | null,
): Guard | null {
  let sum_A = bleeder === null ? 0 : volts / bleeder
  const types = tubesOn(equipment, name, mode)
  for (const { tube } of types) {
    const largest = largest_A(tube, volts)
    if (largest === null) return null
    sum_A += largest
  }
  if (types.length === 0) return null
  return {
    part: name,
    ceiling_A: sum_A,
    text: `every tube on the rail (${types.map(({ part }) => part).join(', ')}) at the most its ratings allow`,
    source: 'tube data',
  }
}

function tubesOn(equipment: Equipment, rail: RailName, mode: ModeName): { part: string; tube: Tube }[] {
  return Object.entries(equipment.tubes)
    .filter(
      ([, tube]) =>
        tube.pulled !== true && tube.rail === rail && (tube.modes === undefined || tube.modes.includes(mode)),
    )
    .map(([part, tube]) => ({ part, tube }))
}

/** Largest published static current of a type in ordinary use, plate and screen together, all its sections. */
function classA(tube: Tube): { amps: number; volts: number } | null {
  const found = recordOf(tube)
  if (found === null) return null
  let best: { amps: number; volts: number } | null = null
  for (const point of found.points) {
    const other = /AB|idle|cut-off|drop|indicator|zero signal|test/i.test(point.class)
    if (point.plate_A === null || point.doubtful !== null || other) continue
    const amps = (point.plate_A + (point.screen_A ?? 0)) * (found.kind === 'twin-triode' ? 2 : 1)
    if (best === null || amps > best.amps) best = { amps, volts: point.plate_V }
  }
  return best
}

function largest_A(tube: Tube, volts: number): number | null {
  const found = recordOf(tube)
  if (found === null) return null
  const factor = ratingFactor[found.rating_system]
  const { max } = found
  const plate_A =
    max.plate_W === undefined ? undefined : (max.plate_W.value + (max.screen_W?.value ?? 0)) / volts
  const allowed = [max.cathode_A?.value, plate_A, max.dc_output_A?.value].filter(
    (value) => value !== undefined,
  )
  const sections = Math.max(1, found.sections.length)
  return allowed.length === 0 ? null : Math.min(...allowed) * factor * sections
}

function scaled(ratio: number): number {
  return ratio > 0 ? Math.exp(exponent * Math.log(ratio)) : 0
}

function round(value: number): number {
  return Number(value.toPrecision(3))
}
