import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { Plan } from '../plan/index.js'
import { doubleFaults, faultsOf } from './library.js'
import { cholesky, covariance, distance, logLikelihood, type Matrix } from './likelihood.js'
import { type Cause, createProbe, nextMeasurement } from './next.js'
import type { Diagnosis, Hypothesis, Predicted, Reading, Seen } from './seen.js'
import { createModel, type Model, shown, type Signal, type State } from './signals.js'
import type { Fault, FaultKind } from './types.js'
import { weightSource } from './weights.js'

export interface DiagnosisOf {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
  readonly seen: Seen
  readonly readings?: readonly Reading[]
  /** Weights in place of the library's, by fault. */
  readonly weight?: (fault: Fault) => number
}

/* What is taken before anything is measured: our choice, no source. */
const prior = { wholeRan: 0.7, wholeTripped: 0.02, none: 0.02, doubles: 0.05, doubleFaults: 60 } as const
/** How far a fault may be from the severity of the library, as a part of what it changes. */
const severity: Readonly<Partial<Record<FaultKind, number>>> = {
  leaky: 0.5,
  drift: 0.4,
  weak: 0.3,
  strong: 0.4,
  gassy: 0.5,
  'heater-leak': 0.2,
}
/** Faults nearer to one another than this, in standard deviations, cannot be told apart by what is known. */
const apart = 1.2
/** And none of the known faults: anything within this many times, on the signals' scale. */
const anything = 1

/**
 * What is wrong, from what a run measured and from readings taken afterwards: every fault of the library is solved where the
 * run stood, and weighed by how well it explains what was read, tolerances and all, times how often such faults come.
 */
export function diagnosisOf({ equipment, bench, plan, seen, readings = [], weight }: DiagnosisOf): Diagnosis {
  const single = faultsOf(equipment)
  if (single.length === 0)
    return without(
      `The set's file is of level ${equipment.level} and has no circuit: no fault can be reckoned. Write down parts and tubes with their nodes (level 3).`,
    )
  const model = createModel(equipment, bench, plan, seen)
  if (model.signals.length === 0 && readings.length === 0)
    return without(
      'This run measured nothing that says anything about the set: no rail but heaters stood, or nothing was read.',
    )
  const measured_at = measuringPoint(model, seen.tripped?.step ?? null)
  const probe = createProbe(model, measured_at, readings)
  const signals = [...model.signals, ...probe.signals]
  const scaledRow = (
    states: readonly State[],
    fault: Fault | null,
    own?: Parameters<typeof probe.value>[3],
  ): number[] =>
    signals.map(
      (signal, i) =>
        shown(
          i < model.signals.length
            ? model.value(signal, states, fault)
            : probe.value(signal, states, fault, own),
          signal,
        ).y,
    )
  const healthy = scaledRow(model.nominal, null)
  const { mean, cov } = covariance(model.drawn.map(({ states, own }) => scaledRow(states, null, own)))
  const spread = spreadOf(signals, cov)
  const measured = signals.map((signal) => shown(signal.measured, signal).y)
  const centre = mean.length === signals.length ? mean : healthy
  const parts = signals.map((signal, i) =>
    Math.max(shown(unscaledOf(healthy[i] ?? 0, signal), signal).part, 0.05),
  )
  const weigh = (
    row: readonly number[],
    loose: number,
  ): { readonly lower: Matrix; readonly off: readonly number[]; readonly log: number } => {
    const off = measured.map((y, i) => y - ((centre[i] ?? 0) + (row[i] ?? 0) - (healthy[i] ?? 0)))
    const ratio = row.map(
      (y, i) => shown(unscaledOf(y, signals[i]), signals[i] ?? plain).part / (parts[i] ?? 1),
    )
    const by = row.map((y, i) => loose * (y - (healthy[i] ?? 0)))
    const matrix = spread.map((line, i) =>
      line.map(
        (value, j) =>
          value * (ratio[i] ?? 1) * (ratio[j] ?? 1) +
          (by[i] ?? 0) * (by[j] ?? 0) +
          (i === j ? (signals[i]?.error ?? 0) + 1e-4 : 0),
      ),
    )
    const lower = cholesky(matrix)
    return { lower, off, log: logLikelihood(lower, off) }
  }
  const tripped = seen.tripped !== null
  const wholePrior = tripped ? prior.wholeTripped : prior.wholeRan
  const faults = [
    ...single.map((fault) => ({ fault, double: false })),
    ...doubleFaults(single, prior.doubleFaults).map((fault) => ({ fault, double: true })),
  ]
  const weightOf = ({ fault, double }: (typeof faults)[number]): number =>
    double ? fault.weight : (weight?.(fault) ?? fault.weight)
  const sumOf = (double: boolean): number =>
    faults.reduce((sum, each) => sum + (each.double === double ? weightOf(each) : 0), 0)
  const sums = { single: sumOf(false), double: sumOf(true) }
  const base = weigh(healthy, 0)
  const causes: (Cause & { readonly log: number; readonly row: readonly number[] })[] = []
  const last = model.points.length - 1
  for (const each of faults) {
    const { fault, double } = each
    const states = model.solveFault(fault)
    if (states === null) continue
    const row = scaledRow(states, fault)
    const share = double
      ? (prior.doubles * weightOf(each)) / Math.max(sums.double, 1e-9)
      : ((1 - prior.doubles) * weightOf(each)) / sums.single
    const loose = severity[fault.kind] ?? 0.05
    const always = weigh(row, loose).log
    // It may have come at the end only: the steps before were those of a whole set.
    const late =
      tripped && last > 0
        ? weigh(
            row.map((y, i) => (isBefore(signals[i], last) ? (healthy[i] ?? 0) : y)),
            loose,
          ).log
        : -Infinity
    const log =
      Math.log(share * (1 - wholePrior - prior.none)) +
      logSum(always + Math.log(tripped ? 0.7 : 1), late + Math.log(0.3))
    causes.push({ fault, states, log, row, probability: 0 })
  }
  const noneLog =
    Math.log(prior.none) +
    logLikelihood(
      cholesky(spread.map((line, i) => line.map((value, j) => value + (i === j ? anything * anything : 0)))),
      base.off,
    )
  const wholeLog = Math.log(wholePrior) + base.log
  const top = Math.max(noneLog, wholeLog, ...causes.map(({ log }) => log))
  const total =
    Math.exp(noneLog - top) +
    Math.exp(wholeLog - top) +
    causes.reduce((sum, { log }) => sum + Math.exp(log - top), 0)
  const of = (log: number): number => Math.exp(log - top) / total
  const ranked = causes
    .map((cause) => ({ ...cause, probability: of(cause.log) }))
    .sort((a, b) => b.probability - a.probability)
  const far = (a: readonly number[], b: readonly number[]): number =>
    Math.sqrt(
      distance(
        base.lower,
        a.map((y, i) => y - (b[i] ?? 0)),
      ),
    )
  const hidden = ranked.filter(({ row }) => far(row, healthy) < apart)
  const open = ranked.filter((cause) => !hidden.includes(cause))
  const groups: (typeof ranked)[] = []
  let rest = open.slice(0, 200)
  while (rest.length > 0 && groups.length < 12) {
    const first = rest[0]
    if (first === undefined) break
    const group = rest.filter((cause) => cause === first || far(cause.row, first.row) < apart)
    groups.push(group)
    rest = rest.filter((cause) => !group.includes(cause))
  }
  const nothing = of(wholeLog) + hidden.reduce((sum, { probability }) => sum + probability, 0)
  const hypotheses = groups
    .map((group) => hypothesisOf(group, model, signals, probe))
    .filter(({ probability }) => probability > 0.001)
    .sort((a, b) => b.probability - a.probability)
  const none = of(noneLog)
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
        `${signal.what}: ${show(signal.measured, signal.unit)}, ${show(unscaledOf(healthy[i] ?? 0, signal), signal.unit)} if nothing is wrong`,
    ),
    measured_at:
      measured_at === null
        ? null
        : {
            step: model.points[measured_at]?.step.index ?? 0,
            volts: model.points[measured_at]?.point.volts ?? {},
          },
    next: nextMeasurement({
      model,
      bench,
      at: measured_at,
      causes: ranked,
      whole: of(wholeLog),
      taken: readings,
    }),
    notes: [
      `How often faults come: ${weightSource}. Tolerances are those that the limits are drawn from.`,
      'Measured at rest with single faults and the likeliest pairs of them; what only shows in time (a low or open capacitor) is among what cannot show.',
    ],
  }
}

const plain: Signal = { what: '', unit: 'V', measured: 0, scale: 1, error: 0, at: null, of: { rail: '' } }

function unscaledOf(y: number, signal: Signal | undefined): number {
  return ((Math.exp(y) - Math.exp(-y)) / 2) * (signal?.scale ?? 1)
}

const isBefore = (signal: Signal | undefined, last: number): boolean =>
  signal?.at !== null && signal !== undefined && signal.at < last && signal.at >= 0

function logSum(a: number, b: number): number {
  const most = Math.max(a, b)
  return most === -Infinity ? most : most + Math.log(Math.exp(a - most) + Math.exp(b - most))
}

/** Spread of healthy sets; what few draws say of two signals together is taken a little less than it says. */
function spreadOf(signals: readonly Signal[], cov: Matrix): number[][] {
  return signals.map((signal, i) =>
    signals.map((other, j) => {
      const value = cov[i]?.[j] ?? 0
      if (i === j) return 1.05 * value + (signal.band ?? 0)
      return signal.band !== undefined || other.band !== undefined ? 0 : 0.97 * value
    }),
  )
}

/** Where volts are read afterwards: the highest step that was reached and did not trip. */
function measuringPoint(model: Model, tripped: number | null): number | null {
  let best: number | null = null
  const sum = (at: number): number =>
    Object.values(model.points[at]?.point.volts ?? {}).reduce((total, V) => total + V, 0)
  for (const [at, { reached, step }] of model.points.entries())
    if (reached && step.index !== tripped && (best === null || sum(at) >= sum(best))) best = at
  return best
}

function hypothesisOf(
  group: readonly Cause[],
  model: Model,
  signals: readonly Signal[],
  probe: ReturnType<typeof createProbe>,
): Hypothesis {
  const [first, ...tied] = group
  const cause = first?.fault
  const predicted = signals.map((signal, i): Predicted => {
    const states = first?.states ?? []
    const value =
      i < model.signals.length
        ? model.value(signal, states, cause ?? null)
        : probe.value(signal, states, cause ?? null)
    return { what: signal.what, unit: signal.unit, predicted: value, measured: signal.measured }
  })
  return {
    fault: cause?.fault ?? '',
    part: cause?.part ?? '',
    text: cause?.text ?? '',
    probability: group.reduce((sum, { probability }) => sum + probability, 0),
    // Single faults first: a pair that holds one of them says nothing more.
    tied_with: [...tied]
      .sort((a, b) => Number(a.fault.with !== undefined) - Number(b.fault.with !== undefined))
      .map(({ fault }) => fault.fault),
    explains: predicted
      .map(
        ({ what, unit, predicted: value, measured }) =>
          `${what}: ${show(value, unit)} predicted, ${show(measured, unit)} measured`,
      )
      .join('; '),
    predicted,
  }
}

function verdictOf(hypotheses: readonly Hypothesis[], none: number, nothing: number, hidden: number): string {
  const [first] = hypotheses
  const best = first?.probability ?? 0
  if (none > Math.max(best, nothing)) return 'None of the known faults explains this.'
  if (nothing >= best)
    return `Nothing that was read shows a fault (${percent(nothing)}): a whole set, or one of ${hidden} faults that these readings cannot show.`
  const tied = first?.tied_with.length ?? 0
  return `Likeliest: ${first?.text ?? ''} (${percent(best)}${tied === 0 ? '' : `, together with ${tied} that cannot be told from it by what is known`}).`
}

function percent(part: number): string {
  return `${(100 * part).toFixed(0)} %`
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
    notes: [],
  }
}
