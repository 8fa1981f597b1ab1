import { type Bench, channelOf, type Channel } from '../bench/index.js'
import { formatShort } from '../quantities/index.js'
import {
  channelPlan,
  cutOffPlan,
  guardPlans,
  inputRules,
  offPlanOf,
  type Plan,
  promptTimeout_s,
  type RailPlan,
  standardRules,
  staleAfter_s,
  staleWhileOn_s,
} from '../plan/index.js'
import { type Beside, besideOf } from './beside.js'
import { levelsOf, limitOf, ohmOf, pathOf, setDown } from './limits.js'
import { benchUnderTest, idleRail, isGuard, loadNode, loadRail, nameOf, portOf } from './setup.js'
import { Steps } from './steps.js'
import type { Order } from './types.js'

/* The plan of a qualification: a profile kind of the same sequencer, its limits computed from the load. */

export interface Problem {
  readonly severity: 'error' | 'warning'
  readonly what: string
  readonly remedy: string
}
export interface MadeQualify {
  readonly plan: Plan | null
  /** The bench as far as it takes part. */
  readonly bench: Bench | null
  readonly problems: readonly Problem[]
}

export function qualifyPlan(whole: Bench, order: Order): MadeQualify {
  const bench = benchUnderTest(whole, order)
  const found = bench === null ? null : channelOf(bench, order.channel)
  if (bench === null || found === null)
    return refused(`The bench has no channel ${order.channel}.`, 'Name one as SUPPLY.CHANNEL.')
  const { channel } = found
  const meters = guardPlans(bench)
  const problems = [...judged(whole, order, channel), ...unwatched(whole, bench, order)]
  if (problems.some(({ severity }) => severity === 'error')) return { plan: null, bench, problems }
  const { dialect } = found.supply
  const { beside, unseen } = order.skip.includes('dead-man')
    ? { beside: [], unseen: [] }
    : besideOf(found.supply, order)
  const steps = new Steps(order, channel, beside)
  steps.build(dialect)
  const expected_s = Math.round(steps.all.reduce((sum, step) => sum + step.expected_s, 0))
  const time_budget_s = Math.max(900, 3 * expected_s)
  const profile = { time_budget_s: null, prompt_timeout_s: null, rules: {} }
  const off = offPlanOf(bench)
  const path = pathOf(order, channel)
  const plan: Plan = {
    format: 'slowglow plan 1',
    equipment: nameOf(order),
    profile: `qualify ${order.channel}`,
    bench: bench.name,
    bench_kind: bench.kind,
    kind: 'qualify',
    level: 3,
    hash: '',
    rails: railsOf(bench, order, beside),
    meters,
    hookup: [
      {
        rail: loadRail,
        supply: order.channel,
        positive: `one end of the load (${loadNode})`,
        negative: 'its other end',
        first: [],
        proved_by: 'volts over amps at low volts',
      },
    ],
    prove_dead: [{ rail: loadRail, node: loadNode, at: `the terminals of ${order.channel}` }],
    wires: wiresOf(order, channel.bleeder_ohm),
    unproved: [...steps.unproved, ...unseen],
    steps: steps.all,
    rules: [...standardRules(bench, profile, time_budget_s), ...inputRules(meters)],
    off: {
      ...off,
      knobs: [],
      channels: off.channels.map((each) =>
        each.rail === loadRail ? { ...each, expected_fall: { ohm: path.ohm, F: path.F } } : each,
      ),
    },
    figures: {
      highest_V: order.top_V,
      stored_J: 0.5 * path.F * order.top_V * order.top_V,
      stored_where: "the supply's own output capacitor",
      discharge_s: 5 * path.ohm * path.F,
      hazards: [
        `DUMMY LOAD: ${formatShort((order.top_V * order.top_V) / order.load.ohm, 'W')} of heat at the top: it burns what it lies on, and fingers. Nothing but the load is on these terminals: no set.`,
        ...(beside.length === 0
          ? []
          : [
              `MORE OUTPUTS GO ON: ${beside.map(({ channel: one, V }) => `${one} at ${formatShort(V, 'V')}`).join(', ')}, to see which of them the dead-man takes. Nothing at all is on their terminals.`,
            ]),
      ],
      unattended: false,
    },
    heaters: [],
    ...cutOffPlan(bench),
    time_budget_s,
    prompt_timeout_s: promptTimeout_s(profile),
    expected_s,
    stale_s: staleAfter_s(bench),
  }
  return { plan, bench, problems }
}

function refused(what: string, remedy: string): MadeQualify {
  return { plan: null, bench: null, problems: [{ severity: 'error', what, remedy }] }
}

/** What stands against it before anything is asked of the supply. */
function judged(whole: Bench, order: Order, channel: Channel): Problem[] {
  const { load, top_V } = order
  const problems: Problem[] = []
  const wrong = (what: string, remedy: string): void => {
    problems.push({ severity: 'error', what, remedy })
  }
  const margin_V = channel.over_voltage ? channel.over_voltage_margin_V : 0
  const most_V = Math.min(channel.max_V - margin_V, whole.leads_max_V, 600)
  if (top_V > most_V)
    wrong(
      `${formatShort(top_V, 'V')} is more than ${order.channel} can be tested to: ${formatShort(most_V, 'V')} (its range less the room its over-voltage level needs, and what bench leads carry).`,
      `Give --to ${formatShort(Math.floor(most_V), 'V')} or less.`,
    )
  const expected_A = top_V / ohmOf(order, channel)
  const limit_A = limitOf(order, channel, top_V)
  if (limit_A > channel.max_A)
    wrong(
      `At ${formatShort(top_V, 'V')} the load draws ${formatShort(expected_A, 'A')}; with room to measure that needs ${formatShort(limit_A, 'A')}, and ${order.channel} gives ${formatShort(channel.max_A, 'A')}.`,
      'Take a load of more ohms, or fewer volts.',
    )
  const worst_W = limit_A * limit_A * load.ohm * (1 + load.tolerance)
  if (worst_W > load.rated_W) {
    const fit_V = Math.floor(top_V * Math.sqrt(load.rated_W / worst_W))
    wrong(
      `A load of ${formatShort(load.ohm, 'Ω')} takes ${formatShort((top_V * top_V) / load.ohm, 'W')} at ${formatShort(top_V, 'V')}, and up to ${formatShort(worst_W, 'W')} before the supply's own limit holds it; it is rated ${formatShort(load.rated_W, 'W')}.`,
      `Take one rated ${formatShort(Math.ceil(worst_W), 'W')} or more, or give --to ${formatShort(Math.max(1, fit_V), 'V')} or less.`,
    )
  }
  const least_A = setDown(levelsOf(order, channel)[0] ?? 0, channel.set_digits_V) / load.ohm
  if (least_A < 10 * channel.resolution_A || least_A < 2 * channel.min_A)
    wrong(
      `At ${formatShort(levelsOf(order, channel)[0] ?? 0, 'V')} the load draws ${formatShort(least_A, 'A')}, too little to be measured by ${order.channel} (steps of ${formatShort(channel.resolution_A, 'A')}, lowest limit ${formatShort(channel.min_A, 'A')}).`,
      'Take a load of fewer ohms, or more volts.',
    )
  if (top_V < 3 || top_V < 20 * channel.resolution_V)
    wrong(`${formatShort(top_V, 'V')} is too little to measure anything by.`, 'Give more volts.')
  const stacked = whole.stacks.some(({ channels }) => channels.includes(order.channel))
  if (stacked)
    problems.push({
      severity: 'warning',
      what: `${order.channel} is stacked with others on this bench.`,
      remedy: 'Take it out of the stack for this: the load goes across its own terminals alone.',
    })
  if (order.meter === null)
    problems.push({
      severity: 'warning',
      what: 'No meter of yours is read: volts stay compared with the set-point alone, and current with volts over ohms as the supply itself shows them.',
      remedy: 'Give --meter with its error, such as "0.5 % + 20 mV".',
    })
  return problems
}

/** What trips in a run and cannot here: a contact guards people, so nothing goes on without it. */
function unwatched(whole: Bench, bench: Bench, order: Order): Problem[] {
  return Object.entries(whole.meters).flatMap(([name, meter]): Problem[] => {
    if (name in bench.meters || !meter.limits.some(({ act }) => act === 'trip')) return []
    const port = portOf(whole, order.channel)
    if (meter.measures === 'contact')
      return [
        {
          severity: 'error',
          what: `${name} trips in a run and is read on the line of ${meter.on ?? 'nothing'}, which takes no part here: nothing would switch off by it.`,
          remedy: `Lead it to the line of ${port} or to one of its own; leave it out of the bench file where it guards nothing that stands here.`,
        },
      ]
    const why = isGuard(meter)
      ? `it is read on the line of ${meter.on ?? 'nothing'}, which takes no part`
      : 'it is clipped to the set, which is not on the bench'
    return [
      {
        severity: 'warning',
        what: `${name} trips in a run and is not watched here: ${why}.`,
        remedy: 'Stay at the stop key, and keep everybody away from the load.',
      },
    ]
  })
}

function wiresOf(order: Order, bleeder_ohm: number | null): Plan['wires'] {
  const { load, channel, meter } = order
  const wires = [
    {
      of: 'first',
      text: `nothing of any set is on the terminals of ${channel}, nor on other channels of the same supply; the leads to the set are off at both ends`,
    },
    {
      of: loadRail,
      text: `a resistor of ${formatShort(load.ohm, 'Ω')} rated ${formatShort(load.rated_W, 'W')} across the terminals of ${channel}, standing free on something that does not burn, with nobody able to reach it`,
    },
    // It is reckoned with in every limit: without it the load draws too little, and is called open.
    ...(bleeder_ohm === null
      ? []
      : [
          {
            of: loadRail,
            text: `the bench's own bleeder of ${formatShort(bleeder_ohm, 'Ω')} stays across the terminals (${formatShort((2 * order.top_V * order.top_V) / bleeder_ohm, 'W')} or more)`,
          },
        ]),
  ]
  return meter === null
    ? wires
    : [
        ...wires,
        { of: 'meters', text: 'your voltmeter clipped across the load, to be read without touching it' },
      ]
}

function railsOf(bench: Bench, order: Order, beside: readonly Beside[]): Record<string, RailPlan> {
  const rails: Record<string, RailPlan> = {}
  for (const [port, supply] of Object.entries(bench.supplies)) {
    for (const [name, channel] of Object.entries(supply.channels)) {
      const own = `${port}.${name}`
      const loaded = own === order.channel
      const watched = beside.find((each) => each.channel === own)
      rails[channel.feeds] = {
        name: channel.feeds,
        role: 'HT',
        class: 'programmed',
        channels: [channelPlan(own, port, supply, channel)],
        on_stale_s: staleWhileOn_s(bench, [own]),
        volts_meter: null,
        amps_meter: null,
        positive: loaded ? loadNode : `${own} +`,
        negative: 'load -',
        max_V: loaded ? order.top_V : (watched?.V ?? channel.min_V),
        bias: null,
        discharge: loaded ? { ...pathOf(order, channel), through: 'the dummy load' } : null,
        can: loaded
          ? [`set, limit and switch ${own}, and measure what it does`]
          : watched === undefined
            ? []
            : [`see whether the dead-man takes ${own}, with nothing connected`],
        cannot: loaded || watched !== undefined ? [] : [`${idleRail(own)}: it stays off`],
      }
    }
  }
  return rails
}
