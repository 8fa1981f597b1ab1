import type { Bench } from '../bench/index.js'
import {
  type Equipment,
  type ModeName,
  type OwnMains,
  ownMainsRail,
  type Rail,
  recordOf,
} from '../equipment/index.js'
import { type LimitProblem, type LimitsDesk, show } from '../limits/index.js'
import type { Profile, Stage } from '../profile/index.js'
import { setDischarge_s } from './discharge.js'
import { proveDeadAt } from './hookup.js'
import type { Made, PlanOptions } from './made.js'
import { offPlan } from './off.js'
import { peakLeft_V, rectifierPulled } from './own-mains-charge.js'
import { leakUnread } from './own-mains-leak.js'
import { aloneSteps, joinedSteps, OwnSteps } from './own-mains-steps.js'
import { standardRules } from './rules.js'
import { staleAfter_s } from './stale.js'
import { isHot } from './stages.js'
import type { HookupLine, HookupTest, Plan, RailPlan, Wire } from './types.js'
import { inputRules, meterPlans } from './watch.js'

/*
 * A run on the set's own mains transformer. No lead of a bench supply is on the set: heaters, bias and HT all stand on one knob,
 * a variable transformer that a person turns, and are one hand rail here. Meters of the bench that are on a line go on watching.
 */

interface Asked {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
  readonly desk: LimitsDesk
  readonly mode: ModeName
  readonly stage: Extract<Stage, { do: 'own mains' }>
  readonly options: PlanOptions
}

const practice = 'common practice, no source'
/** An electrolytic of more than 315 V stands this part of its rating for a surge (IEC 60384-4, from memory). */
const surge = 1.1
/** Copper at the room's temperature against a handbook's, and the meter (common practice, no source). */
const primarySpread = 0.3

export function ownMainsPlan(asked: Asked): Made {
  const { profile, equipment, bench, desk, mode, stage, options } = asked
  const own = equipment.own_mains
  const errors = own === undefined ? [] : refusals(asked, own)
  if (own === undefined || errors.length > 0)
    return { plan: null, problems: errors.length > 0 ? errors : [nothingSaid(equipment)] }
  const test = primaryTest(own)
  const to = new OwnSteps({ profile, equipment, desk, mode, own, stage }, test)
  if (stage.with === 'the set') {
    controls(to, equipment, mode)
    joinedSteps(to)
  } else aloneSteps(to)
  const problems = [...warnings(asked, own), ...to.problems]
  if (problems.some(({ severity }) => severity === 'error')) return { plan: null, problems }
  const rails = { [ownMainsRail]: railPlan(own, equipment) }
  const meters = meterPlans(equipment, bench, desk, rails, [test])
  const expected_s = Math.round(to.steps.reduce((sum, step) => sum + step.expected_s, 0))
  const time_budget_s = profile.time_budget_s ?? Math.max(3600, 4 * expected_s)
  const hookup = hookupLines(own)
  const hot = Object.entries(equipment.rails).filter(([name]) => isHot(equipment, name))
  const top = to.points.at(-1)?.HT ?? null
  const plan: Plan = {
    format: 'slowglow plan 1',
    equipment: equipment.name,
    profile: profile.name,
    bench: bench.name,
    bench_kind: bench.kind,
    kind: profile.kind,
    level: equipment.level,
    hash: '',
    rails,
    meters,
    hookup,
    prove_dead: provedDead(equipment, own, hot),
    wires: wires(asked, own),
    unproved: unproved(asked, own, to),
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
      stored_J: top === null ? 0 : storedAt(asked, top.high_V),
      stored_where: "the set's own capacitors; the mains behind the plug are without end",
      discharge_s: setDischarge_s(equipment, desk),
      hazards: equipment.hazards,
      unattended: false,
    },
    heaters: [],
    time_budget_s,
    prompt_timeout_s: Math.min(600, profile.prompt_timeout_s ?? 600),
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

/** What keeps the set's own pack from being joined at all. */
function refusals({ equipment, bench, profile, options, stage, mode }: Asked, own: OwnMains): LimitProblem[] {
  const refuse = (what: string, remedy: string): LimitProblem => ({ severity: 'error', what, remedy })
  const made: LimitProblem[] = []
  if (options.unattended === true || profile.unattended)
    made.push(
      refuse(
        "The set's own transformer is not brought up unattended: nobody but you can turn it down.",
        'Stay with it.',
      ),
    )
  const fed = Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
    Object.entries(channels).flatMap(([channel, { feeds }]) =>
      Object.hasOwn(equipment.rails, feeds) ? [`${supply}.${channel} (${feeds})`] : [],
    ),
  )
  if (fed.length > 0)
    made.push(
      refuse(
        `The bench file joins ${fed.join(', ')} to the set: beside the set's own pack that is a second source on the same reservoir.`,
        'Take every lead of them off, and name a bench file that has no supply, with the meters alone.',
      ),
    )
  const rectifier = own.HT.rectifier === null ? undefined : equipment.tubes[own.HT.rectifier]
  if (
    stage.with === 'the set' &&
    rectifier !== undefined &&
    recordOf(rectifier)?.kind === 'rectifier-mercury'
  )
    made.push(
      refuse(
        `${own.HT.rectifier ?? ''} (${rectifier.type}) is a mercury-vapour rectifier: its filament stands at full volts for its time before any volts come to its plates, and one knob raises both together.`,
        'Feed its filament from a transformer of its own, or fit what needs no filament and say so: leave rectifier out.',
      ),
    )
  if (stage.with === 'the set' && own.HT.leaves_charged === undefined && !rectifierPulled(own))
    made.push(
      refuse(
        `HT is kept off by "${own.HT.opened_by}", and nothing says what that leaves charged: a reservoir before it goes to ${show(peakLeft_V(own, mode), 'V')} at full mains while ${own.HT.rail} reads nothing.`,
        own.HT.rectifier === null
          ? 'Under own_mains, HT, write leaves_charged: the node of the reservoir; it is read before a hand goes in.'
          : `Pull the rectifier instead and write opened_by: ${own.HT.rectifier} out of its socket; or write leaves_charged: the node of the reservoir, which is read before a hand goes in.`,
      ),
    )
  if (stage.with === 'the set' && equipment.modes[mode]?.driven === true)
    made.push(refuse(`Mode ${mode} keys a driven stage.`, 'Join the pack with the key up.'))
  return made
}

/** What the set should know of itself before its own pack is joined. */
function warnings(asked: Asked, own: OwnMains): LimitProblem[] {
  const { equipment, stage, mode } = asked
  if (stage.with !== 'the set') return []
  const peak_V = peakLeft_V(own, mode)
  const least_V = Math.min(...reservoirs(equipment, own).map(({ rated_V }) => rated_V))
  if (!(peak_V > least_V)) return []
  const beyond = peak_V > surge * least_V
  return [
    {
      severity: beyond ? 'error' : 'warning',
      what: `With nothing drawn the reservoir goes to ${show(peak_V, 'V')}, and it is rated ${show(least_V, 'V')}${beyond ? `: more than the ${show(surge * least_V, 'V')} it stands for a surge` : ''}. ${own.HT.rectifier === null ? 'Semiconductors put that there at once, while the tubes are cold' : 'It does so when the rectifier warms before the tubes do'}: this set is raised by a variable transformer, never switched on at full mains with cold tubes.`,
      remedy: beyond
        ? 'Fit a reservoir of a higher rating, or correct the volts of the windings.'
        : 'Raise it as planned.',
    },
  ]
}

function reservoirs(
  { rails, parts, rail_capacitors }: Equipment,
  { HT }: OwnMains,
): { rated_V: number; F: number }[] {
  const nodes = [rails[HT.rail]?.positive, HT.leaves_charged]
  return [
    ...Object.values(parts).flatMap((part) =>
      part.kind === 'capacitor' &&
      part.dielectric === 'electrolytic' &&
      part.between.some((node) => nodes.includes(node))
        ? [part]
        : [],
    ),
    ...Object.values(rail_capacitors).filter(({ rail }) => rail === HT.rail),
  ]
}

function storedAt({ equipment, desk, mode }: Asked, V: number): number {
  const rail = equipment.own_mains?.HT.rail ?? ''
  const cold = desk.operating?.cold(mode, { [rail]: V }).charging_F[rail]
  const F =
    cold ?? reservoirs(equipment, equipment.own_mains as OwnMains).reduce((sum, each) => sum + each.F, 0)
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
    because: `the primary, its switch and its fuse: open is a blown fuse or a burnt winding, less a shorted one (a third either way: ${practice})`,
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

function hookupLines(own: OwnMains): HookupLine[] {
  return [
    {
      rail: ownMainsRail,
      supply: 'your variable transformer',
      positive: "live of the set's mains plug",
      negative: "neutral of the set's mains plug",
      first: [],
      proved_by: `an ohmmeter from pin to pin of the plug, ${show(own.primary_ohm, 'Ω')} or so`,
    },
  ]
}

/** The wattages that lamps are sold in. */
const lamps_W = [15, 25, 40, 60, 75, 100, 150, 200] as const

/** A lamp of about the set's own watts in series: what it lets through into a short, and what it is hot and cold (published, second-hand). */
export function seriesLamp(
  W: number,
  V: number,
): { readonly A: number; readonly hot_ohm: number; readonly cold_ohm: number } {
  const hot_ohm = (V * V) / W
  return { A: W / V, hot_ohm, cold_ohm: hot_ohm / 10 }
}

function lampWords(own: OwnMains): string {
  const W = lamps_W.find((each) => each >= 0.5 * own.fuse_A * own.volts) ?? 200
  const { A, hot_ohm, cold_ohm } = seriesLamp(W, own.volts)
  return `tried for a moment at a low setting with a lamp of about the set's own watts in series with the live lead, such as ${show(W, 'W')}: a faint glow is good, full light is a short, into which it lets ${show(A, 'A')} (${show(cold_ohm, 'Ω')} cold, ${show(hot_ohm, 'Ω')} hot; published, second-hand); out again before this run, whose windows know of no lamp`
}

/** Bench leads off is the interlock: each is confirmed by itself. */
function wires({ equipment, stage, mode }: Asked, own: OwnMains): Wire[] {
  const first = (text: string): Wire => ({ of: 'first', text })
  const mains = (text: string): Wire => ({ of: ownMainsRail, text })
  const tubes = Object.keys(equipment.tubes)
  const joined = stage.with === 'the set'
  return [
    first("the set's mains plug is out, and stays so until the variable transformer is wired as below"),
    first("the chassis is joined to the bench's protective earth"),
    first('a switch that cuts the mains of the variable transformer is within reach of the free hand'),
    ...Object.entries(equipment.rails).map(([rail, { feeds }]) =>
      mains(
        `both leads of the bench for ${rail} are off the set (off ${feeds.positive_at}, off ${feeds.negative_at}), lie clear and can touch nothing`,
      ),
    ),
    ...(joined
      ? Object.entries(equipment.rails).flatMap(([rail, { feeds }]) =>
          feeds.lift.map((wire) => mains(`joined again for ${rail}: ${wire}`)),
        )
      : [
          mains(`every tube is out of its socket: ${tubes.join(', ')}; dial lamps too`),
          mains(`both ends of each winding of ${own.transformer} are lifted, and lie clear and insulated`),
        ]),
    ...(joined ? [mains(`HT is kept off: ${own.HT.opened_by}`)] : []),
    mains(
      `the variable transformer does not isolate: it is fed through a residual-current device and stands at zero, switched off`,
    ),
    mains(`a fuse of ${show(own.fuse_A, 'A')}, slow, for ${show(own.volts, 'V')} AC, in its live lead`),
    mains(lampWords(own)),
    mains('an AC ammeter in its live lead and an AC voltmeter across its output; both stay where they are'),
    ...(joined ? clipped(equipment, own, mode).map(mains) : []),
    mains("the set's mains plug is in the variable transformer, which is at zero and switched off"),
  ]
}

/** Meters that are read while it stands at volts: on before, and nobody moves them. */
function clipped({ rails, chassis_node }: Equipment, own: OwnMains, mode: ModeName): string[] {
  const { HT } = own
  const on = (what: string, a: string, b: string): string =>
    `${what} clipped from ${a} to ${b} before anything is on; it stays`
  return [
    ...Object.entries(rails).flatMap(([name, rail]) =>
      rail.role === 'heater'
        ? [on(`a voltmeter on AC for ${name}`, rail.positive, rail.negative)]
        : rail.required_bias === undefined
          ? []
          : [on('a voltmeter on DC', rail.required_bias.node, chassis_node)],
    ),
    on(
      `a voltmeter on DC rated for twice ${show(rails[HT.rail]?.max_V.value ?? 0, 'V')}`,
      rails[HT.rail]?.positive ?? '',
      rails[HT.rail]?.negative ?? '',
    ),
    ...(HT.leaves_charged === undefined || HT.leaves_charged === rails[HT.rail]?.positive
      ? []
      : [
          on(
            `a voltmeter on DC rated for twice ${show(peakLeft_V(own, mode), 'V')}`,
            HT.leaves_charged,
            rails[HT.rail]?.negative ?? '',
          ),
        ]),
    `the HT current is read on the ${HT.read_at}, in place before anything is on`,
  ]
}

function controls(to: OwnSteps, equipment: Equipment, mode: ModeName): void {
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

function unproved({ equipment, stage, mode }: Asked, own: OwnMains, to: OwnSteps): string[] {
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
