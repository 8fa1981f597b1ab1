import { type Equipment, type OwnMains, ownMainsRail, type Rail } from '../equipment/index.js'
import { type LimitProblem, show } from '../limits/index.js'
import { setDischarge_s } from './discharge.js'
import { planHead, promptTimeout_s } from './head.js'
import { proveDeadAt } from './hookup.js'
import type { Made } from './made.js'
import { offPlan } from './off.js'
import { aloneSteps } from './own-mains-alone.js'
import type { OwnAsked, OwnContext } from './own-mains-context.js'
import { joinedSteps } from './own-mains-joined.js'
import { leakUnread } from './own-mains-leak.js'
import { refusals, reservoirs, warnings } from './own-mains-refused.js'
import { OwnSteps } from './own-mains-steps.js'
import { hookupLines, wires } from './own-mains-wires.js'
import { standardRules } from './rules.js'
import { staleAfter_s } from './stale.js'
import { isHot } from './stages.js'
import type { HookupTest, Plan, RailPlan } from './types.js'
import { inputRules, meterPlans } from './watch.js'

/*
 * A run on the set's own mains transformer. No lead of a bench supply is on the set: heaters, bias and HT all stand on one knob,
 * a variable transformer that a person turns, and are one hand rail here. Meters of the bench that are on a line go on watching.
 */

const practice = 'common practice, no source'
/** Copper at the room's temperature against a handbook's, and the meter (common practice, no source). */
const primarySpread = 0.3

export function ownMainsPlan(asked: OwnAsked): Made {
  const own = asked.equipment.own_mains
  if (own === undefined) return { plan: null, problems: [nothingSaid(asked.equipment)] }
  const of: OwnContext = { ...asked, own }
  const refused = refusals(of)
  if (refused.length > 0) return { plan: null, problems: refused }
  const { profile, equipment, bench, desk, stage, options } = of
  const test = primaryTest(own)
  const to = new OwnSteps(of, test)
  if (stage.with === 'the set') {
    controls(to)
    joinedSteps(to)
  } else aloneSteps(to)
  const problems = [...warnings(of), ...to.problems]
  if (problems.some(({ severity }) => severity === 'error')) return { plan: null, problems }
  const rails = { [ownMainsRail]: railPlan(own, equipment) }
  const meters = meterPlans(equipment, bench, desk, rails, [test])
  const expected_s = Math.round(to.steps.reduce((sum, step) => sum + step.expected_s, 0))
  const time_budget_s = profile.time_budget_s ?? Math.max(3600, 4 * expected_s)
  const hookup = hookupLines(own)
  const hot = Object.entries(equipment.rails).filter(([name]) => isHot(equipment, name))
  const top = to.points.at(-1)?.HT ?? null
  const plan: Plan = {
    ...planHead(profile, equipment, bench),
    rails,
    meters,
    hookup,
    prove_dead: provedDead(equipment, own, hot),
    wires: wires(of),
    unproved: unproved(to),
    steps: to.steps,
    ...(to.left_out.length > 0 && { left_out: to.left_out }),
    rules: [...standardRules(bench, profile, time_budget_s), ...inputRules(meters)],
    off: {
      ...offPlan(bench, equipment, desk),
      knobs: [
        { rail: ownMainsRail, role: 'HT', class: 'hand', volts_meter: null, amps_meter: null, no_A: 0 },
      ],
    },
    figures: {
      highest_V: Math.max(own.volts, Math.SQRT2 * Math.max(...Object.values(own.windings)), top?.high_V ?? 0),
      stored_J: top === null ? 0 : storedAt(of, top.high_V),
      stored_where: "the set's own capacitors; the mains behind the plug are without end",
      discharge_s: setDischarge_s(equipment, desk),
      hazards: equipment.hazards,
      unattended: false,
    },
    heaters: [],
    time_budget_s,
    prompt_timeout_s: promptTimeout_s(profile),
    expected_s,
    stale_s: staleAfter_s(bench),
  }
  return { plan: options.unattended === true ? null : plan, problems }
}

const nothingSaid = (equipment: Equipment): LimitProblem => ({
  severity: 'error',
  what: `The file of ${equipment.name} says nothing of its own transformer.`,
  remedy: 'Write own_mains: { volts: …, transformer: …, windings: … } into it.',
})

/** Its rails, and a reservoir that a fuse parts from them. */
function provedDead(
  equipment: Equipment,
  { HT }: OwnMains,
  hot: readonly [string, Rail][],
): Plan['prove_dead'] {
  const points = proveDeadAt(
    equipment,
    hot.map(([rail, { positive, negative, feeds }]) => ({
      ...{ rail, supply: '', first: [], proved_by: '' },
      positive: `${feeds.positive_at} (${positive})`,
      negative: `${feeds.negative_at} (${negative})`,
    })),
  )
  const node = HT.leaves_charged
  return node === undefined || points.some((point) => point.node === node)
    ? points
    : [...points, { rail: HT.rail, node, at: node }]
}

function storedAt({ equipment, desk, mode, own }: OwnContext, V: number): number {
  const { rail } = own.HT
  const cold = desk.operating?.cold(mode, { [rail]: V }).charging_F[rail]
  const F = cold ?? reservoirs(equipment, own).reduce((sum, each) => sum + each.F, 0)
  return 0.5 * F * V * V
}

function primaryTest({ primary_ohm }: OwnMains): HookupTest {
  return {
    rail: ownMainsRail,
    channel: '',
    method: 'ohmmeter',
    test_V: 0,
    limit_A: 0,
    ohm_low: (1 - primarySpread) * primary_ohm,
    ohm_high: (1 + primarySpread) * primary_ohm,
    usual_ohm: primary_ohm,
    may_limit: false,
    polarity: null,
    asked: `The set's mains plug in your hand and in nothing else, its switch on: read from pin to pin, and type it in ohms; OL where it reads open.`,
    because: `the primary, its switch and its fuse: open is a blown fuse or a burnt winding, less a shorted one (30 % either way: ${practice})`,
  }
}

function railPlan(own: OwnMains, { rails }: Equipment): RailPlan {
  return {
    name: ownMainsRail,
    role: 'HT',
    class: 'hand',
    channels: [],
    volts_meter: null,
    amps_meter: 'the ammeter in its mains lead',
    // Where its charge stays.
    positive: rails[own.HT.rail]?.positive ?? '',
    negative: rails[own.HT.rail]?.negative ?? '',
    max_V: own.volts,
    // Its windings step up: at a tenth of the mains HT and lifted ends may stand far above what may be touched.
    touch_V: 0,
    ...(own.HT.leaves_charged !== undefined && { charged_at: own.HT.leaves_charged }),
    bias: null,
    discharge: null,
    can: ['ask you to turn the variable transformer and judge what you type'],
    cannot: [
      'see it between two typed readings',
      'switch it off: only you can, by its knob, its switch or its plug',
      'part heaters, bias and HT: they rise and fall together',
    ],
  }
}

function controls(to: OwnSteps): void {
  const { equipment, mode } = to.of
  const settings = Object.entries(equipment.modes[mode]?.controls ?? {}).map(
    ([control, at]) => `${control} to ${at}`,
  )
  if (settings.length === 0) return
  to.ask(`controls for ${mode}`, {
    text: `Set the controls for ${mode}: ${settings.join('; ')}. Nothing is on. Then confirm.`,
    wants: { kind: 'confirm' },
    inside: true,
    about: 'mode',
  })
}

function unproved(to: OwnSteps): string[] {
  const { equipment, stage, mode, own } = to.of
  const top = to.points.at(-1)?.HT
  return [
    `${ownMainsRail} is hand: slowglow cannot switch it off, nor see it between two typed readings.`,
    ...(own.no_load_A === undefined
      ? [
          'Its magnetising current is not in the file: what it takes with nothing on it is held against its fuse alone (common practice, no source).',
        ]
      : []),
    ...(stage.with === 'the set'
      ? [
          ...(own.earthed ? [] : [leakUnread]),
          `Modes other than ${mode} on its own pack, and the key: a run like this for each, then slowglow proof.`,
          ...(own.HT.taps[mode] !== undefined ||
          top === undefined ||
          top === null ||
          top.V > 0.93 * (equipment.rails[own.HT.rail]?.working_V ?? 0)
            ? []
            : [
                `HT comes to ${show(top.V, 'V')} in ${mode}, below its working ${show(equipment.rails[own.HT.rail]?.working_V ?? 0, 'V')}.`,
              ]),
        ]
      : ['Its volts under load, and its heat after hours of it.']),
  ]
}
