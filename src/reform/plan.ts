import type { Bench, Channel } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import {
  cutOffPlan,
  guardPlans,
  inputRules,
  layerSteps,
  offPlanOf,
  type MeterPlan,
  type Plan,
  type RailPlan,
  type ReformPart,
  type ReformPlan,
  staleAfter_s,
  standardRules,
  unattendedPlan,
} from '../plan/index.js'
import type { Profile, ReformOrder } from '../profile/index.js'
import { formatShort } from '../quantities/index.js'
import { resolves_A, settling_s } from './feed.js'
import { judgeFeeder, judgePart, judgeParts, type Problem } from './judged.js'
import { can_W, limitOf, overTarget } from './limits.js'
import {
  feederOf,
  formingBench,
  formingNode,
  idleRail,
  liftedOf,
  type Lifted,
  liftedSet,
  meterOf,
  nodeOf,
  returnNode,
  typedNode,
} from './setup.js'
import { overRoom, ReformSteps } from './steps.js'

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

/** A maker's note of October 1993: at least 4 h at rated volts (second-hand). */
const top_s = 4 * 3600
/** Makers rest 12 to 48 h; half an hour is what a night can afford (our choice). */
const rest_s = 1800
/** Four to twenty-four hours are usual (common practice, no source). */
const budget_s = 24 * 3600

/** Its over-voltage level stands above the last set-point, and neither above what it is rated for. */
function mostOf_V({ max_V, over_voltage, over_voltage_margin_V }: Channel): number {
  return over_voltage ? Math.min(max_V / overRoom, max_V - over_voltage_margin_V) : max_V
}

/** In long holds the rail is read once a second and meters every five (src/loop/reform.ts): three of those, and one more. */
const slowStale_s = 4
const slowMeter_s = 20

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
  const lowest_V = Math.min(...lifted.map(({ rated_V }) => rated_V))
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
    const made = partOf(each, order, bench, top_V, supply, earlier)
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
    top_s: order.hold_s ?? top_s,
    rest_s: order.rest_s ?? rest_s,
    supply,
    said: [],
  }
  const F = sound.reduce((sum, part) => sum + part.F, 0)
  const problems = [
    ...sound.flatMap((part) => judgePart(part, known)),
    ...judgeParts(known),
    ...judgeFeeder(whole, found.name, channel, top_V, F),
  ]
  const timeout_s = Math.min(600, profile.prompt_timeout_s ?? 600)
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
    said: [...said(sound, known, earlier), lasts(expected_s, experience, known)],
  }
  const time_budget_s = profile.time_budget_s ?? Math.max(budget_s, 1.5 * expected_s)
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
  const plan = { ...made, unattended: { ...alone, refused: [...alone.refused, ...readByHand(sound)] } }
  return { plan, bench, set, problems }
}

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

const lastsBy = (experience: Experience | null): string =>
  experience === null
    ? 'common practice, no source: 4 min a step, then what is held and rested; what these parts make of it is not known'
    : `as ${experience.of === 1 ? 'the earlier reform' : `the slowest of ${experience.of} earlier reforms`} of this set's parts took (${experience.run}: ${formatShort(experience.climb_s, 's')} to the top), with what is held and rested now`

const lasts = (expected_s: number, experience: Experience | null, { parts }: ReformPlan): string =>
  `Some ${formatShort(expected_s, 's')} for ${parts.length === 1 ? 'this part' : `these ${parts.length} parts`}: ${lastsBy(experience)}.`

function partOf(
  lifted: Lifted,
  order: ReformOrder,
  bench: Bench,
  top_V: number,
  supply: ReformPlan['supply'],
  earlier: Earlier | null,
): ReformPart | { readonly lost: Problem } {
  const { name, F, rated_V } = lifted
  const own = order.parts[name]
  const found = meterOf(bench, name)
  if (own === undefined || found === null)
    return {
      lost: {
        severity: 'error',
        what: `No meter sees ${name}: behind its feed resistor the supply knows nothing of its volts.`,
        remedy: `Clip one there and write it into the bench file: at: ${nodeOf(name)}, against: ${returnNode} (or across the feed resistor, at: ${formingNode}, against: ${nodeOf(name)}); without a line you are asked what it shows.`,
      },
    }
  const { meter } = found
  const byHand = meter.line === null && meter.on === null
  const part = {
    ...lifted,
    feed_ohm: own.feed_ohm,
    feed_error: own.feed_by_hand ?? own.feed_error,
    ...(own.feed_by_hand !== null && { feed_untold: own.feed_error }),
    feed_rated_W: own.feed_rated_W,
    ...(byHand && {
      typed: { node: typedNode(name, found.across), settle_s: settling_s({ feed_ohm: own.feed_ohm, F }) },
    }),
    ...(own.measured !== null && {
      measured_F: { F: own.measured.F, error_F: own.measured.error * own.measured.F },
    }),
    meter: found.name,
    across: found.across,
    meter_ohm: meter.ohm,
    meter_error: { ...meter.accuracy, resolution: meter.resolution },
    case: caseOf(bench, name),
    limit: limitOf(order.target, F, rated_V, Math.min(top_V, rated_V)),
    formed_V: Math.min(earlier?.formed_V[name] ?? 0, top_V),
  }
  return { ...part, resolves_A: resolves_A(part, supply, top_V, part.limit.amps) }
}

/** A thermometer named after the part. */
function caseOf(bench: Bench, part: string): string | null {
  const found = Object.entries(bench.meters).find(
    ([name, { measures }]) => measures === '°C' && name.startsWith(`${part} `),
  )
  return found?.[0] ?? null
}

/** What is judged, and what it cannot separate. */
function said(
  parts: readonly ReformPart[],
  { top_V }: Pick<ReformPlan, 'top_V'>,
  earlier: Earlier | null,
): string[] {
  const read = parts.filter(({ typed }) => typed !== undefined)
  const unsized = read.filter(({ measured_F }) => measured_F === undefined)
  return [
    ...parts.map(
      (part) =>
        `${part.name}: held against ${part.limit.text} (${part.limit.source}); the smallest leakage this bench tells at ${formatShort(top_V, 'V')} is ${formatShort(part.resolves_A, 'A')}.`,
    ),
    ...parts.flatMap(({ name, joined, parts: of }) =>
      joined === 'alone'
        ? []
        : [
            joined === 'series'
              ? `${name} is a string of ${of.join(', ')}: one meter sees their common leakage and not how the volts share out; lift them one by one to tell which.`
              : `${name} is ${of.join(', ')} in parallel: their leakage is one sum, and which of them leaks is not told.`,
          ],
    ),
    ...(read.length === 0
      ? []
      : [
          `${read.map(({ name }) => name).join(', ')}: you are asked what the meter shows, and between two answers nothing watches ${read.length === 1 ? 'it' : 'them'}: what goes wrong meanwhile is bounded by the feed resistor alone.`,
        ]),
    ...(unsized.length === 0
      ? []
      : [
          `${unsized.map(({ name }) => name).join(', ')}: typed readings do not show how a part charges, so that its capacitance stays unknown and no verdict is better than marginal; read it on a capacitance meter, dead, and state it as capacitance:.`,
        ]),
    ...(parts.some(({ case: thermometer }) => thermometer === null)
      ? ['No thermometer stands on every can: heat is judged by volts times leakage alone.']
      : []),
    `Given up when leakage rises after it had fallen, stands above ${overTarget.factor} times its limit after an hour, or a part does not follow its volts. Leakage depends on warmth and is not converted: work at 15 to 35 °C.`,
    ...(earlier === null
      ? []
      : [
          `Taken up from ${earlier.run}: after a fresh check at the lowest step it goes on at the last volts that were held to their end.`,
        ]),
  ]
}

interface Whole {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
  readonly reform: ReformPlan
  readonly steps: ReformSteps
  readonly F: number
  readonly expected_s: number
  readonly time_budget_s: number
  readonly top_V: number
}

function planWith({
  profile,
  equipment,
  bench,
  reform,
  steps,
  F,
  expected_s,
  time_budget_s,
  top_V,
}: Whole): Plan {
  const { rail } = reform
  const found = feederOf(bench, rail)
  const meters = metersOf(bench, reform)
  const off = offPlanOf(bench)
  const ohm = found?.channel.bleeder_ohm ?? 1e9
  const output_F = found?.channel.output_F ?? 0
  const most_ohm = Math.max(...reform.parts.map(({ feed_ohm }) => feed_ohm))
  const falls_s = reform.parts.reduce((most, part) => Math.max(most, (part.feed_ohm + ohm) * part.F), 0)
  return {
    format: 'slowglow plan 1',
    equipment: equipment.name,
    profile: profile.name,
    bench: bench.name,
    bench_kind: bench.kind,
    kind: 'reform',
    level: equipment.level,
    hash: '',
    rails: railsOf(bench, reform),
    meters,
    hookup: [
      {
        rail,
        supply: reform.channel,
        positive: `the far ends of the feed resistors, joined (${formingNode})`,
        negative: `the negative ends of the lifted parts, joined (${returnNode})`,
        first: reform.parts.map(
          ({ name, parts }) =>
            `${parts.join(' and ')}: lifted at its positive end, so that nothing of the set hangs on it (${nodeOf(name)})`,
        ),
        proved_by: 'volts over amps at low volts, and each part by its own meter',
      },
    ],
    prove_dead: reform.parts.map(({ name }) => ({
      rail,
      node: nodeOf(name),
      at: `the terminals of ${name}`,
    })),
    wires: wiresOf(reform),
    unproved: [
      ...reform.said,
      'What the parts do in the set: hum, heat and ripple current are not tried here.',
      'A part that was formed in place or lies idle again loses its oxide in time.',
    ],
    steps: steps.all,
    rules: [...standardRules(bench, profile, time_budget_s), ...inputRules(meters)],
    off: {
      ...off,
      knobs: [],
      channels: off.channels.map((each) =>
        each.rail === rail
          ? { ...each, expected_fall: { ohm, F: output_F + F * (ohm / (ohm + most_ohm)) } }
          : each,
      ),
    },
    figures: {
      highest_V: top_V,
      stored_J: 0.5 * (F + output_F) * top_V * top_V,
      stored_where:
        "the lifted electrolytics and the supply's own output capacitor; each stays charged behind its feed resistor",
      discharge_s: falls_s * Math.log(Math.max(1, top_V / 60)),
      hazards: [
        'ELECTROLYTICS UNDER TREATMENT may vent, burst or catch fire: on something that does not burn, nothing that burns near, eyes and hands away, nobody able to reach them.',
      ],
      unattended: profile.unattended,
    },
    heaters: [],
    ...cutOffPlan(bench),
    reform,
    time_budget_s,
    prompt_timeout_s: Math.min(600, profile.prompt_timeout_s ?? 600),
    expected_s,
    stale_s: staleAfter_s(bench),
  }
}

/** The parts' meters are needed: without its meter a part is not watched. */
function metersOf(bench: Bench, reform: ReformPlan): Record<string, MeterPlan> {
  const all = guardPlans(bench)
  return Object.fromEntries(
    Object.entries(all).map(([name, meter]) => {
      const part = reform.parts.find((each) => each.meter === name || each.case === name)
      if (part === undefined || meter.watch === undefined) return [name, meter]
      const uses = [
        part.case === name ? `the case of ${part.name}` : `the volts of ${part.name}`,
        ...meter.watch.uses.filter((use) => !use.startsWith('shown')),
      ]
      const falls = { ohm: part.feed_ohm, F: part.F }
      return [
        name,
        {
          ...meter,
          watch: {
            ...meter.watch,
            uses,
            needed: part.meter === name,
            stale_s: Math.max(slowMeter_s, meter.watch.stale_s),
            falls: part.meter === name && part.across === 'part' ? falls : null,
          },
        },
      ]
    }),
  )
}

function wiresOf(reform: ReformPlan): Plan['wires'] {
  const { rail, channel } = reform
  return [
    {
      of: 'first',
      text: `nothing of the set is on the terminals of ${channel}; the parts stand on something that does not burn, with nobody able to reach them`,
    },
    ...reform.parts.map((part) => ({
      of: rail,
      text: `${part.name}${part.joined === 'alone' ? '' : ` (${part.parts.join(', ')} in ${part.joined})`}: ${formatShort(part.feed_ohm, 'Ω')} rated ${formatShort(part.feed_rated_W, 'W')} or more from ${channel} + to its POSITIVE end, its negative end to ${channel} -, and ${part.meter} across ${part.across === 'part' ? 'it' : 'that resistor'}${part.typed === undefined ? '' : ', where it is read without reaching in'}`,
    })),
    { of: rail, text: `the bench's own bleeder stays across the terminals of ${channel}` },
  ]
}

function railsOf(bench: Bench, reform: ReformPlan): Record<string, RailPlan> {
  const rails: Record<string, RailPlan> = {}
  for (const [port, supply] of Object.entries(bench.supplies)) {
    for (const [name, channel] of Object.entries(supply.channels)) {
      const own = `${port}.${name}`
      const feeds = own === reform.channel
      rails[channel.feeds] = {
        name: channel.feeds,
        role: 'HT',
        class: 'programmed',
        channels: [
          {
            channel: own,
            port,
            share: 1,
            set_digits_V: channel.set_digits_V,
            set_digits_A: channel.set_digits_A,
            min_V: channel.min_V,
            min_A: channel.min_A,
            max_V: channel.max_V,
            max_A: channel.max_A,
            resolution_V: channel.resolution_V,
            resolution_A: channel.resolution_A,
            accuracy_V: channel.accuracy_V,
            accuracy_A: channel.accuracy_A,
            over_voltage: channel.over_voltage,
            over_voltage_margin_V: channel.over_voltage_margin_V,
            off_order: channel.off_order,
            ...((supply.dialect.dead_man?.disarm ?? []).length > 0 && { dead_man: true as const }),
          },
        ],
        volts_meter: null,
        amps_meter: null,
        positive: feeds ? formingNode : `${own} +`,
        negative: feeds ? returnNode : `${own} -`,
        max_V: feeds ? reform.top_V : channel.min_V,
        bias: null,
        // Read once a second in long holds: three of those, and one more.
        stale_s: Math.max(slowStale_s, staleAfter_s(bench)),
        discharge:
          feeds && channel.bleeder_ohm !== null
            ? { ohm: channel.bleeder_ohm, F: channel.output_F, through: "the bench's own bleeder" }
            : null,
        can: feeds ? [`set, limit and switch ${own}, and measure what it does`] : [],
        cannot: feeds
          ? ['see what a part leaks: that is read at its own meter']
          : [`${idleRail(own)}: it stays off`],
      }
    }
  }
  return rails
}
