import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, RailName } from '../equipment/index.js'
import { benchRails, clippedOn, type RailBench, show, type Stress, stresses } from '../limits/index.js'
import type { Element, Solution, Volts } from '../network/index.js'
import type { Plan, Step } from '../plan/index.js'
import { type Bed, createBed, faulted, railAmps, undriven } from './bed.js'
import type { CoveredFault, Noticed, WorstStress } from './coverage.js'
import { heaterNoticed, heaterStress } from './heaters.js'
import { hookupsOf, noticedAt } from './notice.js'
import { pointsOf } from './points.js'
import { suggest, type Suggestion, type Tried } from './suggest.js'
import type { Fault, Point } from './types.js'

/** Of what a rating allows: less than this over it is the arithmetic's rounding. */
const harms = 1.0005

/** From here on a stress is held against the one of the whole set: below, no part comes to harm by a fault. */
const strained = 0.9

/** A set that is not as its file has it. */
export interface Drawn {
  /** Its own values, of the elements of a bed. */
  readonly elements: (bed: Bed) => readonly Element[]
  /** What the bench shows of a rail that draws so much. */
  readonly read: (rail: RailName, A: number) => number
}

export interface Trial {
  of(fault: Fault): Tried
  suggestions(faults: readonly Fault[], tried: readonly Tried[]): Suggestion[]
}

/** The set as its file has it, at one point of the plan. */
interface Whole {
  readonly solution: Solution
  readonly lit: ReadonlySet<string>
  readonly amps: Readonly<Record<RailName, number>>
  readonly stressed: readonly Stress[]
}

/** Faults tried against a plan one by one, in the set as its file has it or in one that was drawn. */
export function createTrial(
  equipment: Equipment,
  bench: Bench,
  plan: Plan,
  drawn: Drawn | null = null,
): Trial {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const points = pointsOf(equipment, plan)
  const beds = new Map<ModeName, Bed>()
  const bedOf = (mode: ModeName): Bed => {
    const bed = beds.get(mode) ?? createBed(equipment, mode, rails, meters)
    beds.set(mode, bed)
    return bed
  }
  const owned = new Map<Bed, ReadonlyMap<string, Element>>()
  /** The set's own values, nothing failed: none where it is as its file has it. */
  const ownOf = (bed: Bed): ReadonlyMap<string, Element> => {
    const own =
      owned.get(bed) ?? new Map((drawn?.elements(bed) ?? []).map((element) => [element.name, element]))
    owned.set(bed, own)
    return own
  }
  const whole: Whole[] = []
  for (const [at, { point }] of points.entries()) {
    const bed = bedOf(point.mode)
    const before = points[at - 1]?.point.mode === point.mode ? whole[at - 1]?.lit : undefined
    const { solution, lit } = bed.solve(point, [], before ?? new Set())
    // What a drawn set stands at by its own parts is no fault's doing.
    const own = drawn === null ? null : bed.solve(point, [...ownOf(bed).values()], lit, solution.volts)
    const stressed = overOf(equipment, bed, own?.solution ?? solution, null, own?.now, -Infinity)
    whole.push({ solution, lit, stressed, amps: railAmps(rails, point, solution) })
  }
  const spoilt = (bed: Bed, fault: Fault): { readonly all: Element[]; readonly changed: Element[] } => {
    if (drawn === null) {
      const changed = faulted(bed, fault)
      return { all: changed, changed }
    }
    const own = ownOf(bed)
    const changed = faulted(bed, fault, own)
    const all = new Map(own)
    for (const element of changed) all.set(element.name, element)
    return { all: [...all.values()], changed }
  }
  const hookups = hookupsOf(plan, bedOf, points, (bed, fault) => spoilt(bed, fault).all)
  const error_A = (rail: RailName, A: number): number => errorOf(rails[rail], A)
  const seenAs = (amps: Readonly<Record<RailName, number>>): Readonly<Record<RailName, number>> =>
    drawn === null
      ? amps
      : Object.fromEntries(Object.entries(amps).map(([rail, A]) => [rail, drawn.read(rail, A)]))
  return {
    of(fault) {
      const nodes: Solution['volts'][] = []
      const unsolved: number[] = []
      let noticed: Noticed | null = null
      let surely = false
      // What the fault brings; and the worst on any part, which may stand as high without it.
      let worst: WorstStress | null = null
      let any: WorstStress | null = null
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
      if (noticed?.how !== 'hook-up check')
        any = heaterStress(
          ...([equipment, rails, plan, fault] as const),
          noticed?.how === 'off at once' ? noticed.step : null,
        )
      if (any !== null && any.of_allowed > 1) worst = any
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
        const { all, changed } = spoilt(bed, fault)
        const start = whole[at]?.solution.volts
        const solved = bed.solve(point, all, lit, start)
        lit = solved.lit
        nodes.push(solved.solution.volts)
        if (!solved.solution.converged) {
          unsolved.push(step.index)
          continue
        }
        const amps = railAmps(rails, point, solved.solution)
        const seen = noticedAt({
          plan,
          step,
          limits,
          amps: seenAs(amps),
          error_A,
          volts: solved.solution.volts,
          expected: whole[at]?.amps ?? {},
          lost: undriven(bed, new Map(changed.map((element) => [element.name, element]))),
        })
        let stressed = solved
        let at_V = step.target_V
        if (seen?.how === 'off at once' && seen.rail !== null) {
          // It is noticed on the way up, before the rail comes to the volts of this step.
          const { rail, limit } = seen
          const from_A = before?.amps[rail] ?? 0
          const to_A = amps[rail] ?? 0
          const from = before?.point.volts ?? lowered(point, step)
          const crossed = between(from, point, crossing(from_A, to_A, limit))
          at_V = crossed.volts[step.rail ?? ''] ?? step.target_V
          // By a meter that reads low it is noticed later; and until the outputs are off the rail goes on rising.
          const late = crossing(from_A, to_A, limit + error_A(rail, limit))
          const part = isSwitched(plan, step.rail) ? Math.min(1, late + risenBy(plan, step, from)) : 1
          if (part < 0.999)
            stressed = bed.solve(
              between(from, point, part),
              all,
              before === null ? new Set() : lit,
              solved.solution.volts,
            )
        }
        // Words are made for nothing that has stood higher before: they take the time.
        const above = Math.min(strained, any?.of_allowed ?? -Infinity)
        const over = overOf(equipment, bed, stressed.solution, fault, stressed.now, above)
        const plain = whole[at]?.stressed ?? []
        const top = worstOf(over, plain, step.index, true)
        if (top !== null && top.of_allowed > (any?.of_allowed ?? -Infinity)) any = top
        const high = over.filter(({ ratio }) => ratio > strained)
        const here = worstOf(high, plain, step.index)
        if (here !== null && here.of_allowed > (worst?.of_allowed ?? 0)) worst = here
        if (seen !== null) {
          noticed = { step: step.index, how: seen.how, by: seen.by, text: seen.text, at_V }
          surely = seen.surely
          break
        }
        before = { volts: solved.solution.volts, amps, point }
      }
      const early = worst === null || worst.of_allowed <= harms
      const stress = early ? any : worst
      const none = stress === null ? unstressed(noticed, nodes.length > unsolved.length, unsolved) : null
      const covered = { ...coveredBy(fault, noticed, surely), stress, no_stress: none, early }
      return { covered, nodes, unsolved }
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
): Omit<CoveredFault, 'stress' | 'no_stress' | 'early'> {
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
  }
}

/** Why no part's stress is told. */
function unstressed(noticed: Noticed | null, isSolved: boolean, unsolved: readonly number[]): string {
  if (noticed?.how === 'hook-up check')
    return 'noticed in the check of the wiring below 5 V, before any part carries a load'
  if (isSolved) return 'no part that carries anything until then has a known rating'
  if (unsolved.length > 0)
    return `the circuit could not be solved with it in (step ${unsolved.join(', ')}): look for it by hand`
  return noticed === null
    ? 'no rail but heaters stands in this plan'
    : 'noticed with the heaters, before any other rail stands'
}

/** Part of the way from one current to another at which it passes a limit. */
function crossing(from_A: number, to_A: number, limit_A: number): number {
  if (!(to_A > limit_A) || from_A >= limit_A) return to_A > limit_A ? 0 : 1
  return (limit_A - from_A) / (to_A - from_A)
}

/** By how much a rail's meter may read low there. */
function errorOf(rail: RailBench | undefined, A: number): number {
  if (rail === undefined) return 0
  const { accuracy_A, resolution_A } = rail
  return accuracy_A.of_reading * Math.abs(A) + accuracy_A.plus + resolution_A / 2
}

/** A rail that slowglow does not switch has come to its volts before a person has. */
const isSwitched = (plan: Plan, rail: RailName | null): boolean =>
  rail === null || plan.rails[rail]?.class === 'programmed'

/** Part of the way of a step by which its rail rises between what breaks a limit and the outputs off, as the plan has that time. */
function risenBy(plan: Plan, step: Step, from: Point['volts']): number {
  const all = plan.let_through ?? []
  const own = all.find((each) => each.step === step.index)?.for_s
  const for_s = own ?? Math.max(0, ...all.map((each) => each.for_s))
  const way_V = step.target_V - (from[step.rail ?? ''] ?? 0)
  return way_V > 0 ? (step.slew_V_per_s * for_s) / way_V : 1
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
  above = strained,
): Stress[] {
  const elements = bed.network.elements.map((element) => now(element.name) ?? element)
  // What has failed has nothing more to lose, a tube excepted.
  const lost = partsOf(fault).filter((part) => equipment.tubes[part] === undefined)
  return stresses(equipment, elements, solution, above).filter(({ part }) => !lost.includes(part))
}

function partsOf(fault: Fault | null): string[] {
  if (fault === null) return []
  return [fault.part, ...(fault.with === undefined ? [] : [fault.with.slice(0, fault.with.indexOf(':'))])]
}

/**
 * The worst stress that a fault brings; what stands as high without it is none of its doing.
 *
 * @param all - the worst of any then, whosever doing it is
 */
function worstOf(
  over: readonly Stress[],
  whole: readonly Stress[],
  step: number,
  all = false,
): WorstStress | null {
  const asWhole = ({ what, ratio }: Stress): boolean =>
    ratio <= harms * (whole.find((each) => each.what === what)?.ratio ?? 0)
  let worst: Stress | null = null
  for (const stress of over)
    if (stress.ratio > (worst?.ratio ?? 0) && (all || !asWhole(stress))) worst = stress
  if (worst === null) return null
  const { part, what, of_rating, ratio, rating } = worst
  return { part, what, of_rating, of_allowed: ratio, rating, step, as_whole: asWhole(worst) }
}
