import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import {
  cutOffPlan,
  inputRules,
  offPlanOf,
  planHead,
  type Plan,
  promptTimeout_s,
  type ReformPlan,
  staleAfter_s,
  standardRules,
} from '../plan/index.js'
import type { Profile } from '../profile/index.js'
import { chargeThrough_s } from './feed.js'
import { metersOf, railsOf, wiresOf } from './hookup.js'
import { feederOf, formingNode, nodeOf, returnNode } from './setup.js'
import type { ReformSteps } from './steps.js'

/* The plan of a reform as a whole, around its steps. */

export interface Whole {
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

export function planWith({
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
  return {
    ...planHead(profile, equipment, bench),
    kind: 'reform',
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
      ...(steps.all.some(({ hookup }) => hookup?.coarse !== undefined)
        ? [
            'The bleeder: the ammeter is too coarse to see it at the volts of the hook-up check. Read it with an ohmmeter across the lead ends before, and again if the volts fall slower after OFF than said.',
          ]
        : []),
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
      discharge_s: Math.max(
        0,
        ...reform.parts.map((part) => chargeThrough_s(part.feed_ohm + ohm, part.F, Math.min(1, 60 / top_V))),
      ),
      hazards: [
        'ELECTROLYTICS UNDER TREATMENT may vent, burst or catch fire: on something that does not burn, nothing that burns near, eyes and hands away, nobody able to reach them.',
      ],
      unattended: profile.unattended,
    },
    heaters: [],
    ...cutOffPlan(bench),
    reform,
    time_budget_s,
    prompt_timeout_s: promptTimeout_s(profile),
    expected_s,
    stale_s: staleAfter_s(bench),
  }
}
