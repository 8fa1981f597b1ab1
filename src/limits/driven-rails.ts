import {
  drivenRating,
  drivenStages,
  type Equipment,
  type ModeName,
  type Rail,
  type RailName,
  recordOf,
  type StageInMode,
} from '../equipment/index.js'
import { ratingsOf, screenTubeCurrents, triodeCurrents } from '../tubes/index.js'
import { terminalBleeder_ohm } from './bench-rails.js'
import { unguarded } from './driven.js'
import { type Stage, standingStage } from './driven-most.js'
import { inWords, overRatings, type SetPoints } from './guards.js'
import type { Estimate } from './level1.js'
import { preloadsTooSmall } from './preload.js'
import { show } from './rail-limits.js'
import { ratingFactor, toldBy } from './ratings.js'
import { serviceStress } from './service-ratings.js'
import type { Stress } from './stress.js'
import type { DrivenNow, LimitProblem, RailBench } from './types.js'

/*
 * Driven stages of a set known by its rails or charts only: by the ratings and typical operation of their service. What their
 * loss of drive makes of them is reckoned where the file says what then holds the grid; elsewhere it is told as unproved.
 */

/** What is known of the driven stages of a mode where the rails stand, and what the bias rails get back from their grids. */
export interface DrivenByRails {
  readonly driven: readonly DrivenNow[]
  readonly grids_A: Readonly<Record<RailName, number>>
  readonly problems: readonly LimitProblem[]
}

export const nothingDriven: DrivenByRails = { driven: [], grids_A: {}, problems: [] }

/** @param standing_A - what a bias rail gives here without any grid current; null where nothing says */
export function drivenByRails(
  equipment: Equipment,
  mode: ModeName,
  volts: SetPoints,
  rails: Readonly<Record<RailName, RailBench>>,
  standing_A: (bias: RailName) => number | null,
): DrivenByRails {
  const stages = drivenStages(equipment, mode).flatMap((of) => standingStage(equipment, of, volts))
  if (stages.length === 0) return nothingDriven
  const grids_A: Record<RailName, number> = {}
  for (const { bias, grid_A } of stages)
    if (bias !== null) grids_A[bias] = (grids_A[bias] ?? 0) + ((volts[bias] ?? 0) ? grid_A : 0)
  const with_A: Record<RailName, number> = {}
  for (const [name, A] of Object.entries(grids_A)) {
    const rail = equipment.rails[name]
    const bench = rails[name]
    const whole = standing_A(name)
    if (rail !== undefined && bench !== undefined && whole !== null)
      with_A[name] = relieved_A(whole, A, rail, bench, volts[name] ?? 0)
  }
  const driven = stages.map((stage) => nowOf(equipment, stage, with_A, standing_A))
  const hot = [...new Set(stages.map(({ rail }) => rail))]
  const holds = (tube: string, part: number): boolean => {
    const stage = stages.find(({ of }) => of.tube === tube)
    const lost = stage === undefined ? null : lostStress(equipment, stage, part)
    return lost === null || lost.ratio <= 1
  }
  return {
    driven,
    grids_A,
    problems: [
      ...stages.flatMap((stage) => overRatings(serviceStresses(equipment, stage), volts)),
      ...stages.flatMap((stage) => heldByNothing(equipment, stage, volts)),
      ...unguarded(driven, volts, hot, holds).map((problem) => ({
        ...problem,
        remedy: `${problem.remedy} It is reckoned with the screen at its rail's volts, to which it rises behind a dropper: where a divider or a regulator holds it, write screen: fixed, with screen_at under figures.`,
      })),
      ...preloadsTooSmall(equipment, rails, driven, volts, with_A),
    ],
  }
}

function nowOf(
  equipment: Equipment,
  stage: Stage,
  with_A: Readonly<Record<RailName, number>>,
  standing_A: (bias: RailName) => number | null,
): DrivenNow {
  const { of, plate_A, screen_A, grid_A, bias } = stage
  const { tube, type, stage: told } = of
  const rating = drivenRating(equipment, of)
  const { shows } = told
  const given_A = bias === null ? undefined : with_A[bias]
  const whole_A = bias === null ? null : standing_A(bias)
  return {
    tube,
    type,
    service: told.service,
    duty: told.duty,
    by: told.by,
    bias: told.bias,
    plate_A,
    screen_A,
    grid_A,
    grid_most_A: rating?.rating.grid_A ?? null,
    // Grid current flows towards the grid: the grid's side of the resistor is the more negative one.
    shows:
      shows?.ohm === undefined
        ? null
        : { node: shows.node, against: shows.against, volts: -grid_A * shows.ohm, lost_V: 0 },
    panel: told.panel ?? null,
    lost_A:
      bias === null || given_A === undefined || whole_A === null
        ? {}
        : { [bias]: Math.min(whole_A, given_A + grid_A) },
    lost_plate_A: lostCurrents(equipment, stage, 1)?.plate_A ?? 0,
    lost_stress: lostStress(equipment, stage, 1),
    text: `${tube} (${type}) in ${told.service}, ${told.duty}: ${show(plate_A, 'A')} plate${screen_A > 0 ? `, ${show(screen_A, 'A')} screen` : ''}${grid_A > 0 ? `, ${show(grid_A, 'A')} grid` : ''}, after ${stage.text}`,
    source: stage.source,
    unverified: stage.unverified,
  }
}

/** What a bias supply still gives with this grid current coming back: never less than its own bleeder takes. */
function relieved_A(standing_A: number, grid_A: number, rail: Rail, bench: RailBench, V: number): number {
  const bleeder_ohm = terminalBleeder_ohm(rail, bench)
  return Math.max(bleeder_ohm === null ? 0 : V / bleeder_ohm, standing_A - grid_A)
}

/** A bias rail's current with grid current coming back to it: the band reaches from half more of it to none. */
export function relieved(known: Estimate, grid_A: number, rail: Rail, bench: RailBench, V: number): Estimate {
  if (!(grid_A > 0)) return known
  return {
    ...known,
    expected_A: relieved_A(known.expected_A, grid_A, rail, bench, V),
    lower_A: relieved_A(known.lower_A, 1.5 * grid_A, rail, bench, 0.95 * V),
    text: `${known.text}; ${show(grid_A, 'A')} of it comes back as grid current of the driven stages`,
  }
}

/** With no drive the grid stands at its bias or, where the drive alone makes that, at its cathode; null where nothing says. */
function lostGrid_V(equipment: Equipment, { of, bias }: Stage): number | null {
  if (of.stage.bias === 'grid leak') return 0
  const nominal_V = bias === null ? undefined : equipment.rails[bias]?.required_bias?.nominal_V
  return nominal_V === undefined ? null : -Math.abs(nominal_V)
}

/**
 * What the stage draws without drive at this part of its rail's volts, by the type's curves; null where that cannot be told.
 * An idle stage drops next to nothing on the way: its plate stands at its rail, and its screen too unless the file says that
 * it keeps its volts.
 */
function lostCurrents(
  equipment: Equipment,
  stage: Stage,
  part: number,
): { readonly plate_A: number; readonly screen_A: number } | null {
  const tube = equipment.tubes[stage.of.tube]
  const model = tube === undefined ? undefined : recordOf(tube)?.sections[stage.of.section]?.model
  const grid_V = lostGrid_V(equipment, stage)
  if (grid_V === null) return null
  const { plate_V, screen_V } = idle_V(stage)
  if (model?.form === 'triode') return { ...triodeCurrents(model, part * plate_V, grid_V), screen_A: 0 }
  return model?.form === 'screen' ? screenTubeCurrents(model, part * plate_V, part * screen_V, grid_V) : null
}

function idle_V({ of, rail_V, screen_V }: Stage): { readonly plate_V: number; readonly screen_V: number } {
  return { plate_V: rail_V, screen_V: of.stage.fixed_screen === true ? screen_V : rail_V }
}

function lostStress(equipment: Equipment, stage: Stage, part: number): DrivenNow['lost_stress'] {
  const tube = equipment.tubes[stage.of.tube]
  const record = tube === undefined ? null : recordOf(tube)
  const lost = lostCurrents(equipment, stage, part)
  if (record === null || lost === null) return null
  const factor = ratingFactor[record.rating_system]
  const { plate_W, screen_W } = ratingsOf(record, stage.of.section)
  const { plate_V, screen_V } = idle_V(stage)
  const all = [
    { what: 'plate dissipation', W: lost.plate_A * part * plate_V, of: plate_W },
    { what: 'screen dissipation', W: lost.screen_A * part * screen_V, of: screen_W },
  ].flatMap(({ what, W, of }) =>
    of === undefined || !(of.value > 0)
      ? []
      : [
          {
            what: `${stage.of.tube} (${stage.of.type}) ${what}`,
            ratio: W / (of.value * factor),
            of_rating: W / of.value,
            rating: `${show(of.value, 'W')} ${record.rating_system}${factor > 1 ? ` × ${factor}` : ''}`,
            source: toldBy(of, record, factor).source,
          },
        ],
  )
  return all.reduce<DrivenNow['lost_stress']>((a, b) => (a !== null && a.ratio >= b.ratio ? a : b), null)
}

/** A stage that only its drive holds, of which nothing tells what it then draws: there is no limit without that. */
function heldByNothing(equipment: Equipment, stage: Stage, volts: SetPoints): LimitProblem[] {
  const { of } = stage
  const tube = equipment.tubes[of.tube]
  if (of.stage.bias !== 'grid leak' || tube === undefined || lostStress(equipment, stage, 1) !== null)
    return []
  const why =
    lostCurrents(equipment, stage, 1) === null
      ? 'its type has no curves that would tell what it then draws'
      : 'no plate dissipation of its type is known'
  return [
    {
      severity: 'error',
      what: `${of.tube} (${of.type}) has its bias from its drive alone, and ${why}: what becomes of it when the drive is lost at ${inWords(volts)} has no limit.`,
      remedy: `Define its type under tube_types with operating points and plate_W from its sheet, or fit a fixed protective bias and write bias: fixed with the bias rail.`,
    },
  ]
}

/** Lost drive that nothing reckons, in words for what stays unproved; null where it is reckoned. */
export function lostUntold(equipment: Equipment, of: StageInMode): string | null {
  const { tube, type, stage } = of
  const rail = equipment.tubes[tube]?.rail
  const working_V = rail === undefined ? undefined : equipment.rails[rail]?.working_V
  if (rail === undefined || working_V === undefined) return null
  const [standing] = standingStage(equipment, of, { [rail]: working_V })
  if (standing === undefined || lostStress(equipment, standing, 1) !== null) return null
  const why =
    stage.bias === 'cathode resistor'
      ? 'its cathode resistor is in no circuit of the file'
      : lostGrid_V(equipment, standing) === null
        ? 'no bias rail of the file holds its grid'
        : 'its type has no curves, or no plate dissipation'
  return `${tube} (${type}): ${why}`
}

/** How hard a driven stage works against what its service allows, so far as its rail's volts tell. */
function serviceStresses(equipment: Equipment, stage: Stage): Stress[] {
  const { of, plate_A, screen_A, grid_A, plate_V } = stage
  const known = drivenRating(equipment, of)
  if (known === null) return []
  const add = serviceStress({ part: of.tube, element: of.tube, type: of.type }, known)
  const rail_A = plate_A + screen_A
  return [
    ...add('plate current', plate_A, 'A', 'plate_A', rail_A),
    ...add('plate input', plate_A * plate_V, 'W', 'plate_input_W', rail_A),
    ...add('plate voltage', plate_V, 'V', 'plate_V', rail_A),
    ...add('grid current', grid_A, 'A', 'grid_A', rail_A),
  ]
}
