import type { Plan, ReformJudgement, ReformPlan } from '../plan/index.js'
import { beginHold, beginRamp, letGo, type PartWatch, seeMeter, seeSupply, watchPart } from './part.js'
import { case_K } from './limits.js'
import { seeTyped } from './typed.js'

/** All parts of a run, followed beside the loop: what the sequencer is fed is seen here too, and what it is told comes from here. */
export interface ReformWatch {
  readonly plan: ReformPlan
  readonly parts: Readonly<Record<string, PartWatch>>
  /** Step and whether it holds, as last seen. */
  readonly seen: { readonly step: number; readonly holds: boolean }
  /** Case temperatures as they were first read. */
  readonly cases: Readonly<Record<string, number>>
}

/** Where the sequencer stands, as far as it concerns the parts. */
export interface Standing {
  readonly step: Plan['steps'][number] | null
  /** The set-point has arrived and the step is held. */
  readonly holds: boolean
  readonly t_us: number
  /** Since the cautions were acknowledged, s. */
  readonly run_s: number
  /** What the steps still to come hold at least, s. */
  readonly rest_s: number
  readonly budget_s: number
}

/** A reading as the sequencer is fed it. */
export type Seen =
  | { readonly kind: 'supply'; readonly volts: number; readonly t_us: number }
  | { readonly kind: 'meter'; readonly meter: string; readonly value: number; readonly t_us: number }
  /** A person read the meter of a part that has no line, or measured its feed resistor. */
  | { readonly kind: 'typed'; readonly part: string; readonly volts: number; readonly t_us: number }
  | { readonly kind: 'feed'; readonly part: string; readonly ohm: number; readonly t_us: number }

export function openWatch(plan: Plan): ReformWatch | null {
  if (plan.reform === undefined) return null
  return {
    plan: plan.reform,
    parts: Object.fromEntries(plan.reform.parts.map((part) => [part.name, watchPart(part)])),
    seen: { step: 0, holds: false },
    cases: {},
  }
}

/** A step has begun, or its set-point has arrived. */
export function follow(watch: ReformWatch, { step, holds, t_us }: Standing): ReformWatch {
  const index = step?.index ?? 0
  const { seen } = watch
  if (seen.step === index && seen.holds === holds) return watch
  const every = (of: (part: PartWatch) => PartWatch): ReformWatch => ({
    ...watch,
    seen: { step: index, holds },
    parts: Object.fromEntries(Object.entries(watch.parts).map(([name, part]) => [name, of(part)])),
  })
  if (step?.reform === undefined) return every(letGo)
  const { reform, target_V } = step
  const began = seen.step === index ? watch : every((part) => beginRamp(part, target_V))
  if (!holds) return began
  return {
    ...began,
    seen: { step: index, holds },
    parts: Object.fromEntries(
      Object.entries(began.parts).map(([name, part]) => [
        name,
        part.hold?.step === index ? part : beginHold(part, index, reform, target_V, t_us),
      ]),
    ),
  }
}

/** A reading, and what is to be told because of it. */
export function see(
  watch: ReformWatch,
  reading: Seen,
  standing: Standing,
): { readonly watch: ReformWatch; readonly told: readonly ReformJudgement[] } {
  if (reading.kind === 'supply') {
    const parts: Record<string, PartWatch> = {}
    for (const name in watch.parts) {
      const part = watch.parts[name]
      if (part) parts[name] = seeSupply(part, reading.volts, reading.t_us)
    }
    return { watch: { plan: watch.plan, parts, seen: watch.seen, cases: watch.cases }, told: [] }
  }
  const left_s = Math.max(0, standing.budget_s - standing.run_s - standing.rest_s)
  if (reading.kind !== 'meter') {
    const part = watch.parts[reading.part]
    if (part === undefined) return { watch, told: [] }
    const next =
      reading.kind === 'feed'
        ? { watch: withFeed(watch, part, reading.ohm), told: null }
        : seeTyped(part, reading.volts, reading.t_us, watch.plan, left_s)
    return {
      watch: { ...watch, parts: { ...watch.parts, [reading.part]: next.watch } },
      told: next.told === null ? [] : [next.told],
    }
  }
  for (const [name, part] of Object.entries(watch.parts)) {
    if (part.part.meter === reading.meter) {
      const next = seeMeter(part, reading.value, reading.t_us, watch.plan, left_s)
      return {
        watch: { ...watch, parts: { ...watch.parts, [name]: next.watch } },
        told: next.told === null ? [] : [next.told],
      }
    }
    if (part.part.case === reading.meter) return seeCase(watch, name, part, reading.value)
  }
  return { watch, told: [] }
}

/** Measured: it may be off by what the ohmmeter may be off, and no longer by its tolerance. */
function withFeed({ plan }: ReformWatch, watch: PartWatch, feed_ohm: number): PartWatch {
  const planned = plan.parts.find(({ name }) => name === watch.part.name)
  const feed_error = planned?.feed_error ?? watch.part.feed_error
  return { ...watch, part: { ...watch.part, feed_ohm, feed_error } }
}

/** Warmer than at the start by more than a can may be: felt heat was the old sign of a part that is going. */
function seeCase(
  watch: ReformWatch,
  name: string,
  part: PartWatch,
  degrees: number,
): { readonly watch: ReformWatch; readonly told: readonly ReformJudgement[] } {
  const first = watch.cases[name]
  if (first === undefined)
    return { watch: { ...watch, cases: { ...watch.cases, [name]: degrees } }, told: [] }
  if (part.over || degrees - first <= case_K) return { watch, told: [] }
  const told: ReformJudgement = {
    part: name,
    step: part.hold?.step ?? watch.seen.step,
    act: 'give up',
    reach_V: 0,
    verdict: 'replace',
    code: 'hot-case',
    text: `given up, because its case is at ${degrees.toFixed(1)} °C, ${(degrees - first).toFixed(1)} K above what it was at the start`,
    figures: {
      volts: part.lately?.meter ?? 0,
      leak_A: null,
      held_s: 0,
      F: part.F?.F ?? null,
      F_error: part.F?.error_F ?? null,
      limit_A: part.part.limit.amps,
      resolves_A: part.part.resolves_A,
      slope: null,
      soonest_s: null,
      latest_s: null,
    },
  }
  return { watch: { ...watch, parts: { ...watch.parts, [name]: { ...part, over: true } } }, told: [told] }
}
