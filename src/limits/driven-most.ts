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
import { show } from './rail-limits.js'
import type { Doubt } from './types.js'

/* A driven stage of a set without a circuit where its rail stands, and the most its service allows it there. */

/** The most that a tube may draw by its ratings, and which these are. */
export interface Allowed {
  readonly A: number
  /** `12 W of plate and 2 W of screen, design-centre × 1.2`. */
  readonly by: string
  readonly source: string
  readonly unverified?: Doubt | undefined
}

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
  readonly unverified: Doubt | undefined
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
      unverified: drawn?.known.from_memory === true ? 'figure' : undefined,
    },
  ]
}

/**
 * The most a driven stage may draw from its rail by its service, plate and screen together, and what says so; null where no
 * rating is known. Ratings of a service are absolute: no factor goes on top.
 */
export function drivenMost(equipment: Equipment, of: StageInMode, volts: number): Allowed | null {
  const known = drivenRating(equipment, of)
  const tube = equipment.tubes[of.tube]
  const [stage] = tube?.rail === undefined ? [] : standingStage(equipment, of, { [tube.rail]: volts })
  if (known === null || tube === undefined || stage === undefined) return null
  const { plate_A, plate_input_W, screen_W } = known.rating
  const byInput_A = (plate_input_W ?? Infinity) / stage.plate_V
  const plates_A = Math.min(plate_A, byInput_A)
  const types = recordOf(tube)?.max.screen_W
  const screens_W = screen_W ?? types?.value
  const recalled =
    known.recalled.has(byInput_A < plate_A ? 'plate_input_W' : 'plate_A') ||
    (screen_W === null ? types?.confidence === 'from memory' : known.recalled.has('screen_W'))
  const plates =
    byInput_A < plate_A ? `${show(plate_input_W ?? 0, 'W')} of input` : `${show(plate_A, 'A')} of plate`
  return {
    A: plates_A + (screens_W === undefined ? 0 : screens_W / stage.screen_V),
    by: `${plates}${screens_W === undefined ? '' : ` and ${show(screens_W, 'W')} of screen`}, ${known.text}`,
    source: [known.source, ...(screen_W === null && types !== undefined ? [types.source] : [])].join('; '),
    unverified: recalled ? 'figure' : undefined,
  }
}
