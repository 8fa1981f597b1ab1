import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, RailName } from '../equipment/index.js'
import { benchRails, clippedOn, heaterPoint, show, type Stress, stresses } from '../limits/index.js'
import type { Element, Solution, Volts } from '../network/index.js'
import type { Plan, Step } from '../plan/index.js'
import { type Bed, createBed, faulted, railAmps, undriven } from './bed.js'
import { handCheck } from './hand-checks.js'
import { suggest, type Suggestion, type Tried } from './suggest.js'
import { faultsOf } from './library.js'
import { type PlanPoint, pointsOf } from './points.js'
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
  const faults = faultsOf(equipment)
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

interface Seen {
  readonly how: Noticed['how']
  /** Rail whose current shows it; null for a meter. */
  readonly rail: RailName | null
  readonly by: string
  readonly limit: number
  readonly text: string
  readonly surely: boolean
}

interface AtStep {
  readonly plan: Plan
  readonly step: Step
  readonly limits: PlanPoint['limits']
  readonly amps: Readonly<Record<RailName, number>>
  readonly volts: Solution['volts']
  readonly expected: Readonly<Record<RailName, number>>
  /** Stages whose drive is gone. */
  readonly lost: readonly string[]
}

/** What of a plan's rules a set with these currents and volts breaks at the end of a step; the one that acts at once first. */
function noticedAt({ plan, step, limits, amps, volts, expected, lost }: AtStep): Seen | null {
  const asked: Seen[] = []
  for (const [rail, own] of Object.entries(limits)) {
    const A = amps[rail]
    const plain = expected[rail]
    if (A === undefined || plain === undefined || !isRead(plan, rail)) continue
    const by = plain > 0 ? A / plain : 1
    if (A > own.trip_A)
      return {
        how: 'off at once',
        rail,
        by: rail,
        limit: own.trip_A,
        text: `${rail} draws ${show(A, 'A')}, trip ${show(own.trip_A, 'A')}`,
        surely: own.lower_A * by > own.trip_A,
      }
    if (A < own.ask_A)
      asked.push({
        how: 'asked',
        rail,
        by: rail,
        limit: own.ask_A,
        text: `${rail} draws only ${show(A, 'A')}, asked below ${show(own.ask_A, 'A')}`,
        surely: own.upper_A * by < own.ask_A,
      })
  }
  for (const { name, at, against, watch } of Object.values(plan.meters)) {
    if (watch === undefined || at === null) continue
    const V = (volts[at] ?? 0) - (against === null ? 0 : (volts[against] ?? 0))
    const broken = watch.limits.find(
      ({ act, when, at: level }) =>
        act === 'trip' && level !== null && (when === 'above' ? V > level : when === 'below' && V < level),
    )
    if (broken !== undefined)
      return {
        how: 'off at once',
        rail: null,
        by: name,
        limit: broken.at ?? 0,
        text: `${name} reads ${show(V, 'V')}`,
        surely: true,
      }
  }
  if (step.needs_bias)
    for (const { bias } of Object.values(plan.rails)) {
      if (bias === null || bias.meter === null) continue
      const V = bias.sign * (volts[bias.node] ?? 0)
      if (V < bias.at_least_V)
        return {
          how: 'off at once',
          rail: null,
          by: bias.meter,
          limit: bias.at_least_V,
          text: `${bias.meter} reads ${show(V, 'V')} of bias at ${bias.node}, ${show(bias.at_least_V, 'V')} is needed`,
          surely: V < 0.8 * bias.at_least_V,
        }
    }
  const drive = (step.drive ?? []).find(
    ({ tube, meter, bias }) => lost.includes(tube) && (meter !== null || bias !== null),
  )
  if (drive !== undefined) {
    const by = drive.meter?.name ?? drive.bias?.rail ?? drive.tube
    return {
      how: 'off at once',
      rail: null,
      by,
      limit: 0,
      text: `${by} shows that ${drive.tube} has no drive`,
      surely: true,
    }
  }
  return asked[0] ?? null
}

function isRead(plan: Plan, rail: RailName): boolean {
  const own = plan.rails[rail]
  return own !== undefined && (own.class === 'programmed' || own.amps_meter !== null)
}

/** A heater that is open, by what its rail then draws where it first stands at full volts. */
function heaterNoticed(
  equipment: Equipment,
  rails: ReturnType<typeof benchRails>,
  plan: Plan,
  fault: Fault,
): { readonly noticed: Noticed; readonly surely: boolean } | null {
  const open = fault.heater
  if (open === null) return null
  const chain = Object.values(equipment.heater_chains).find(({ series }) => series.flat().includes(open))
  if (chain === undefined || !isRead(plan, chain.rail)) return null
  for (const step of plan.steps) {
    const own = step.limits[chain.rail]
    if (step.do !== 'raise' || step.rail !== chain.rail || own === undefined) continue
    const lead_ohm = rails[chain.rail]?.lead_ohm ?? 0
    const A = heaterPoint(equipment, chain.rail, own.at_V, lead_ohm, (part) =>
      part === open ? 'open' : 1,
    ).amps
    if (A >= own.ask_A) continue
    const text = `${chain.rail} draws only ${show(A, 'A')}, asked below ${show(own.ask_A, 'A')}`
    return {
      noticed: { step: step.index, how: 'asked', by: chain.rail, text, at_V: own.at_V },
      surely: (own.upper_A * A) / Math.max(own.expected_A, 1e-9) < own.ask_A,
    }
  }
  return null
}

interface HookupTrial {
  readonly step: number
  readonly rail: RailName
  readonly volts: number
  readonly low: number
  readonly high: number
  /** Ohms that a fault shows there; null where it could not be solved. */
  ohm(fault: Fault): number | null
}

/** The checks below 5 V of rails other than heaters, as the plan has them. */
function hookupsOf(plan: Plan, bedOf: (mode: ModeName) => Bed, points: readonly PlanPoint[]): HookupTrial[] {
  const rails = new Set(points.flatMap(({ point }) => Object.keys(point.volts)))
  return plan.steps.flatMap((step): HookupTrial[] => {
    const test = step.hookup
    if (test === null || !rails.has(test.rail)) return []
    const volts = test.test_V > 0 ? test.test_V : 1
    const { rail, ohm_low: low, ohm_high: high } = test
    const point: Point = { mode: step.mode, volts: { [rail]: volts }, hot: false }
    const bed = bedOf(step.mode)
    const bleeder_ohm = test.method === 'low volts' ? bed.bleeder_ohm(rail) : null
    const ohmOf = (changed: readonly Element[]): number | null => {
      const { solution } = bed.solve(point, changed, new Set())
      const A = -(solution.currents[rail]?.a ?? 0) + (bleeder_ohm === null ? 0 : volts / bleeder_ohm)
      return solution.converged ? volts / Math.max(A, 1e-12) : null
    }
    const whole_ohm = ohmOf([])
    // What the plan counts into it beside the circuit (a bleeder clipped on) stays as it is.
    const beside = whole_ohm === null || test.usual_ohm === undefined ? 1 : test.usual_ohm / whole_ohm
    return [
      {
        ...{ step: step.index, rail, volts, low, high },
        ohm(fault) {
          const ohm = ohmOf(faulted(bed, fault))
          return ohm === null ? null : ohm * beside
        },
      },
    ]
  })
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
