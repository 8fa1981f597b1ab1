import type { Equipment, ModulatorRail, RailName } from '../equipment/index.js'
import { type LimitProblem, type PointLimits, show } from '../limits/index.js'
import { low_V } from './discharge.js'
import type { Step } from './types.js'

/**
 * Modulators on a rail of their own: they stand only while the stage that they modulate draws its plate current, since nothing
 * else loads their transformer. Where they are not driven, or cold, nothing is asked of that stage.
 */

type Volts = Readonly<Record<RailName, number>>

/** The rail that must stand before this one: of the stage that its tubes modulate here. */
export function plateNeeded(rail: RailName, works: readonly ModulatorRail[]): RailName | null {
  return works.find(({ own }) => own === rail)?.other ?? null
}

export function raisedTooSoon(
  stage: string,
  rail: RailName,
  works: readonly ModulatorRail[],
  volts: Volts,
): LimitProblem[] {
  const of = works.find(({ own, other }) => own === rail && (volts[other] ?? 0) <= low_V)
  return of === undefined ? [] : [wrongOrder(`Stage "${stage}" raises ${rail} before ${of.other}`, of)]
}

export function loweredTooSoon(
  stage: string,
  rail: RailName,
  target_V: number,
  works: readonly ModulatorRail[],
  volts: Volts,
): LimitProblem[] {
  const of = works.find(({ own, other }) => other === rail && target_V <= low_V && (volts[own] ?? 0) > 0)
  return of === undefined ? [] : [wrongOrder(`Stage "${stage}" lowers ${rail} before ${of.own}`, of)]
}

function wrongOrder(what: string, { own, other, modulates }: ModulatorRail): LimitProblem {
  return {
    severity: 'error',
    what: `${what}, and the tubes on ${own} modulate ${modulates}: with no plate current there nothing loads the modulation transformer, and it flashes over.`,
    remedy: `Have ${other} above ${show(low_V, 'V')} before ${own} comes on, and ${own} down before ${other} goes down.`,
  }
}

/**
 * What the rail of a modulated stage must go on drawing while its modulators stand: what is expected, less half of what the
 * stage takes of it. A rail that feeds others too hardly moves by a part of all it draws.
 */
export function modulatedAt(
  works: readonly ModulatorRail[],
  volts: Volts,
  { driven, limits }: PointLimits,
): Pick<Step, 'modulated'> {
  const modulated = works.flatMap(({ own, other, modulates }) => {
    const stage = driven.find(({ tube }) => tube === modulates)
    const expected_A = limits[other]?.expected_A ?? 0
    if ((volts[own] ?? 0) <= 0 || stage === undefined || !(expected_A > 0)) return []
    const own_A = Math.min(expected_A, stage.plate_A + stage.screen_A)
    return [{ rail: other, by: own, tube: modulates, own_A, least: 1 - own_A / expected_A / 2 }]
  })
  return modulated.length === 0 ? {} : { modulated }
}

/** A stage whose own part of its rail is too small to be missed there. */
export function modulatedUnseen(
  equipment: Equipment,
  steps: readonly Step[],
  resolution_A: (rail: RailName) => number,
): LimitProblem[] {
  const problems = new Map<string, LimitProblem>()
  for (const { modulated = [], limits } of steps)
    for (const { rail, by, tube, own_A } of modulated) {
      if (own_A / 2 >= 3 * resolution_A(rail)) continue
      problems.set(tube, {
        severity: 'error',
        what: `${tube} (${equipment.tubes[tube]?.type ?? ''}) is modulated from ${by} and takes ${own_A > 0 ? `${show(own_A, 'A')} of the ${show(limits[rail]?.expected_A ?? 0, 'A')}` : 'an unknown part of what'} that ${rail} gives: whether it loads the modulation transformer could not be seen there.`,
        remedy: `Give ${tube} its figures: { at, bias, plate, … } from the handbook, or plan a mode in which nothing modulates it.`,
      })
    }
  return [...problems.values()]
}
