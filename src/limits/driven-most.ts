import {
  biasRailOf,
  drivenDraw,
  drivenRating,
  type Equipment,
  gridPart,
  type RailName,
  recordOf,
  type StageInMode,
} from '../equipment/index.js'
import type { SetPoints } from './guards.js'

/* A driven stage of a set without a circuit where its rail stands, and the most its service allows it there. */

export interface Stage {
  readonly of: StageInMode
  readonly rail: RailName
  readonly rail_V: number
  /** The stage's rail as part of its working volts. */
  readonly part: number
  /** At its plate, as far as the file tells: its own figures were taken where the set's droppers leave them. */
  readonly plate_V: number
  readonly screen_V: number
  readonly plate_A: number
  readonly screen_A: number
  readonly grid_A: number
  readonly bias: RailName | null
  readonly text: string
  readonly source: string
}

export function standingStage(equipment: Equipment, of: StageInMode, volts: SetPoints): Stage[] {
  const rail = equipment.tubes[of.tube]?.rail
  const working_V = rail === undefined ? undefined : equipment.rails[rail]?.working_V
  const V = rail === undefined ? 0 : (volts[rail] ?? 0)
  if (rail === undefined || working_V === undefined || V <= 0) return []
  const part = V / working_V
  const drawn = drivenDraw(equipment, of, working_V)
  const figures = drawn?.known.figures
  const plate_V = drawn?.known.own === true ? drawn.known.figures.plate_V * part : V
  return [
    {
      of,
      rail,
      rail_V: V,
      part,
      plate_V,
      screen_V: Math.min(V, (figures?.screen_V ?? V) * (drawn?.known.own === true ? part : 1)),
      plate_A: (drawn?.plate_A ?? 0) * part,
      screen_A: (drawn?.screen_A ?? 0) * part,
      grid_A: drawn === null ? 0 : drawn.grid_A * gridPart(of, drawn.known, part),
      bias: biasRailOf(equipment, of),
      text: drawn?.known.text ?? 'what its rail or its chart says alone',
      source: drawn?.known.source ?? 'the set file',
    },
  ]
}

/**
 * The most a driven stage may draw from its rail by its service, plate and screen together, A; null where no rating is known.
 * Ratings of a service are absolute: no factor goes on top.
 */
export function drivenMost_A(equipment: Equipment, of: StageInMode, volts: number): number | null {
  const known = drivenRating(equipment, of)
  const tube = equipment.tubes[of.tube]
  const [stage] = tube?.rail === undefined ? [] : standingStage(equipment, of, { [tube.rail]: volts })
  if (known === null || tube === undefined || stage === undefined) return null
  const { plate_A, plate_input_W, screen_W } = known.rating
  const plates_A = Math.min(plate_A, (plate_input_W ?? Infinity) / stage.plate_V)
  const screens_W = screen_W ?? recordOf(tube)?.max.screen_W?.value
  return plates_A + (screens_W === undefined ? 0 : screens_W / stage.screen_V)
}
