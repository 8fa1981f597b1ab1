import { biasRailOf, type DrivenStage, gridPart, type StageInMode } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { across, vigour, type Volts } from './live.js'
import type { Parts } from './parts.js'
import type { FaultSpec } from './types.js'

type Valve = Extract<Element, { kind: 'triode' | 'screen tube' }>

/** A driver with less than this of its emission drives nothing (common practice, no source). */
const weakest = 0.3

/** Whether drive arrives at a tube: every stage before it works, and nothing took it away. */
export function isDriven(parts: Parts, tube: string, faults: readonly FaultSpec[]): boolean {
  let at = tube
  // A file whose stages drive each other in a ring is none: bounded by the number of its tubes.
  for (let hops = 0; hops < Object.keys(parts.equipment.tubes).length; hops++) {
    if (faults.some(({ part, kind }) => part === at && kind === 'no-drive')) return false
    const from = stageOf(parts, at)?.from
    if (from === undefined) return true
    if (vigour(parts, from) < weakest) return false
    at = from
  }
  return true
}

function stageOf(parts: Parts, tube: string): DrivenStage | undefined {
  const of = parts.equipment.tubes[tube]
  return of?.driven ?? of?.sections.find(({ driven }) => driven !== undefined)?.driven
}

/**
 * How this set's stage is tuned, loaded and driven: within some 15 % of what its handbook says, whatever its cathode could
 * give. Off tune the plate draws several times the dip and less reaches the screen (common practice, no source).
 */
export function ownDrive(parts: Parts, tube: string, given: Valve, faults: readonly FaultSpec[]): Valve {
  const { driven } = given
  if (driven === undefined) return given
  const chance = parts.chance(`drive ${tube}`)
  const own = (spread: number): number =>
    Math.exp(spread * Math.max(-2, Math.min(2, chance.normal()))) /
    (driven.by === 'RF' ? parts.tube(tube) : 1)
  const off = faults.find(({ part, kind }) => part === tube && kind === 'off-tune')
  const detuned = off === undefined ? 1 : (off.value ?? 2.5)
  return {
    ...given,
    driven: {
      ...driven,
      plate: driven.plate * own(0.07) * detuned,
      screen: driven.screen * own(0.1) * (off === undefined ? 1 : 0.7),
      grid: driven.grid * own(0.1),
      bend: 0.2 * chance.next(),
    },
  }
}

/** A stage of a set known by its rails alone: what it draws driven, or left to what holds its grid (common practice, no source). */
export interface RailStage {
  readonly of: StageInMode
  /** At its rail's working volts, plate and screen, A. */
  readonly driven_A: number
  readonly lost_A: number
}

/** What a cathode resistor leaves of a stage without drive, and what nothing leaves, as parts of its driven current. */
const leftBy = { fixed: 0, 'cathode resistor': 1.1, 'grid leak': 2 } as const

export function railStages(parts: Parts, mode: string): RailStage[] {
  const { equipment } = parts
  return parts.stages(mode).flatMap((of) => {
    const rail = equipment.tubes[of.tube]?.rail
    const working_V = rail === undefined ? undefined : equipment.rails[rail]?.working_V
    const drawn = working_V === undefined ? null : parts.drawn_by(of, working_V)
    if (drawn === null) return []
    const driven_A = drawn.plate_A + drawn.screen_A
    const lost_A = of.stage.by === 'audio' ? drawn.rest_A : leftBy[of.stage.bias] * driven_A
    return [{ of, driven_A, lost_A }]
  })
}

/** Grid current of a tube of such a set now, A. */
export function railGrid_A(
  parts: Parts,
  mode: string,
  faults: readonly FaultSpec[],
  tube: string,
  volts: Volts,
): number {
  const { equipment } = parts
  const of = parts.stages(mode).find((each) => each.tube === tube)
  const rail = equipment.rails[equipment.tubes[tube]?.rail ?? '']
  if (of === undefined || rail === undefined || !isDriven(parts, tube, faults)) return 0
  const drawn = parts.drawn_by(of, rail.working_V)
  const V = across(volts, rail.positive, rail.negative)
  if (drawn === null || V < 0.05 * rail.working_V || vigour(parts, tube) < weakest) return 0
  return drawn.grid_A * gridPart(of, drawn.known, V / rail.working_V)
}

/** What comes back to a bias rail as grid current of such a set, A. */
export function railGrids_A(
  parts: Parts,
  mode: string,
  faults: readonly FaultSpec[],
  bias: string,
  volts: Volts,
): number {
  return parts
    .stages(mode)
    .filter((of) => biasRailOf(parts.equipment, of) === bias)
    .reduce((sum, { tube }) => sum + railGrid_A(parts, mode, faults, tube, volts), 0)
}
