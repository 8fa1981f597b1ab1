import { z } from 'zod'
import { decimal, type LineHealth, lineHealthShape } from '../exchange/index.js'
import {
  stepNumbered,
  type Plan,
  type RailLimits,
  type RailPlan,
  type Reason,
  type Rule,
  type Step,
} from '../plan/index.js'
import { formedOf, type FormedStory } from './formed.js'
import type { Standing } from './open.js'
import type { RunReader } from './reader.js'
import { type Rest, restsOf } from './rest.js'
import type { Seal } from './chain.js'
import type { Note } from './note.js'
import { isLowering, stepTimes } from './step-times.js'
import { besides, isAt, onItsWay, verdictOf } from './step-verdict.js'
import type { Known, RunEnding, RunEvent, Stream } from './types.js'

/** A run told from its file, as data: what was done, what was seen, how it ended and why. SI units, times in s of the run. */
export interface Story {
  readonly run: string
  readonly file: string
  readonly standing: Standing
  /** What of the file could not be read; the rest of this was told without it. */
  readonly damage: readonly string[]
  /** Files elsewhere with what this run file did not take, where they are found; no seal covers them. */
  readonly rests: readonly Rest[]
  /** Null where the recorder was lost before it knew. */
  readonly known: Omit<Known, 'plan' | 'files'> | null
  readonly equipment: string | null
  readonly profile: string | null
  readonly bench: string | null
  readonly bench_kind: 'real' | 'virtual' | null
  readonly level: number | null
  /** What kind of work the plan was for. */
  readonly kind: Plan['kind'] | null
  /** How far the figures of each supply were trusted: measured when and on which, or not qualified. */
  readonly supplies: readonly string[]
  readonly plan_hash: string | null
  /** `interrupted`: the record has no ending. */
  readonly outcome: RunEnding['outcome'] | 'interrupted'
  readonly outputs_off: RunEnding['outputs_off'] | 'not known'
  readonly reason:
    | (NonNullable<RunEnding['reason']> & {
        readonly because: readonly Because[]
        /** Where the plan gave those reasons for: the end of the step, in which the rail may not have arrived. */
        readonly at_V: number | null
        readonly rule: RuleWord | null
      })
    | null
  /** How each rail was confirmed off, in words. */
  readonly off: Readonly<Record<string, OffWord>>
  readonly bias_released_by: string | null
  readonly stored_charge: RunEnding['stored_charge']
  readonly hand_rails: RunEnding['hand_rails']
  /** Volts last typed for each rail on the person's own knob. */
  readonly hand_last_V: Readonly<Record<string, number>>
  /** No rail of this run was slowglow's to switch or to measure. */
  readonly nothing_to_confirm: boolean
  readonly warnings: readonly string[]
  readonly cautions: readonly { readonly t_s: number; readonly text: string }[]
  readonly steps_done: number
  readonly steps: readonly StepStory[]
  /** Lifted electrolytics that this run formed, each with its verdict; none where it formed none or formed them in the circuit. */
  readonly electrolytics: readonly FormedStory[]
  readonly duration_s: number
  /** Meters on a line: what they showed over the run. */
  readonly inputs: readonly InputStory[]
  /** How each line did, as last told; none where the record is older than that. */
  readonly lines: Readonly<Record<string, LineHealth>>
  /** Run seconds per second: above 1 on a virtual bench at --speed, and every time here is the run's. */
  readonly pace: number
  readonly unproved: readonly string[]
  /** Limits stated by hand in the set's file, in words. */
  readonly by_hand: readonly string[]
  /** Whether the measured part is as it was written. */
  readonly seal: Seal | { readonly is: 'not checked' }
  /** What was written to it afterwards. */
  readonly notes: readonly Note[]
  /** Without each thing fed and asked; `export` gives those too. */
  readonly events: readonly (Omit<RunEvent, 't_us' | 'durable'> & { readonly t_s: number })[]
}
/** In the meter's unit; a contact: 1 closed, 0 open. Null = nothing was read. */
export interface InputStory {
  readonly name: string
  readonly unit: Stream['unit']
  readonly at: string | null
  readonly readings: number
  readonly last: number | null
  readonly least: number | null
  readonly most: number | null
}
/** The rule that ended the run, as the plan had it. */
export type RuleWord = Pick<Rule, 'code' | 'text' | 'for_s' | 'source'>
export type Because = Pick<Reason, 'limit' | 'value' | 'unit' | 'text' | 'source'>
export interface OffWord {
  readonly confirmed: boolean
  readonly volts: number | null
  readonly how: string
}
export interface StepStory {
  readonly index: number
  readonly stage: string
  readonly mode: string
  readonly do: Step['do']
  readonly rail: string | null
  readonly target_V: number
  readonly began_s: number | null
  readonly rails: readonly RailStory[]
}
/** A rail in a step: what it should draw and what it drew when the step ended. */
export interface RailStory {
  readonly rail: string
  readonly at_V: number
  readonly volts: number | null
  readonly amps: number | null
  /** False where the step ended before the rail stood at those volts: what it drew is no figure for them. */
  readonly reached: boolean
  /** What `amps` may be wrong by, A: the instrument's stated accuracy and half a digit; null where nothing was measured. */
  readonly error_A: number | null
  readonly expected_A: number
  readonly lower_A: number
  readonly upper_A: number
  readonly trip_A: number
  /** The trip was stated by hand in the set's file. */
  readonly trip_by_hand?: true
  /** `not measured` is never a pass. */
  /** 'lowered': the step took the rail down; what was expected at the volts it came from is no yardstick there. */
  readonly verdict:
    | 'lowered'
    | 'volts not reached'
    | 'in band'
    | 'below band'
    | 'far below band'
    | 'above band'
    | 'above trip'
    | 'not measured'
}

const handShape = z.object({
  hand_last_V: z.record(z.string(), z.number()).catch({}),
  nothing_to_confirm: z.boolean().catch(false),
})

const offShape = z.object({
  off: z
    .record(z.string(), z.object({ confirmed: z.boolean(), volts: z.number().nullable(), how: z.string() }))
    .catch({}),
  bias_released_by: z.string().nullable().catch(null),
})

/** `seal`: false where many runs are told one after the other, since its check reads each file whole. */
export function storyOf(reader: RunReader, { seal = true }: { readonly seal?: boolean } = {}): Story {
  const known = reader.known()
  const end = reader.ending()
  const ending = end?.ending ?? null
  const events = reader.told()
  const span = reader.span()
  const plan = known?.plan ?? null
  const steps = plan === null ? [] : stepStories(reader, plan, events, end?.t_us ?? span?.to_us ?? 0)
  // The sequencer's own last word carries how each rail went off; a shell may have put the same into `details`.
  const words = [events.findLast(({ what }) => what === 'ending')?.data, ending?.details]
    .map((data) => offShape.safeParse(data ?? {}).data)
    .filter((word) => word !== undefined)
  return {
    run: known?.run ?? 'not known',
    file: reader.path,
    standing: reader.standing,
    rests: restsOf(reader.path),
    known: known === null ? null : withoutBulk(known),
    equipment: plan?.equipment ?? null,
    profile: plan?.profile ?? null,
    bench: plan?.bench ?? null,
    bench_kind: plan?.bench_kind ?? null,
    level: plan?.level ?? null,
    kind: plan?.kind ?? null,
    supplies: (plan?.supplies ?? []).map(({ text }) => text),
    plan_hash: plan?.hash ?? null,
    outcome: ending?.outcome ?? 'interrupted',
    outputs_off: ending?.outputs_off ?? 'not known',
    reason: ending?.reason
      ? {
          ...ending.reason,
          because: becauseOf(ending.reason, plan),
          at_V: limitsOf(ending.reason, plan)?.at_V ?? null,
          rule: ruleOf(ending.reason, plan),
        }
      : null,
    off: words.find(({ off }) => Object.keys(off).length > 0)?.off ?? {},
    bias_released_by: words.find((word) => word.bias_released_by !== null)?.bias_released_by ?? null,
    stored_charge: ending?.stored_charge ?? {},
    hand_rails: ending?.hand_rails ?? {},
    ...handShape.parse(ending?.details ?? {}),
    warnings: ending?.warnings ?? events.filter(({ what }) => what === 'warning').map(({ text }) => text),
    cautions: events
      .filter(({ what }) => what === 'begin')
      .map(({ t_us, text }) => ({ t_s: t_us / 1e6, text })),
    steps_done: stepsDone(steps, ending),
    steps,
    electrolytics: plan === null ? [] : formedOf(plan, events),
    duration_s: ending?.duration_s ?? (span === null ? 0 : (span.to_us - span.from_us) / 1e6),
    inputs: plan === null ? [] : inputStories(reader, plan, span),
    lines: linesOf(events),
    pace: plan?.pace ?? 1,
    by_hand: (plan?.by_hand ?? []).map(({ text }) => text),
    unproved: plan?.unproved ?? [],
    seal: seal ? reader.seal() : { is: 'not checked' },
    notes: reader.notes(),
    events: events.map(({ t_us, from, what, text, rail, step, intent, data }) => ({
      t_s: t_us / 1e6,
      from,
      what,
      text,
      rail,
      step,
      intent,
      data,
    })),
    // The last: all above has been looked for by now.
    damage: reader.damage(),
  }
}

const toldShape = z.object({ port: z.string(), health: lineHealthShape })

function linesOf(events: readonly RunEvent[]): Story['lines'] {
  const lines: Record<string, LineHealth> = {}
  for (const { what, data } of events) {
    const told = what === 'line health' ? toldShape.safeParse(data) : null
    if (told?.success === true) lines[told.data.port] = told.data.health
  }
  return lines
}

function withoutBulk({ run, started, version, command, identities, seed, faults }: Known): Story['known'] {
  return { run, started, version, command, identities, seed, faults }
}

/** Each once, however often a run that climbed again came to it; the one under way where it did not come to its end is not done. */
function stepsDone(steps: readonly StepStory[], ending: RunEnding | null): number {
  const begun = steps.filter(({ began_s }) => began_s !== null).length
  if (ending?.outcome === 'completed') return begun
  return Math.min(begun, Math.max(ending?.steps_done ?? 0, begun - 1))
}

function limitsOf(
  { rail, step }: NonNullable<RunEnding['reason']>,
  plan: Plan | null,
): RailLimits | undefined {
  return plan === null || rail === null ? undefined : stepNumbered(plan, step)?.limits[rail]
}

/** Why the limit that ended the run was what it was: that limit first, then what was expected there. */
function becauseOf(reason: NonNullable<RunEnding['reason']>, plan: Plan | null): Because[] {
  const { code, limit } = reason
  const told = ['expected', 'band', code === 'over-ceiling' ? 'ceiling' : 'trip']
  const limits = limitsOf(reason, plan)
  const near = (value: number): boolean => limit !== null && Math.abs(value - limit) <= 1e-6 * Math.abs(limit)
  const reasons = limits?.because ?? []
  const wanted = [
    ...reasons.filter(({ value }) => near(value)),
    ...reasons.filter((each) => !near(each.value) && told.includes(each.limit)),
  ]
  return wanted.map(({ limit: name, value, unit, text, source }) => ({
    limit: name,
    value,
    unit,
    text,
    source,
  }))
}

/** Limits of watched inputs are rules of their own, told apart by their figure. */
function ruleOf({ code, limit, unit }: NonNullable<RunEnding['reason']>, plan: Plan | null): RuleWord | null {
  const rules = plan?.rules.filter((each) => each.code === code) ?? []
  const rule = rules.find((each) => each.trip === limit && each.unit === unit) ?? rules[0]
  return rule === undefined ? null : { code, text: rule.text, for_s: rule.for_s, source: rule.source }
}

function stepStories(
  reader: RunReader,
  plan: Plan,
  events: readonly RunEvent[],
  run_end_us: number,
): StepStory[] {
  const streams = reader.streams()
  const visits = stepTimes(plan, events, run_end_us)
  // Where the run came to a step again, what it read there at the last tells of it.
  const times = new Map(visits.map((time) => [time.step, time]))
  const told = plan.steps.map((step) => {
    const time = times.get(step)
    // In a step that ended before its own rail was judged, limits may still have been on their way.
    const judgedIn = (rail: string | null): RunEvent | undefined =>
      time?.told.findLast(
        (event) => event.what === 'judgement' && event.rail === rail && event.t_us >= time.from_us,
      )
    const arrived = time !== visits.at(-1) || judgedIn(step.rail) !== undefined
    return {
      index: step.index,
      stage: step.stage,
      mode: step.mode,
      do: step.do,
      rail: step.rail,
      target_V: step.target_V,
      began_s: time === undefined ? null : (visits.find((each) => each.step === step) ?? time).from_us / 1e6,
      rails:
        time === undefined || step.do === 'hook-up check'
          ? []
          : Object.entries(step.limits).map(([rail, planned]) => {
              const limits = arrived || rail === step.rail ? planned : besides(plan, step, rail, planned)
              const judged = judgedIn(rail)
              const last = (unit: 'V' | 'A'): number | null =>
                judgedValue(judged, unit) ??
                lastReading(reader, streams, plan.rails[rail], unit, time.from_us, time.to_us)
              const amps = last('A')
              const { expected_A, lower_A, upper_A, trip_A } = limits
              const volts = last('V')
              // A step judged for where it comes to has limits of its own.
              const lowered = isLowering(step, rail)
              const reached = judged !== undefined || isAt(volts, lowered ? step.target_V : limits.at_V)
              return {
                rail,
                at_V: lowered ? step.target_V : limits.at_V,
                volts,
                amps,
                reached,
                error_A: amps === null ? null : errorOf(plan, rail, amps),
                expected_A,
                lower_A,
                upper_A,
                trip_A,
                ...(limits.manual?.in_force === true && { trip_by_hand: true as const }),
                verdict:
                  amps === null
                    ? 'not measured'
                    : lowered
                      ? 'lowered'
                      : verdictOf(amps, reached ? limits : onItsWay(plan, time, rail, limits), reached),
              }
            }),
    }
  })
  // What nothing in this run called for was never one of its steps.
  return told.filter(({ began_s }, at) => began_s !== null || !mayBePassed(plan.steps[at]))
}

const mayBePassed = (step: Step | undefined): boolean =>
  step?.only_if !== undefined || step?.aside === true || step?.reform?.what === 'rung'

function inputStories(reader: RunReader, plan: Plan, span: ReturnType<RunReader['span']>): InputStory[] {
  return reader.streams().flatMap(({ id, name: stream, unit }): InputStory[] => {
    if (!stream.startsWith('meter.')) return []
    const name = stream.slice('meter.'.length)
    const seen = span === null ? undefined : reader.overview(id, 1, span.from_us, span.to_us).columns[0]
    const { n = 0, last = null, min = null, max = null } = seen ?? {}
    return [{ name, unit, at: plan.meters[name]?.at ?? null, readings: n, last, least: min, most: max }]
  })
}

/** Of the instrument that measured the rail's current: the widest of its channels, or its own meter. */
function errorOf(plan: Plan, rail: string, amps: number): number | null {
  const found = plan.rails[rail]
  const meter = plan.meters[found?.amps_meter ?? '']
  const instruments = [
    ...(found?.channels ?? []).map(({ accuracy_A, resolution_A }) => ({
      accuracy: accuracy_A,
      resolution: resolution_A,
    })),
    ...(meter === undefined ? [] : [meter]),
  ]
  if (instruments.length === 0) return null
  return Math.max(
    ...instruments.map(
      ({ accuracy, resolution }) => accuracy.of_reading * Math.abs(amps) + accuracy.plus + resolution / 2,
    ),
  )
}

function judgedValue(judged: RunEvent | undefined, unit: 'V' | 'A'): number | null {
  const value = judged?.data[unit === 'V' ? 'volts' : 'amps']
  return typeof value === 'number' ? value : null
}

/**
 * As the supply's channels saw it (stacked channels: volts add up, the greater current counts), else as the rail's own
 * meter did. Null where no reading is recent enough: not measured.
 */
function lastReading(
  reader: RunReader,
  streams: readonly Stream[],
  rail: RailPlan | undefined,
  unit: 'V' | 'A',
  from_us: number,
  to_us: number,
): number | null {
  if (rail === undefined) return null
  const own = streams.filter((stream) => stream.rail === rail.name && stream.unit === unit)
  const channels = own.filter(({ name }) => !name.startsWith('meter.'))
  const meter = `meter.${(unit === 'V' ? rail.volts_meter : rail.amps_meter) ?? ''}`
  const seen = (channels.length > 0 ? channels : own.filter(({ name }) => name === meter)).map(({ id }) => {
    const { n, k } = reader.readings(id, Math.max(from_us, to_us - lookBack_us), to_us)
    const last = n.length - 1
    return last < 0 ? null : decimal(n[last] ?? 0, k[last] ?? 0)
  })
  const values = seen.filter((value) => value !== null)
  if (values.length === 0 || values.length < seen.length) return null
  return unit === 'V' ? values.reduce((sum, value) => sum + value, 0) : Math.max(...values)
}
/** A reading older than this at the end of a step does not speak for it. */
const lookBack_us = 60e6
