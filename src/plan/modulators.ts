import type { Equipment, ModulatorRail, RailName } from '../equipment/index.js'
import { type LimitProblem, type PointLimits, type RailLimits, show } from '../limits/index.js'
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
 * What the rail of a modulated stage must go on drawing while its modulators stand: half way between the least that a healthy
 * set draws there and what is expected without the stage. A rail known by its total alone may draw half of it and be well; one
 * that feeds others too hardly moves by a part of all it draws.
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
    const least_A = (healthyLeast_A(limits[other]) + expected_A - own_A) / 2
    return [{ rail: other, by: own, tube: modulates, own_A, least: least_A / expected_A }]
  })
  return modulated.length === 0 ? {} : { modulated }
}

function healthyLeast_A(limits: RailLimits | undefined): number {
  return limits === undefined ? 0 : Math.min(limits.expected_A, limits.lower_A)
}

/** A stage whose own part of its rail is too small to be missed there, or hides in what healthy sets differ by. */
export function modulatedUnseen(
  equipment: Equipment,
  steps: readonly Step[],
  resolution_A: (rail: RailName) => number,
): LimitProblem[] {
  const problems = new Map<string, LimitProblem>()
  for (const { modulated = [], limits } of steps)
    for (const { rail, by, tube, own_A, least } of modulated) {
      const expected_A = limits[rail]?.expected_A ?? 0
      const without_A = expected_A - own_A
      if (least * expected_A - without_A >= 3 * resolution_A(rail)) continue
      const own =
        own_A > 0 ? `${show(own_A, 'A')} of the ${show(expected_A, 'A')}` : 'an unknown part of what'
      const low_A = healthyLeast_A(limits[rail])
      const wide = own_A > 0 && low_A < expected_A - own_A / 2
      problems.set(tube, {
        severity: 'error',
        what: `${tube} (${equipment.tubes[tube]?.type ?? ''}) is modulated from ${by} and takes ${own} that ${rail} gives${wide ? `, and a healthy set may give as little as ${show(low_A, 'A')}` : ''}: whether it loads the modulation transformer could not be seen there.`,
        remedy: wide
          ? `Feed ${tube} by a rail of its own, describe what else ${rail} feeds (parts: or charts:), or plan a mode in which nothing modulates it.`
          : `Give ${tube} its figures: { at, bias, plate, … } from the handbook, or plan a mode in which nothing modulates it.`,
      })
    }
  return [...problems.values()]
}
