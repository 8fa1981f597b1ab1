import {
  drivenRating,
  drivenStages,
  figuresOf,
  sectionName,
  type Equipment,
  type ModeName,
  type StageInMode,
} from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { inWords, type SetPoints } from './guards.js'
import { stresses } from './ratings.js'
import { show } from './rail-limits.js'
import type { Stress } from './stress.js'
import type { DrivenNow, LimitProblem } from './types.js'

type Valve = Extract<Element, { readonly kind: 'triode' | 'screen tube' }>

/** What the driven stages of a mode draw at one operating point, and what becomes of each when its drive is lost. */
export function drivenNow(
  equipment: Equipment,
  mode: ModeName,
  elements: readonly Element[],
  nominal: Solution,
  solve: (changed: readonly Element[]) => Solution,
  amps: (solution: Solution) => Readonly<Record<string, number>>,
): DrivenNow[] {
  const stages = drivenElements(equipment, mode, elements)
  const all = stages.map(({ element }) => still(element))
  const lostAll = stages.length > 1 ? solve(all) : null
  return stages.map(({ of, element }) => {
    const lost = solve([still(element)])
    const alone = worst(equipment, of.tube, still(element), lost)
    const together = lostAll === null ? null : worst(equipment, of.tube, still(element), lostAll)
    const { plate = 0, screen = 0, grid = 0 } = nominal.currents[element.name] ?? {}
    const known = figuresOf(equipment, of)
    const rating = drivenRating(equipment, of)
    const { shows } = of.stage
    const between = ({ volts }: Solution): number =>
      shows === undefined ? 0 : (volts[shows.node] ?? 0) - (volts[shows.against] ?? 0)
    const most_A = rating?.rating.grid_A ?? null
    return {
      tube: of.tube,
      type: of.type,
      service: of.stage.service,
      duty: of.stage.duty,
      by: of.stage.by,
      bias: of.stage.bias,
      plate_A: plate,
      screen_A: screen,
      grid_A: grid,
      grid_most_A: most_A,
      shows: shows === undefined ? null : { ...shows, volts: between(nominal), lost_V: between(lost) },
      panel: of.stage.panel ?? null,
      lost_A: amps(lost),
      lost_plate_A: lost.currents[element.name]?.plate ?? 0,
      lost_stress: harder(alone, together),
      text: `${of.tube} (${of.type}) in ${of.stage.service}, ${of.stage.duty}: ${show(plate, 'A')} plate${screen > 0 ? `, ${show(screen, 'A')} screen` : ''}${grid > 0 ? `, ${show(grid, 'A')} grid` : ''}, after ${known?.text ?? 'nothing known'}`,
      source: known?.source ?? '',
      unverified: known?.from_memory === true ? 'figure' : undefined,
    }
  })
}

function drivenElements(
  equipment: Equipment,
  mode: ModeName,
  elements: readonly Element[],
): { readonly of: StageInMode; readonly element: Valve }[] {
  return drivenStages(equipment, mode).flatMap((of) => {
    const name = sectionName(of.tube, equipment.tubes[of.tube]?.sections.length ?? 1, of.section)
    const element = elements.find((each) => each.name === name)
    return (element?.kind === 'triode' || element?.kind === 'screen tube') && element.driven !== undefined
      ? [{ of, element }]
      : []
  })
}

/** The same tube with nothing at its grid but its bias. */
export function still(element: Valve): Valve {
  return { ...element, driven: undefined }
}

function worst(
  equipment: Equipment,
  tube: string,
  element: Valve,
  solution: Solution,
): DrivenNow['lost_stress'] {
  if (!solution.converged) return null
  const own = stresses(equipment, [element], solution).filter(
    (stress) => stress.part === tube && stress.by_current,
  )
  const most = own.reduce<Stress | null>((a, b) => (a !== null && a.ratio >= b.ratio ? a : b), null)
  return most === null
    ? null
    : {
        what: most.what,
        ratio: most.ratio,
        of_rating: most.of_rating,
        rating: most.rating,
        source: most.source,
      }
}

function harder(a: DrivenNow['lost_stress'], b: DrivenNow['lost_stress']): DrivenNow['lost_stress'] {
  if (a === null || b === null) return a ?? b
  return a.ratio >= b.ratio ? a : b
}

/**
 * A stage that would burn once its drive is lost is refused above the volts at which it would not. The trip comes within
 * a second, and a relay, a fuse or a person may come later: a guard must hold by itself.
 *
 * @param holds - whether the stage stands without drive at this part of the HT given
 */
export function unguarded(
  now: readonly DrivenNow[],
  volts: SetPoints,
  hot: readonly string[],
  holds: (tube: string, part: number) => boolean,
): LimitProblem[] {
  return now.flatMap((each): LimitProblem[] => {
    const stress = each.lost_stress
    if (stress === null || stress.ratio <= 1.0005) return []
    let low = 0
    let high = 1
    for (let round = 0; round < 8; round++) {
      const middle = (low + high) / 2
      if (holds(each.tube, middle)) low = middle
      else high = middle
    }
    const levels = hot.flatMap((rail) => {
      const V = Math.floor((low * (volts[rail] ?? 0)) / 5) * 5
      return (volts[rail] ?? 0) > 0 ? [`${rail} ${show(V, 'V')}`] : []
    })
    const by = each.bias === 'grid leak' ? 'It has its bias from its drive alone. ' : ''
    return [
      {
        severity: 'error',
        what: `When ${each.tube} (${each.type}) loses its drive at ${inWords(volts)}, it draws ${show(each.lost_plate_A, 'A')}: ${stress.what} at ${(100 * stress.of_rating).toFixed(0)} % of ${stress.rating}. ${by}Without a guard it stands no more than ${levels.join(', ')}.`,
        remedy: `Stay at or below that with ${each.tube} driven, or fit a guard and put it into the set file: a fixed protective bias, a cathode resistor, or a tube that clamps its screen when drive is lost.`,
      },
    ]
  })
}
