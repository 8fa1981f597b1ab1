import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, RailName } from '../equipment/index.js'
import { benchRails, clippedOn, show, type Stress, stresses } from '../limits/index.js'
import type { Element, Solution, Volts } from '../network/index.js'
import type { Plan, Step } from '../plan/index.js'
import { type Bed, createBed, faulted, railAmps, undriven } from './bed.js'
import { handCheck } from './hand-checks.js'
import { suggest, type Suggestion, type Tried } from './suggest.js'
import { faultsOf } from './library.js'
import { heaterNoticed, hookupsOf, noticedAt } from './notice.js'
import { onOwnPack } from './own-pack.js'
import { pointsOf } from './points.js'
import type { Fault, Point } from './types.js'
import { weightSource } from './weights.js'

/** How a plan notices a fault: by a rule that switches off, by a question at the end of a step, or before anything is raised. */
export interface Noticed {
  readonly step: number
  readonly how: 'hook-up check' | 'off at once' | 'asked'
  /** Rail or meter that shows it, with what it then reads. */
  readonly by: string
  readonly text: string
  /** Volts of the rail then, V. */
  readonly at_V: number
}

/** The part that a fault brings furthest beyond what its rating allows until it is noticed. */
export interface WorstStress {
  readonly part: string
  readonly what: string
  /** Of the bare rating, and of what its rating system allows. */
  readonly of_rating: number
  readonly of_allowed: number
  readonly rating: string
  readonly step: number
}

export interface CoveredFault {
  readonly fault: string
  readonly part: string
  readonly kind: Fault['kind']
  readonly text: string
  /** With nominal parts. */
  readonly caught: boolean
  /** Number of the step, null where it is never noticed. */
  readonly step: number | null
  readonly by: string | null
  readonly how: Noticed['how'] | null
  readonly noticed: string | null
  /** Also in a set that otherwise reads at the far edge of its band. */
  readonly surely: boolean
  readonly stress: WorstStress | null
  /** No part stands beyond what its rating allows until then. */
  readonly early: boolean
}

export interface Coverage {
  readonly equipment: string
  readonly profile: string
  readonly faults: readonly CoveredFault[]
  /** Noticed with no part beyond what its rating allows. */
  readonly caught: number
  readonly total: number
  /** Noticed, but after a part stood beyond it. */
  readonly late: number
  /** Never noticed, and a part stands beyond it. */
  readonly burns_unseen: number
  /** Never noticed; no part whose rating is known comes to harm in this plan. */
  readonly harmless_unseen: number
  /** `caught` by parts of the whole: the one figure. */
  readonly share: number
  readonly hand_checks: readonly {
    readonly part: string
    readonly text: string
    readonly faults: readonly string[]
    readonly burns: boolean
  }[]
  readonly suggestions: readonly Suggestion[]
  /** What was and was not tried, a sentence each. */
  readonly notes: readonly string[]
}

/** Of what a rating allows: less than this over it is the arithmetic's rounding. */
const harms = 1.0005

/** What the coverage of a plan is made from. */
export interface CoverageOf {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
}

/** Tries every single fault of a set against a plan: where it is noticed, and what it has done by then. */
export function coverageOf({ equipment, bench, plan }: CoverageOf): Coverage {
  const faults = onOwnPack(plan) ? [] : faultsOf(equipment)
  const trial = createTrial(equipment, bench, plan)
  const tried = faults.map((fault) => trial.of(fault))
  const covered = tried.map(({ covered }) => covered)
  const good = covered.filter(({ caught, early }) => caught && early).length
  return {
    equipment: plan.equipment,
    profile: plan.profile,
    faults: covered,
    caught: good,
    total: covered.length,
    late: covered.filter(({ caught, early }) => caught && !early).length,
    burns_unseen: covered.filter(({ caught, early }) => !caught && !early).length,
    harmless_unseen: covered.filter(({ caught, early }) => !caught && early).length,
    share: covered.length === 0 ? 0 : good / covered.length,
    hand_checks: checksFor(equipment, covered),
    suggestions: trial.suggestions(faults, tried),
    notes: notesFor(equipment, plan, covered.length),
  }
}

function notesFor(equipment: Equipment, plan: Plan, tried: number): string[] {
  if (onOwnPack(plan))
    return [
      "On the set's own transformer a person reads a few windows by hand: no fault is tried against them. Look at what the profiles on bench supplies cover.",
    ]
  if (tried === 0)
    return [
      `The set's file is of level ${equipment.level} and has no circuit: no fault can be tried. Write down parts and tubes with their nodes (level 3).`,
    ]
  return [
    'Single faults, each there from the start of the run, solved at rest with nominal parts; "surely" is a set that otherwise reads at the far edge of its band.',
    'What charge does in the moment of a short is not in these figures: the plan tells it by itself (let-through).',
    `Severities of faults: ${weightSource}.`,
    ...(Object.values(plan.rails).some(({ class: of }) => of !== 'programmed')
      ? [
          'On rails that slowglow does not switch, "off at once" is a call to you: only you can switch them off.',
        ]
      : []),
  ]
}

interface Trial {
  of(fault: Fault): Tried
  suggestions(faults: readonly Fault[], tried: readonly Tried[]): Suggestion[]
}

/** The set as its file has it, at one point of the plan. */
interface Whole {
  readonly solution: Solution
  readonly lit: ReadonlySet<string>
  readonly amps: Readonly<Record<RailName, number>>
  readonly over: readonly Stress[]
}

function createTrial(equipment: Equipment, bench: Bench, plan: Plan): Trial {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const points = pointsOf(equipment, plan)
  const beds = new Map<ModeName, Bed>()
  const bedOf = (mode: ModeName): Bed => {
    const bed = beds.get(mode) ?? createBed(equipment, mode, rails, meters)
    beds.set(mode, bed)
    return bed
  }
  const whole: Whole[] = []
  for (const [at, { point }] of points.entries()) {
    const bed = bedOf(point.mode)
    const before = points[at - 1]?.point.mode === point.mode ? whole[at - 1]?.lit : undefined
    const { solution, lit } = bed.solve(point, [], before ?? new Set())
    const over = overOf(equipment, bed, solution, null)
    whole.push({ solution, lit, over, amps: railAmps(rails, point, solution) })
  }
  const hookups = hookupsOf(plan, bedOf, points)
  return {
    of(fault) {
      const nodes: Solution['volts'][] = []
      let noticed: Noticed | null = null
      let surely = false
      let worst: WorstStress | null = null
      const heaters = heaterNoticed(equipment, rails, plan, fault)
      for (const test of hookups) {
        if (noticed !== null) break
        const ohm = test.ohm(fault)
        if (ohm === null || (ohm >= test.low && ohm <= test.high)) continue
        noticed = {
          step: test.step,
          how: 'hook-up check',
          by: test.rail,
          text: `${test.rail} shows ${show(ohm, 'Ω')} in the hook-up check (${show(test.low, 'Ω')} to ${show(test.high, 'Ω')} is in order)`,
          at_V: test.volts,
        }
        surely = ohm < 0.5 * test.low || ohm > 2 * test.high
      }
      if (noticed === null && heaters !== null) {
        noticed = heaters.noticed
        surely = heaters.surely
      }
      let lit: ReadonlySet<string> = new Set()
      let before: {
        readonly volts: Volts
        readonly amps: Readonly<Record<RailName, number>>
        readonly point: Point
      } | null = null
      for (const [at, { point, step, limits }] of points.entries()) {
        if (noticed !== null && (noticed.how === 'hook-up check' || noticed.step < step.index)) break
        const bed = bedOf(point.mode)
        if (before?.point.mode !== point.mode) {
          before = null
          lit = new Set()
        }
        const changed = faulted(bed, fault)
        const start = whole[at]?.solution.volts
        const solved = bed.solve(point, changed, lit, start)
        lit = solved.lit
        nodes.push(solved.solution.volts)
        if (!solved.solution.converged) continue
        const amps = railAmps(rails, point, solved.solution)
        const seen = noticedAt({
          plan,
          step,
          limits,
          amps,
          volts: solved.solution.volts,
          expected: whole[at]?.amps ?? {},
          lost: undriven(bed, new Map(changed.map((element) => [element.name, element]))),
        })
        let stressed = solved
        let at_V = step.target_V
        if (seen?.how === 'off at once' && seen.rail !== null) {
          // It is noticed on the way up, before the rail comes to the volts of this step.
          const part = crossing(before?.amps[seen.rail] ?? 0, amps[seen.rail] ?? 0, seen.limit)
          const way = between(before?.point.volts ?? lowered(point, step), point, part)
          at_V = way.volts[step.rail ?? ''] ?? step.target_V
          if (part < 0.999)
            stressed = bed.solve(way, changed, before === null ? new Set() : lit, solved.solution.volts)
        }
        const here = worstOf(
          overOf(equipment, bed, stressed.solution, fault, stressed.now),
          whole[at]?.over ?? [],
          step.index,
        )
        if (here !== null && here.of_allowed > (worst?.of_allowed ?? 0)) worst = here
        if (seen !== null) {
          noticed = { step: step.index, how: seen.how, by: seen.by, text: seen.text, at_V }
          surely = seen.surely
          break
        }
        before = { volts: solved.solution.volts, amps, point }
      }
      return { covered: coveredBy(fault, noticed, surely, worst), nodes }
    },
    suggestions: (faults, tried) =>
      suggest({
        ...{ equipment, bench, points, faults, tried },
        whole: whole.map(({ solution }) => solution.volts),
        stressAt(fault, point) {
          const bed = bedOf(point.mode)
          const { solution, now } = bed.solve(point, faulted(bed, fault), new Set())
          const worst = solution.converged
            ? worstOf(overOf(equipment, bed, solution, fault, now), [], 0)
            : null
          return { amps: railAmps(rails, point, solution), of_allowed: worst?.of_allowed ?? 0 }
        },
      }),
  }
}

function coveredBy(
  fault: Fault,
  noticed: Noticed | null,
  surely: boolean,
  worst: WorstStress | null,
): CoveredFault {
  return {
    fault: fault.fault,
    part: fault.part,
    kind: fault.kind,
    text: fault.text,
    caught: noticed !== null,
    step: noticed?.step ?? null,
    by: noticed?.by ?? null,
    how: noticed?.how ?? null,
    noticed: noticed?.text ?? null,
    surely: noticed !== null && surely,
    stress: worst,
    early: worst === null || worst.of_allowed <= harms,
  }
}

/** Part of the way from one current to another at which it passes a limit. */
function crossing(from_A: number, to_A: number, limit_A: number): number {
  if (!(to_A > limit_A) || from_A >= limit_A) return to_A > limit_A ? 0 : 1
  return (limit_A - from_A) / (to_A - from_A)
}

/** The volts before a step, where nothing of its mode stood before: its own rail down. */
function lowered(point: Point, step: Step): Point['volts'] {
  return { ...point.volts, [step.rail ?? '']: 0 }
}

function between(from: Point['volts'], to: Point, part: number): Point {
  // Never quite nothing: a rail that is off conducts nothing at all.
  const volts = Object.fromEntries(
    Object.entries(to.volts).map(([rail, V]) => [
      rail,
      (from[rail] ?? 0) + Math.max(part, 0.01) * (V - (from[rail] ?? 0)),
    ]),
  )
  return { ...to, volts }
}

function overOf(
  equipment: Equipment,
  bed: Bed,
  solution: Solution,
  fault: Fault | null,
  now: (name: string) => Element | undefined = () => undefined,
): Stress[] {
  const elements = bed.network.elements.map((element) => now(element.name) ?? element)
  // What has failed has nothing more to lose, a tube excepted.
  const lost = fault !== null && equipment.tubes[fault.part] === undefined ? fault.part : null
  return stresses(equipment, elements, solution, 0.9).filter(({ part }) => part !== lost)
}

/** The worst stress that a fault brings; what stands as high without it is none of its doing. */
function worstOf(over: readonly Stress[], whole: readonly Stress[], step: number): WorstStress | null {
  let worst: Stress | null = null
  for (const stress of over) {
    const plain = whole.find(({ what }) => what === stress.what)?.ratio ?? 0
    if (stress.ratio <= Math.max(harms * plain, worst?.ratio ?? 0)) continue
    worst = stress
  }
  if (worst === null) return null
  const { part, what, of_rating, ratio, rating } = worst
  return { part, what, of_rating, of_allowed: ratio, rating, step }
}

/** What no reading of the plan shows, as something to look for by hand: one line a part. */
function checksFor(equipment: Equipment, covered: readonly CoveredFault[]): Coverage['hand_checks'] {
  const byPart = new Map<string, CoveredFault[]>()
  for (const each of covered)
    if (!each.caught || !each.early) byPart.set(each.part, [...(byPart.get(each.part) ?? []), each])
  return [...byPart]
    .map(([part, faults]) => ({
      part,
      text: handCheck(
        equipment,
        part,
        faults.map(({ kind }) => kind),
      ),
      faults: faults.map(({ fault }) => fault),
      burns: faults.some(({ early }) => !early),
    }))
    .sort((a, b) => Number(b.burns) - Number(a.burns))
}
