import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { Plan } from '../plan/index.js'
import { choices } from './choices.js'
import { handMeter } from './hand-meter.js'
import { createLab } from './lab.js'
import { doubleFaults, faultsOf } from './library.js'
import { mayBurn, nextMeasurement } from './next.js'
import {
  type Family,
  type Posterior,
  unscaled,
  type Weighed,
  weighMore,
  weighRun,
  isBefore,
  isLeast,
} from './posterior.js'
import { onOwnPack } from './own-pack.js'
import { createProbe, modeOf, type Probe, standingFor } from './probe.js'
import type { Diagnosis, Hypothesis, Predicted, Reading, Seen, Wanted } from './seen.js'
import { severitiesOf } from './severity.js'
import { createModel, type Model } from './signals.js'
import { aboutText, percent } from './told.js'
import type { Fault } from './types.js'
import { weightSource } from './weights.js'

export interface DiagnoserOf {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
  /** Weights in place of the library's, by fault. */
  readonly weight?: (fault: Fault) => number
  /** What this very set read in earlier runs that were in order, as means over so many of them. */
  readonly earlier?: { readonly seen: Seen; readonly runs: number }
  /** What was learned and from what, to be told beside the causes. */
  readonly learned?: readonly string[]
}
export interface DiagnosisOf extends DiagnoserOf {
  readonly seen: Seen
  readonly readings?: readonly Reading[]
  readonly wanted?: Wanted
}
export type Diagnoser = (seen: Seen, readings?: readonly Reading[], wanted?: Wanted) => Diagnosis

/** Causes below this are not told. */
const told_at = 0.001

/** Causes that are grouped, and groups that are told. */
const most = { grouped: 200, groups: 12 } as const

/**
 * What is wrong, from what a run measured and from readings taken afterwards: every fault of the library is solved where the
 * run stood, and weighed by how well it explains what was read, tolerances and all, times how often such faults come.
 */
export function diagnosisOf({ seen, readings = [], wanted, ...of }: DiagnosisOf): Diagnosis {
  return createDiagnoser(of)(seen, readings, wanted)
}

/** The same for many runs and readings of one set: what a fault makes of it is solved once. */
export function createDiagnoser({
  equipment,
  bench,
  plan,
  weight,
  earlier,
  learned = [],
}: DiagnoserOf): Diagnoser {
  const single = faultsOf(equipment).map((fault) => ({
    ...fault,
    // Each stands for milder and worse ones.
    text: aboutText(fault),
    weight: weight?.(fault) ?? fault.weight,
  }))
  if (single.length === 0)
    return () =>
      without(
        `The set's file is of level ${equipment.level} and has no circuit: no fault can be reckoned. Write down parts and tubes with their nodes (level 3).`,
      )
  if (onOwnPack(plan))
    return () =>
      without(
        'On the set\'s own transformer a person reads a few windows by hand: no fault is reckoned from them. Give what you find to a run on bench supplies: diagnose THAT RUN --reading "PLACE=VALUE".',
      )
  const lab = createLab(equipment, bench)
  const families = familiesOf(single)
  const before =
    earlier === undefined ? null : { model: createModel(lab, plan, earlier.seen), runs: earlier.runs }
  return (seen, readings = [], { fails = false, next = true } = {}) => {
    const model = createModel(lab, plan, seen)
    if (model.signals.length === 0 && readings.length === 0)
      return without(
        'This run measured nothing that says anything about the set: no rail but heaters stood, or nothing was read.',
      )
    const alone = weighRun(model, families, before)
    const standing = (by: Posterior) => {
      const { ranked, isHidden } = partedBy(by, model.tripped)
      const probable = (hidden: boolean) =>
        ranked
          .filter((cause) => isHidden.has(cause) === hidden)
          .map(({ best, probability }) => ({ fault: best, probability }))
      const burning = [
        ...mayBurn(probable(false)),
        ...probable(true).flatMap(({ fault, probability }) => (probability >= 0.01 ? [fault] : [])),
      ]
      return standingFor(model, seen.tripped?.step ?? null, burning)
    }
    const at = standing(alone)
    const probe = createProbe(model, at?.point ?? null, readings, handMeter(bench))
    const posterior = probe.signals.length === 0 ? alone : weighMore(alone, model, probe, families, before)
    // A reading may have made a cause likely that would burn a part where volts were read before, or none of those that would.
    const now = posterior === alone ? at : standing(posterior)
    const cold = modeOf(model, at?.point ?? null)
    // Whoever goes on measuring holds the set for faulty.
    const ask = next ? { bench, cold, readings, fails: fails || readings.length > 0 } : null
    return { ...told(model, ask, probe, posterior, now), learned }
  }
}

function familiesOf(single: readonly Fault[]): Family[] {
  const pairs = doubleFaults(single, choices.pairs)
  const of = (faults: readonly Fault[], part: number): Family[] => {
    const sum = faults.reduce((total, { weight }) => total + weight, 0)
    return faults
      .filter(({ weight }) => weight > 0)
      .map((fault) => ({
        fault,
        severities: severitiesOf(fault),
        share: (part * fault.weight) / Math.max(sum, 1e-12),
      }))
  }
  return [...of(single, 1 - choices.doubles), ...of(pairs, choices.doubles)]
}

type Ranked = Weighed & { readonly probability: number }

/** Causes by probability, likeliest first, beside that of a whole set and of none of the known faults. */
function ranking({ causes, wholeLog, noneLog }: Posterior): {
  readonly ranked: readonly Ranked[]
  readonly whole: number
  readonly none: number
} {
  const top = Math.max(noneLog, wholeLog, ...causes.map(({ log }) => log))
  const total =
    Math.exp(noneLog - top) +
    Math.exp(wholeLog - top) +
    causes.reduce((sum, { log }) => sum + Math.exp(log - top), 0)
  const of = (log: number): number => Math.exp(log - top) / total
  return {
    ranked: causes
      .map((cause) => ({ ...cause, probability: of(cause.log) }))
      .sort((a, b) => b.probability - a.probability),
    ...{ whole: of(wholeLog), none: of(noneLog) },
  }
}

/**
 * The same, with those that were neither shown nor ruled out: what they make could not stand out, or what was read does not say.
 *
 * @param tripped - few whole sets trip: what was read speaks for itself then, however little a fault could stand out beforehand
 */
function partedBy(posterior: Posterior, tripped: boolean) {
  const { healthy, far } = posterior
  const by = ranking(posterior)
  const little = (choices.standsOut * choices.standsOut) / 2
  const hidden = by.ranked.filter(
    ({ row, evidence }) =>
      Math.abs(evidence) < little ||
      (far(row, healthy) < choices.standsOut && !(tripped && evidence >= little)),
  )
  return { ...by, hidden, isHidden: new Set(hidden) }
}

/** That a next reading is looked for, and whether though nothing shows. */
interface Asking {
  readonly bench: Bench
  readonly cold: ModeName
  readonly readings: readonly Reading[]
  readonly fails: boolean
}

function told(
  model: Model,
  ask: Asking | null,
  probe: Probe,
  posterior: Posterior,
  at: Model['stood'][number] | null,
): Omit<Diagnosis, 'learned'> {
  const { signals, healthy, far } = posterior
  const { ranked, whole, none, hidden, isHidden } = partedBy(posterior, model.tripped)
  const open = ranked.filter((cause) => !isHidden.has(cause))
  const hypotheses = grouped(open, far)
    .map((group) => hypothesisOf(group, model, probe, signals))
    .filter(({ probability }) => probability > told_at)
    .sort((a, b) => b.probability - a.probability)
  const nothing = whole + hidden.reduce((sum, { probability }) => sum + probability, 0)
  const found =
    ask === null
      ? null
      : hypotheses.length === 0 && !ask.fails
        ? {
            ends: 'No next reading: nothing that was read shows a cause that one could part from others. If the set fails all the same, say so: a reading is then looked for among all that is not ruled out.',
          }
        : nextMeasurement({
            ...{ model, bench: ask.bench, at, cold: ask.cold },
            causes: ranked.map((cause) => ({
              ...{ fault: cause.best, probability: cause.probability, row: cause.bestRow },
              hidden: isHidden.has(cause),
            })),
            nothing: whole + none,
            fails: ask.fails,
            ...{ taken: ask.readings, posterior },
          })
  return {
    hypotheses,
    none,
    nothing: {
      probability: nothing,
      cannot_show: hidden.length,
      faults: hidden.map(({ fault }) => fault.fault),
    },
    verdict: verdictOf(hypotheses, none, nothing, hidden.length),
    from: signals.map(
      (signal, i) =>
        `${signal.what}: ${show(signal.measured, signal.unit)}, ${show(unscaled(healthy[i] ?? 0, signal), signal.unit)} if nothing is wrong`,
    ),
    measured_at: at === null ? null : { step: at.step.index, mode: at.point.mode, volts: at.point.volts },
    next: found !== null && 'next' in found ? found.next : null,
    search_ends: found !== null && 'ends' in found ? found.ends : null,
    notes: [
      ...probe.left_out.map(
        ({ place, unit, value, step }) =>
          `Not reckoned with: ${place} ${show(value, unit)}${step === undefined ? '' : ` at step ${step}`}: ${unit === 'V' ? 'the rails did not stand at the volts of that step in this run, or there is no such place in its mode' : 'there is no such place in this mode'}.`,
      ),
      `How often faults come: ${weightSource}. Tolerances are those that the limits are drawn from.`,
      'Measured at rest with single faults and the likeliest pairs of them; what only shows in time (a low or open capacitor) is among what cannot show.',
    ],
  }
}

/** Causes that cannot be told apart by what is known stand as one, round the likeliest of them. */
function grouped(open: readonly Ranked[], far: Posterior['far']): Ranked[][] {
  const groups: Ranked[][] = []
  let rest = open.slice(0, most.grouped)
  while (rest.length > 0 && groups.length < most.groups) {
    const first = rest[0]
    if (first === undefined) break
    const group = rest.filter((cause) => cause === first || far(cause.bestRow, first.bestRow) < choices.apart)
    const own = new Set(group)
    groups.push(group)
    rest = rest.filter((cause) => !own.has(cause))
  }
  return groups
}

function hypothesisOf(
  group: readonly Ranked[],
  model: Model,
  probe: Probe,
  signals: Posterior['signals'],
): Hypothesis {
  const [first, ...tied] = group
  const who = first === undefined ? null : { fault: first.best }
  const from = first?.from ?? null
  const trip = model.tripped && from === model.points.length - 1 ? from : null
  const predicted = [
    ...model.signals.map((signal) => ({
      signal,
      value: model.value(signal, from !== null && isBefore(signal, from) ? null : who),
    })),
    ...probe.signals.map((signal) => ({ signal, value: probe.value(signal, who) })),
  ].map(
    ({ signal, value }): Predicted => ({
      ...{ what: signal.what, unit: signal.unit, measured: signal.measured },
      // No more was let through than was measured before it went off.
      predicted: isLeast(signal, trip) ? Math.min(value ?? 0, signal.measured) : (value ?? 0),
    }),
  )
  const worst = first?.worst ?? { at: 0, by: 0 }
  const misses =
    worst.by < choices.missed
      ? null
      : { what: signals[worst.at]?.what ?? '', by: Number(worst.by.toPrecision(2)) }
  const came = from === null ? '' : `came in step ${model.points[from]?.step.index ?? ''}, not before: `
  return {
    fault: first?.fault.fault ?? '',
    part: first?.fault.part ?? '',
    // By the severity that explains best what was read, and by those that do so nearly as well.
    text: first === undefined ? '' : aboutText(first.best, first.sizes),
    probability: group.reduce((sum, { probability }) => sum + probability, 0),
    // Single faults first: a pair that holds one of them says nothing more.
    tied_with: [...tied]
      .sort((a, b) => Number(a.fault.with !== undefined) - Number(b.fault.with !== undefined))
      .map(({ fault }) => fault.fault),
    rivals: rivalsOf(group),
    of: first === undefined ? [] : partsOf(first.fault),
    parts: [...new Set(group.flatMap(({ fault }) => partsOf(fault)))],
    explains: `${came}${predicted
      .map(
        ({ what, unit, predicted: value, measured }) =>
          `${what}: ${show(value, unit)} predicted, ${show(measured, unit)} measured`,
      )
      .join(
        '; ',
      )}${misses === null ? '' : `. It misses ${misses.what} by ${misses.by} standard deviations of all tolerances: doubt it`}`,
    misses,
    predicted,
  }
}

/** Causes beside the likeliest, without the pairs of which one half stands among them alone. */
function rivalsOf([first, ...tied]: readonly Ranked[]): string[] {
  const single = new Set(
    [first, ...tied].flatMap((each) => (each?.fault.with === undefined ? [each?.fault.fault] : [])),
  )
  return tied.flatMap(({ fault: { fault, with: other } }) =>
    other !== undefined && fault.split(' + ').some((half) => single.has(half)) ? [] : [fault],
  )
}

/** Both of a pair. */
const partsOf = ({ part, with: other }: Fault): string[] =>
  other === undefined ? [part] : [part, other.slice(0, other.indexOf(':'))]

function verdictOf(hypotheses: readonly Hypothesis[], none: number, nothing: number, hidden: number): string {
  const [first] = hypotheses
  const best = first?.probability ?? 0
  if (none > Math.max(best, nothing)) return 'None of the known faults explains this.'
  if (nothing >= best)
    return `Nothing that was read shows a fault (${percent(nothing)}): a whole set, or one of ${hidden} faults that these readings neither show nor rule out.`
  const tied = first?.rivals.length ?? 0
  return `Likeliest: ${first?.text ?? ''} (${percent(best)}${tied === 0 ? '' : `, together with ${tied} that cannot be told from it by what is known`}).`
}

function without(verdict: string): Diagnosis {
  return {
    hypotheses: [],
    none: 0,
    nothing: { probability: 0, cannot_show: 0, faults: [] },
    verdict,
    from: [],
    measured_at: null,
    next: null,
    search_ends: null,
    learned: [],
    notes: [],
  }
}
