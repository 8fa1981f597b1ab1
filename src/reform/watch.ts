import type { Plan, ReformJudgement, ReformPlan } from '../plan/index.js'
import { heat_W } from './figures.js'
import { beginHold, beginRamp, letGo, type PartWatch, seeMeter, seeSupply, watchPart } from './part.js'
import { case_K } from './limits.js'
import { seeTyped } from './typed.js'

/** All parts of a run, followed beside the loop: what the sequencer is fed is seen here too, and what it is told comes from here. */
export interface ReformWatch {
  readonly plan: ReformPlan
  readonly parts: readonly PartWatch[]
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
    parts: plan.reform.parts.map(watchPart),
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
    parts: watch.parts.map(of),
  })
  if (step?.reform === undefined) return every(letGo)
  const { reform, target_V } = step
  const began = seen.step === index ? watch : every((part) => beginRamp(part, target_V))
  if (!holds) return began
  return {
    ...began,
    seen: { step: index, holds },
    parts: began.parts.map((part) =>
      part.hold?.step === index ? part : beginHold(part, index, reform, target_V, t_us),
    ),
  }
}

/** The same with one part as it is now. */
function withPart({ plan, parts, seen, cases }: ReformWatch, at: number, now: PartWatch): ReformWatch {
  return { plan, parts: parts.with(at, now), seen, cases }
}

/** A reading, and what is to be told because of it. `left_s`: what the run may still spend on waiting, asked where it matters. */
export function see(
  watch: ReformWatch,
  reading: Seen,
  left_s: () => number,
): { readonly watch: ReformWatch; readonly told: readonly ReformJudgement[] } {
  if (reading.kind === 'supply') {
    const { plan, parts, seen, cases } = watch
    const now = parts.map((part) => seeSupply(part, reading.volts, reading.t_us))
    return { watch: { plan, parts: now, seen, cases }, told: [] }
  }
  if (reading.kind !== 'meter') {
    const at = watch.parts.findIndex(({ part }) => part.name === reading.part)
    const part = watch.parts[at]
    if (part === undefined) return { watch, told: [] }
    const next =
      reading.kind === 'feed'
        ? { watch: withFeed(watch, part, reading.ohm), told: null }
        : seeTyped(part, reading.volts, reading.t_us, watch.plan, left_s(), besideIt_W(watch, part))
    return {
      watch: withPart(watch, at, next.watch),
      told: next.told === null ? [] : [next.told],
    }
  }
  for (let at = 0; at < watch.parts.length; at++) {
    const part = watch.parts[at]
    if (part?.part.meter === reading.meter) {
      const next = seeMeter(part, reading.value, reading.t_us, watch.plan, left_s(), besideIt_W(watch, part))
      return { watch: withPart(watch, at, next.watch), told: next.told === null ? [] : [next.told] }
    }
    if (part?.part.case === reading.meter) return seeCase(watch, at, part, reading.value)
  }
  return { watch, told: [] }
}

/**
 * Heat of the other sections of its cans, W: a can takes no more for being several. Nothing where another of them is hotter, which is
 * then the one that is judged by the sum.
 */
function besideIt_W({ parts }: ReformWatch, watch: PartWatch): number {
  const { cans, name } = watch.part
  if (cans.length === 0) return 0
  const own_W = heat_W(watch)
  let sum_W = 0
  for (const other of parts) {
    if (other.part.name === name || !other.part.cans.some((can) => cans.includes(can))) continue
    const W = heat_W(other)
    if (W > own_W) return 0
    sum_W += W
  }
  return sum_W
}

/** Measured: it may be off by what the ohmmeter may be off, and no longer by its tolerance. */
function withFeed({ plan }: ReformWatch, watch: PartWatch, feed_ohm: number): PartWatch {
  const planned = plan.parts.find(({ name }) => name === watch.part.name)
  const next = planned?.next_feed
  const isNext = next !== undefined && ohm_nearer(feed_ohm, next.ohm, planned?.feed_ohm ?? 0)
  const feed_error = isNext ? next.error : (planned?.feed_error ?? watch.part.feed_error)
  return { ...watch, part: { ...watch.part, feed_ohm, feed_error } }
}

const ohm_nearer = (ohm: number, to: number, than: number): boolean =>
  Math.abs(ohm - to) < Math.abs(ohm - than)

/** Warmer than at the start by more than a can may be: felt heat was the old sign of a part that is going. */
function seeCase(
  watch: ReformWatch,
  at: number,
  part: PartWatch,
  degrees: number,
): { readonly watch: ReformWatch; readonly told: readonly ReformJudgement[] } {
  const { name } = part.part
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
  return { watch: withPart(watch, at, { ...part, over: true }), told: [told] }
}
