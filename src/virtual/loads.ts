import type { Equipment } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { isDriven, railGrids_A, railStages } from './drive.js'
import { across, type Live, vigour, type Volts } from './live.js'
import type { Parts } from './parts.js'
import type { FaultSpec } from './types.js'

/** What one tube (or everything nobody named) draws from a rail when hot, at the rail's `at_V`. */
interface Draw {
  readonly tube: string | null
  readonly amps: number
}

/**
 * A set known by its rails alone: on each rail its capacitors and a load after the handbook's total, growing with
 * V^1.4 (common practice, no source; the plan judges by the same law, this set by its own tubes and its own exponent).
 */
export function loadElements(parts: Parts, mode: string, faults: readonly FaultSpec[]): (Element | Live)[] {
  const { equipment } = parts
  const made: (Element | Live)[] = []
  for (const [name, part] of Object.entries(equipment.parts)) {
    if (part.kind === 'resistor') {
      made.push({ kind: 'resistor', name, a: part.between[0], b: part.between[1], ohm: part.ohm })
    } else if (part.kind === 'capacitor') {
      made.push(capacitor(name, part.between[0], part.between[1], part.F))
    } else if (part.kind === 'choke' || part.kind === 'winding') {
      const [a, b] = part.between
      made.push({ kind: 'inductor', name, a, b, H: part.H, ohm: part.ohm })
    }
  }
  for (const [name, part] of Object.entries(equipment.rail_capacitors)) {
    const rail = equipment.rails[part.rail]
    if (rail !== undefined) made.push(capacitor(name, rail.positive, rail.negative, part.F))
  }
  for (const rail of Object.keys(equipment.rails)) {
    const bias = equipment.rails[rail]?.required_bias
    if (bias?.preload_ohm !== undefined) {
      made.push(preload(parts, mode, faults, rail, bias.node, bias.preload_ohm))
    }
    const load = railLoad(parts, rail, mode, faults)
    if (load !== null) made.push(load)
  }
  return made
}

function capacitor(name: string, a: string, b: string, F: number): Element {
  return { kind: 'capacitor', name, a, b, F, leak_S: 0, series_ohm: 1 }
}

/** Tubes that draw from this rail in this mode. */
function tubesOn(equipment: Equipment, rail: string, mode: string): string[] {
  return Object.entries(equipment.tubes).flatMap(([name, tube]) => {
    const here = tube.rail === rail && tube.pulled !== true
    return here && (tube.modes === undefined || tube.modes.includes(mode)) ? [name] : []
  })
}

/** Plate and screen current of a type's first published class A point, A; 5 mA where none is known. */
function published_A(parts: Parts, tube: string): number {
  const point = parts.records.get(tube)?.points.find(({ plate_A }) => plate_A !== null)
  return point === undefined ? 0.005 : (point.plate_A ?? 0) + (point.screen_A ?? 0)
}

/** The preload at the grid-return end: grid current takes over part of what flows in it. */
function preload(
  parts: Parts,
  mode: string,
  faults: readonly FaultSpec[],
  rail: string,
  node: string,
  ohm: number,
): Live {
  const b = parts.equipment.chassis_node
  const name = `${rail} preload`
  const conductance = (volts: Volts): number => {
    const V = Math.abs(across(volts, node, b))
    const grids_A = V > 1 ? railGrids_A(parts, mode, faults, rail, volts) : 0
    return Math.max(1e-9, 1 / ohm - grids_A / Math.max(1, V))
  }
  return {
    name,
    key: conductance,
    element: (volts) => ({ kind: 'resistor', name, a: node, b, ohm: 1 / conductance(volts) }),
    last: Number.NaN,
    floor: 1e-9,
  }
}

function railLoad(parts: Parts, rail: string, mode: string, faults: readonly FaultSpec[]): Live | null {
  const { equipment } = parts
  const declared = equipment.rails[rail]
  if (declared === undefined || declared.role === 'heater') return null
  const tubes = tubesOn(equipment, rail, mode)
  const total = declared.totals[mode]
  const stages = new Map(railStages(parts, mode).map((stage) => [stage.of.tube, stage]))
  const usual_A = (tube: string): number => stages.get(tube)?.driven_A ?? published_A(parts, tube)
  const sum = tubes.reduce((amps, tube) => amps + usual_A(tube), 0)
  const whole = total?.current_A ?? sum
  if (!(whole > 0)) return null
  const at_V = total?.at_V ?? declared.working_V
  const draws: Draw[] =
    tubes.length === 0
      ? [{ tube: null, amps: whole }]
      : tubes.map((tube) => ({ tube, amps: (whole * usual_A(tube)) / sum }))
  const chance = parts.chance(`load ${rail}`)
  const exponent = 1.4 + 0.08 * Math.max(-1, Math.min(1, chance.normal() / 2))
  const spread = 1 + 0.1 * Math.max(-1, Math.min(1, chance.normal() / 2))
  const { positive: a, negative: b } = declared
  const name = `load of ${rail}`
  const conductance = (volts: Volts): number => {
    const V = Math.max(0.01 * at_V, Math.abs(across(volts, a, b)))
    const shape = Math.exp((exponent - 1) * Math.log(V / at_V)) / at_V
    const drive = (tube: string): number => {
      const stage = stages.get(tube)
      if (stage === undefined) return 1
      const off = faults.find(({ part, kind }) => part === tube && kind === 'off-tune')
      if (isDriven(parts, tube, faults)) return off === undefined ? 1 : (off.value ?? 2.5)
      return stage.driven_A > 0 ? stage.lost_A / stage.driven_A : 1
    }
    // A gassy tube's plate current grows with its gas: its grid no longer holds it.
    const amps = draws.reduce(
      (all, { tube, amps: own }) =>
        all +
        own *
          (tube === null ? 1 : vigour(parts, tube) * drive(tube) * (1 + 500 * (parts.gas.get(tube) ?? 0))),
      0,
    )
    return Math.max(1e-9, amps * spread * shape)
  }
  return {
    name,
    key: conductance,
    element: (volts) => ({ kind: 'resistor', name, a, b, ohm: 1 / conductance(volts) }),
    last: Number.NaN,
    floor: 1e-9,
  }
}
