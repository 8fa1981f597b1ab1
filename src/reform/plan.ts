import type { Bench, Channel } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import {
  failedChannel,
  layerSteps,
  type Plan,
  promptTimeout_s,
  type RailPlan,
  type ReformPart,
  type ReformPlan,
  timedSteps,
  unattendedPlan,
} from '../plan/index.js'
import type { Profile } from '../profile/index.js'
import { formatShort } from '../quantities/index.js'
import { railsOf } from './hookup.js'
import { judgeCans, judgeFeeder, judgePart, judgeParts, type Problem } from './judged.js'
import { can_W, night_s, top_s } from './limits.js'
import { storage_s } from './feed.js'
import { partOf } from './parts.js'
import { lasts, lastsBy, said, stored } from './said.js'
import { feederOf, formingBench, liftedOf, liftedSet } from './setup.js'
import { overRoom, ReformSteps } from './steps.js'
import { planWith } from './whole.js'

/* The plan of a reform with lifted parts: a profile kind of the same sequencer, its steps ended by the estimator. */

export interface MadeReform {
  readonly plan: Plan | null
  readonly bench: Bench | null
  readonly set: Equipment
  readonly problems: readonly Problem[]
}
/** What an earlier run of the same parts tells, where it is taken up again. */
export interface Earlier {
  /** Volts each part had been formed at to the end. */
  readonly formed_V: Readonly<Record<string, number>>
  readonly run: string
}

/** What this set's earlier reforms of these parts tell of the time it takes. */
export interface Experience {
  /** From the first step to the top, and what the top took beyond what was planned, s: of those runs the slowest. */
  readonly climb_s: number
  readonly longer_s: number
  readonly run: string
  readonly of: number
}
export interface ReformOptions {
  readonly earlier?: Earlier | null
  readonly experience?: Experience | null
  /** Nobody stays. */
  readonly unattended?: boolean
}

/** Makers rest 12 to 48 h; half an hour is what a night can afford (our choice). */
const rest_s = 1800

/** Its over-voltage level stands above the last set-point, and neither above what it is rated for. */
function mostOf_V({ max_V, over_voltage, over_voltage_margin_V }: Channel): number {
  return over_voltage ? Math.min(max_V / overRoom, max_V - over_voltage_margin_V) : max_V
}

export function reformPlan(
  profile: Profile,
  equipment: Equipment,
  whole: Bench,
  { earlier = null, experience = null, unattended = false }: ReformOptions = {},
): MadeReform {
  const order = profile.reform
  const set = order === null ? equipment : liftedSet(equipment, order)
  const bench = order === null ? null : formingBench(whole, order)
  const found = bench === null || order === null ? null : feederOf(bench, order.rail)
  const refused = (what: string, remedy: string): MadeReform => ({
    plan: null,
    bench,
    set,
    problems: [{ severity: 'error', what, remedy }],
  })
  if (order === null) return refused('The profile names no lifted parts.', 'Write reform: with its parts.')
  if (bench === null || found === null)
    return refused(
      `No channel of ${whole.name} feeds ${order.rail}.`,
      'Name the rail that the forming supply feeds: reform: { rail: … }.',
    )
  const { channel } = found
  const lifted = liftedOf(equipment, order)
  if (lifted.length === 0)
    return refused('No part is named.', 'Write reform: { parts: … } with the lifted electrolytics.')
  const lowest_V = Math.min(...lifted.map(({ most_V }) => most_V))
  const top_V = Math.floor(
    Math.min(lowest_V, mostOf_V(channel), order.to_V ?? Infinity, profile.ceiling_V[order.rail] ?? Infinity),
  )
  const supply = { ...channel.accuracy_V, resolution: channel.resolution_V }
  const partial = {
    rail: order.rail,
    channel: found.name,
    top_V,
    rung_V: top_V / 20,
    heat_W: order.heat_W ?? can_W,
  }
  const lost: Problem[] = []
  const sound: ReformPart[] = []
  for (const each of lifted) {
    const made = partOf(each, { order, bench, top_V, supply, formed_V: earlier?.formed_V ?? {} })
    if ('lost' in made) lost.push(made.lost)
    else sound.push(made)
  }
  if (lost.length > 0) return { plan: null, bench, set, problems: lost }
  const read = sound.some(({ typed }) => typed !== undefined)
  const known: ReformPlan = {
    ...partial,
    // Every step is a reading of every part, with the hands clear again after it.
    ...(read && { rung_V: top_V / readRungs }),
    parts: sound,
    top_s: order.hold_s ?? heldFor_s(order.stored_years),
    rest_s: order.rest_s ?? rest_s,
    supply,
    said: [],
  }
  const F = sound.reduce((sum, part) => sum + part.F, 0)
  const problems = [
    ...sound.flatMap((part) => judgePart(part, known)),
    ...judgeParts(known),
    ...judgeCans(known),
    ...judgeFeeder(whole, found.name, channel, top_V, F),
    ...failedChannel(whole, found.name),
  ]
  const timeout_s = promptTimeout_s(profile)
  const rails = railsOf(bench, known)
  const steps = new ReformSteps({
    plan: known,
    name: found.name,
    channel,
    timeout_s,
    climb_s: experience?.climb_s ?? null,
    proofs: unattended ? (tests) => layerSteps(bench, tests, slowFalling(rails, known, F), timeout_s) : null,
  })
  steps.build(order.built_in)
  const expected_s = Math.round(
    steps.all.filter(({ aside }) => aside === undefined).reduce((sum, step) => sum + step.expected_s, 0) +
      (experience?.longer_s ?? 0),
  )
  const reform: ReformPlan = {
    ...known,
    said: [
      ...said(sound, known, earlier),
      ...stored(order.stored_years, known),
      lasts(expected_s, experience, known),
    ],
  }
  const time_budget_s = profile.time_budget_s ?? Math.max(night_s, 1.5 * expected_s)
  if (time_budget_s < expected_s)
    problems.push({
      severity: 'error',
      what: `The time budget of ${formatShort(time_budget_s, 's')} is shorter than the ${formatShort(expected_s, 's')} that it takes: ${lastsBy(experience)}.`,
      remedy: 'Give it more, or shorten hold: and rest:, knowingly.',
    })
  if (problems.some(({ severity }) => severity === 'error')) return { plan: null, bench, set, problems }
  const made = planWith({ profile, equipment, bench, reform, steps, F, expected_s, time_budget_s, top_V })
  if (!unattended) return { plan: made, bench, set, problems }
  const alone = unattendedPlan(profile, bench, made.rails, made.steps)
  const timed = timedSteps(made.steps, made)
  const plan = {
    ...made,
    steps: timed,
    unattended: { ...alone, refused: [...alone.refused, ...readByHand(sound), ...exchangedByHand(sound)] },
  }
  return { plan, bench, set, problems }
}

/** The longer of what a maker's note asks and what the trade's rule does. */
const heldFor_s = (years: number | null): number => Math.max(top_s, years === null ? 0 : storage_s(years))

/** A step with typed readings is a reading of every part: an eighth of the top (our choice). */
const readRungs = 8

/** What a person alone sees is not seen while nobody is there. */
function readByHand(parts: readonly ReformPart[]): { readonly what: string; readonly remedy: string }[] {
  const names = parts.flatMap(({ name, typed }) => (typed === undefined ? [] : [name]))
  if (names.length === 0) return []
  return [
    {
      what: `the meter of ${names.join(', ')} is read by a person alone`,
      remedy: 'give it a line to this computer, or stay',
    },
  ]
}

function exchangedByHand(parts: readonly ReformPart[]): { readonly what: string; readonly remedy: string }[] {
  const names = parts.flatMap(({ name, next_feed }) => (next_feed === undefined ? [] : [name]))
  if (names.length === 0) return []
  return [
    {
      what: `the feed resistor of ${names.join(', ')} is exchanged by hand (then:)`,
      remedy: 'leave then: out of this run, or stay',
    },
  ]
}

/** The lifted parts hold the terminals up through their feed resistors, for longer than the supply's own capacitor. */
function slowFalling(
  rails: Readonly<Record<string, RailPlan>>,
  { rail, parts }: ReformPlan,
  F: number,
): Record<string, RailPlan> {
  const most_ohm = Math.max(...parts.map(({ feed_ohm }) => feed_ohm))
  const one = rails[rail]
  if (one?.discharge == null) return { ...rails }
  const { ohm, through } = one.discharge
  return { ...rails, [rail]: { ...one, discharge: { ohm: ohm + most_ohm / parts.length, F, through } } }
}
