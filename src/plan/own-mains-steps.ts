import { type Equipment, type ModeName, type OwnMains, ownMainsRail } from '../equipment/index.js'
import { type LimitProblem, type LimitsDesk, show } from '../limits/index.js'
import type { Profile, Stage } from '../profile/index.js'
import { setDischarge_s } from './discharge.js'
import { lowFilament_s } from './filaments.js'
import { chargedNodes, leftWords } from './own-mains-charge.js'
import { idle_A, idleGuess, noLoad_A, ownPoint, type OwnPoint, starved } from './own-mains-expect.js'
import { railsOf, warmUpOf } from './stages.js'
import type { Ask, HookupTest, RailLimits, Reason, Step, TimeLimit } from './types.js'

/*
 * The set's own transformer and rectifier, step by step. The person turns a variable transformer and types what its meters show;
 * each reading has its window, computed for the volts that stand there, and what lies outside it ends the run.
 */

export interface OwnContext {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly desk: LimitsDesk
  readonly mode: ModeName
  readonly own: OwnMains
  readonly stage: Extract<Stage, { do: 'own mains' }>
}

const practice = 'common practice, no source'
/** Twenty per cent at a time (published, second-hand); a valve rectifier starts with its filament, semiconductors at once. */
const parts = {
  alone: [0.25, 0.5, 0.75, 1],
  unrectified: [0.25, 0.5, 0.8, 1],
  valve: [0.2, 0.4, 0.6, 0.8, 0.9, 1],
} as const
const semiconductors = [0.1, ...parts.valve] as const
const partsSource = 'steps of 20 % (one published comment, second-hand)'
/** A winding is read at these volts or less. */
const winding_V = 50
const holds_s = { alone: 60, low: 15, high: 60, full: 300, hot: 900 } as const
/** How far a magnetising current may be off before it is a shorted turn, which takes many times as much (our choice). */
const idleTrip = 2.5
const within = 0.1

/** Steps while they are written, and what stands there. */
export class OwnSteps {
  readonly steps: Step[] = []
  readonly problems: LimitProblem[] = []
  readonly points: OwnPoint[] = []
  /** Parts left out, since a gas tube may be lit or dark there. */
  readonly left_out: { readonly rail: string; readonly V: number; readonly text: string }[] = []
  private part = 0
  private limits: RailLimits | null = null

  constructor(
    readonly of: OwnContext,
    readonly test: HookupTest,
  ) {
    this.push('hook-up check', {
      ...{ do: 'hook-up check', rail: ownMainsRail, hookup: test, limits: {}, expected_s: 60 },
    })
  }

  push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'expected_s'>): void {
    const low = this.part > 0 && this.part < starved && this.of.stage.with === 'the set'
    this.steps.push({
      index: this.steps.length + 1,
      stage,
      mode: this.of.mode,
      rail: null,
      target_V: 0,
      slew_V_per_s: 0,
      hold_s: 0,
      settle_within_s: 0,
      limits: this.limits === null ? {} : { [ownMainsRail]: this.limits },
      hookup: null,
      ask: null,
      nodes: {},
      soft_start_s: 0,
      needs_heaters: false,
      needs_bias: false,
      needs_plate: null,
      hands_clear: false,
      ...(low && { filaments_low: true, time_limits: [this.lowTime()] }),
      ...step,
    })
  }

  /** Cathodes that are starved wear while current is drawn from them: each such stand has its two minutes, readings and all. */
  private lowTime(): TimeLimit {
    const V = this.part * this.of.own.volts
    return {
      name: `heaters low at ${show(V, 'V')}`,
      rail: ownMainsRail,
      above_V: 0.9 * V,
      s: lowFilament_s,
      text: `Heaters stand at ${show(this.part, 'ratio')} of their volts: no longer than ${show(lowFilament_s, 's')} below ${show(starved, 'ratio')}`,
      source: practice,
    }
  }

  raise(stage: string, part: number, hold_s: number, amps: Amps): void {
    this.part = part
    const V = part * this.of.own.volts
    this.limits = mainsLimits(V, amps, hold_s)
    this.push(stage, {
      ...{ do: 'raise', rail: ownMainsRail, target_V: V, slew_V_per_s: 10, hold_s },
      // Whatever the volts of the mains: HT and the ends of windings are far above them, and a question came before.
      hands_clear: true,
      expected_s: hold_s + 40,
    })
  }

  ask(
    stage: string,
    ask: Pick<Ask, 'text' | 'wants' | 'inside' | 'about'> & { readonly timeout_s?: number },
  ): void {
    const timeout_s = Math.min(600, ask.timeout_s ?? this.of.profile.prompt_timeout_s ?? 600)
    // What was typed of the mains is not judged again by every question after it.
    this.push(stage, { do: 'ask', ask: { ...ask, timeout_s }, limits: {}, expected_s: 30 })
  }

  confirm(stage: string, text: string, inside: boolean, about = 'own mains'): void {
    this.ask(stage, { text, wants: { kind: 'confirm' }, inside, about })
  }

  hold(stage: string, s: number): void {
    this.push(stage, { do: 'hold', hold_s: s, expected_s: s })
  }

  /** Down to nothing and switched off. */
  down(stage: string): void {
    this.push(stage, { do: 'lower', rail: ownMainsRail, target_V: 0, expected_s: 20 })
    this.part = 0
    this.limits = null
  }

  reading(
    stage: string,
    text: string,
    about: string,
    window: Extract<Ask['wants'], { kind: 'reading' }>,
  ): void {
    this.ask(stage, { text, wants: window, inside: false, about })
  }
}

interface Amps {
  readonly expected_A: number
  /** Heaters on their way up take several times what they do when hot: there nothing is marginal that passes. */
  readonly upper_A: number
  readonly trip_A: number
  readonly fuse_A: number
  readonly text: string
  readonly source: string
}

function mainsLimits(
  V: number,
  { expected_A, upper_A, trip_A, fuse_A, text, source }: Amps,
  hold_s: number,
): RailLimits {
  const most_A = Math.min(trip_A, fuse_A)
  const told = (limit: Reason['limit'], value: number, words: string): Reason => ({
    ...{ limit, value, unit: 'A', text: `${limit} ${show(value, 'A')}: ${words}`, source },
  })
  return {
    at_V: V,
    expected_A,
    lower_A: 0,
    upper_A: Math.min(most_A, upper_A),
    // Nobody knows an iron so well that too little would be a fault.
    ask_A: 0,
    trip_A: most_A,
    ceiling_A: fuse_A,
    charge_A: 0,
    supply_limit_A: fuse_A,
    over_voltage_V: 1.1 * V,
    because: [
      told('expected', expected_A, text),
      told('trip', most_A, trip_A < fuse_A ? 'more is a fault behind the plug' : 'the fuse'),
      told('ceiling', fuse_A, "the set's own mains fuse"),
      {
        ...{ limit: 'hold', value: hold_s, unit: 's', source: `${partsSource}; holds: ${practice}` },
        text: `hold ${show(hold_s, 's')}: long enough to hear, smell and read`,
      },
    ],
    sees: null,
  }
}

/** Nobody reaches in before. */
const unplugged = 'The variable transformer at zero, switched off, its own plug pulled'
const senses =
  'Without touching: hum no louder than before, no smell of wax, tar or varnish, no smoke, no crackle? From where you stand, one hand in your pocket.'

/** The transformer by itself: every tube out, nothing on its windings. */
export function aloneSteps(to: OwnSteps): void {
  const { equipment, own, stage } = to.of
  const full_A = idle_A(to.of)
  const known = own.no_load_A
  const most_A = known === undefined ? idleGuess.most * own.fuse_A : idleTrip * full_A
  const turns = 'A shorted turn takes many times that at a quarter of the volts already'
  const amps = (part: number): Amps => ({
    expected_A: noLoad_A(full_A, part),
    // Of what was guessed nothing is told but what passes.
    upper_A: known === undefined ? Infinity : 1.5 * noLoad_A(full_A, part),
    trip_A: most_A * Math.max(noLoad_A(1, part), 0.15),
    fuse_A: own.fuse_A,
    text:
      known === undefined
        ? `not stated, so some ${show(full_A, 'A')} at full volts, a tenth of its fuse; up to ${show(most_A, 'A')} passes. ${turns}`
        : `${show(known.value, 'A')} at full volts with nothing on it, less below. ${turns}`,
    source: known === undefined ? practice : known.source,
  })
  const name = stage.name
  for (const [winding, V] of Object.entries(own.windings)) {
    const part = Math.min(0.25, winding_V / V)
    to.confirm(
      `${name}: ${winding}`,
      `${unplugged}; measure before touching. Clip a voltmeter on AC, rated for ${show(V, 'V')}, across ${winding}${noteOf(equipment, winding)}, both ends lifted and clear of all else. Take your hands out, plug in, switch on, then confirm.`,
      true,
    )
    to.raise(`${name}: ${winding}`, part, 5, amps(part))
    to.reading(
      `${name}: ${winding}`,
      `Read the AC volts of ${winding} on the meter that is clipped on: ${show(part * V, 'V')} is expected at ${show(part * own.volts, 'V')} of mains. Less is shorted turns or a wrong tap, more a wrong tap. No hand goes in.`,
      'own mains winding',
      {
        ...{ kind: 'reading', node: null, rail: windingRail(winding), unit: 'V' },
        low: (1 - within) * part * V,
        high: (1 + within) * part * V,
      },
    )
    to.down(`${name}: ${winding}`)
  }
  to.confirm(
    `${name}: meters off`,
    `${unplugged}. Take the voltmeter off; every end of every winding lies clear and insulated. Take your hands out, plug in, switch on, then confirm.`,
    true,
  )
  for (const part of parts.alone) {
    to.raise(
      `${name}: ${show(part, 'ratio')} of mains`,
      part,
      part < 1 ? holds_s.alone : (stage.hold_s ?? holds_s.hot),
      amps(part),
    )
    to.confirm(`${name}: ${show(part, 'ratio')} of mains`, senses, false)
  }
  to.down(`${name}: down`)
  to.confirm(
    `${name}: heat`,
    `${unplugged}; measure before touching. Is the core no more than hand-warm all round, with nothing run out of it?`,
    true,
  )
}

/** The set on its own pack: heaters and bias first with HT kept off, then all of it, heaters and HT rising together. */
export function joinedSteps(to: OwnSteps): void {
  const { equipment, desk, own, stage } = to.of
  const { HT } = own
  const name = stage.name
  const full = ownPoint(to.of, 1, true)
  const above = aboveMost(to.of, full)
  to.problems.push(...(above ?? full.problems.filter(({ severity }) => severity === 'error')))
  const amps = (point: OwnPoint): Amps => ({
    expected_A: point.mains_A,
    upper_A: point.part < starved || own.no_load_A === undefined ? Infinity : 1.5 * point.mains_A,
    trip_A: 1.6 * point.mains_A + 0.1 * own.fuse_A,
    fuse_A: own.fuse_A,
    text:
      point.HT === null
        ? 'heaters and bias by their own limits, and what the iron takes'
        : `heaters, bias and HT (${show(point.HT.V, 'V')} at ${show(point.HT.A, 'A')}) by their own limits, and what the iron takes`,
    source: `computed; 85 % efficiency: ${practice}`,
  })
  to.confirm(
    `${name}: joined`,
    `${unplugged}: the wires that were lifted are joined again, all tubes are in their sockets and HT is kept off: ${HT.opened_by}.${leftWords(own, to.of.mode)} No lead of a bench supply is on the set. Take your hands out, plug in, switch on, then confirm.`,
    true,
    'fit set',
  )
  for (const part of parts.unrectified) {
    const where = `${name}, HT off: ${show(part, 'ratio')}`
    const warm_s = Math.max(
      holds_s.high,
      ...railsOf(equipment, 'heater').map((rail) => warmUpOf(equipment, rail).s),
    )
    to.raise(where, part, part < starved ? holds_s.low : warm_s, amps(ownPoint(to.of, part, false)))
    to.confirm(where, senses, false)
  }
  for (const rail of railsOf(equipment, 'heater')) heaterReading(to, `${name}, HT off: heaters`, rail)
  for (const rail of railsOf(equipment, 'bias')) biasReading(to, `${name}, HT off: bias`, rail)
  to.down(`${name}, HT off: down`)
  uncharged(to, `${name}: charge`, Math.ceil(setDischarge_s(equipment, desk) ?? 60))
  to.confirm(
    `${name}: HT joined`,
    `${unplugged}, the charge measured: undo what keeps HT off (${HT.opened_by}). Once more: no lead of a bench supply is on the set. Take your hands out, plug in, switch on, then confirm.`,
    true,
    'fit rectifier',
  )
  const steps = HT.rectifier === null ? semiconductors : parts.valve
  for (const part of steps) {
    const point = ownPoint(to.of, part, true)
    if (point.HT?.strikes === true && part < 1) {
      to.left_out.push({
        rail: ownMainsRail,
        V: point.mains_V,
        text: `${show(point.mains_V, 'V')} of mains (HT ${show(point.HT.V, 'V')}) is passed over: a gas regulator may be lit or dark there`,
      })
      continue
    }
    to.points.push(point)
    const where = `${name}: ${show(part, 'ratio')}`
    const hold_s = part < starved ? holds_s.low : part < 1 ? holds_s.high : (stage.hold_s ?? holds_s.full)
    to.raise(where, part, hold_s, amps(point))
    currentReading(to, where, point)
    if (part >= starved) {
      // Too little of it burns what it holds back, and HT stands now.
      for (const rail of railsOf(equipment, 'bias')) biasReading(to, where, rail, part)
      voltsReading(to, where, point)
      to.confirm(where, senses, false)
    }
  }
  for (const rail of railsOf(equipment, 'heater')) heaterReading(to, `${name}: heaters under load`, rail)
  to.down(`${name}: down`)
  uncharged(to, `${name}: charge`, Math.ceil(setDischarge_s(equipment, desk) ?? 60))
}

/** Full mains would take HT above what the rail may carry: said before whatever else follows from it; null where it does not. */
function aboveMost({ equipment, own, mode }: OwnContext, { HT }: OwnPoint): LimitProblem[] | null {
  const max = equipment.rails[own.HT.rail]?.max_V
  if (HT === null || max === undefined || HT.V <= max.value) return null
  return [
    {
      severity: 'error',
      what: `At full mains ${own.HT.rail} comes to ${show(HT.V, 'V')} at ${show(HT.A, 'A')} in ${mode}, and may carry ${show(max.value, 'V')} (${max.source}).`,
      remedy:
        'Correct the volts of the windings or the mains tap under own_mains; where they are right, what took those volts before is missing: a dropping resistor, a valve rectifier that was replaced by semiconductors.',
    },
  ]
}

function currentReading(to: OwnSteps, stage: string, { part, HT }: OwnPoint): void {
  if (HT === null) return
  const { read_at, rail } = to.of.own.HT
  const why =
    part < starved
      ? `cathodes at ${show(part, 'ratio')} of their volts give ${HT.emission < 0.01 ? 'next to nothing' : `some ${show(HT.emission, 'ratio')}`} of their current, so anything from nothing to ${show(HT.high_A, 'A')} passes`
      : `the set's circuit solved at ${show(HT.V, 'V')} with the bias that stands there, cathodes giving ${show(HT.emission, 'ratio')}`
  to.reading(
    stage,
    `Read the HT current on the ${read_at}: about ${show(HT.A, 'A')} (${why}). More is a short, a leaking reservoir or lost bias: turn down at once. A figure above ${show(HT.high_A, 'A')} ends the run as soon as it is typed. No hand goes in.`,
    'own mains current',
    { kind: 'reading', node: null, rail, unit: 'A', low: HT.low_A, high: HT.high_A },
  )
}

function voltsReading(to: OwnSteps, stage: string, { HT }: OwnPoint): void {
  const { equipment, own } = to.of
  const node = equipment.rails[own.HT.rail]?.positive
  if (HT === null || node === undefined) return
  to.reading(
    stage,
    `Read the HT volts at ${node} on the meter that is clipped on: about ${show(HT.V, 'V')}; the most that it may carry is ${show(equipment.rails[own.HT.rail]?.max_V.value ?? 0, 'V')}. No hand goes in.`,
    'own mains volts',
    {
      ...{ kind: 'reading', node, rail: null, unit: 'V', low: HT.low_V },
      high: Math.min(HT.high_V, equipment.rails[own.HT.rail]?.max_V.value ?? Infinity),
    },
  )
}

function heaterReading(to: OwnSteps, stage: string, rail: string): void {
  const V = to.of.equipment.rails[rail]?.working_V ?? 0
  to.reading(
    stage,
    `Read the AC volts of ${rail} on the meter that is clipped on: ${show(V, 'V')}, a tenth either way (${practice}). No hand goes in.`,
    'own mains heaters',
    { kind: 'reading', node: null, rail, unit: 'V', low: (1 - within) * V, high: (1 + within) * V },
  )
}

/** At less than full mains it is as much less as what it holds back. */
function biasReading(to: OwnSteps, stage: string, rail: string, part = 1): void {
  const bias = to.of.equipment.rails[rail]?.required_bias
  if (bias === undefined) return
  const [least_V, usual_V] = [part * bias.at_least_V, part * bias.nominal_V]
  const ends = [least_V, 1.25 * usual_V].sort((a, b) => a - b)
  to.reading(
    stage,
    `Read the bias at ${bias.node} against ${to.of.equipment.chassis_node} on the meter that is clipped on, with its sign: ${show(usual_V, 'V')} is usual, ${show(least_V, 'V')} the least with HT (${bias.source}${part < 1 ? `; ${show(part, 'ratio')} of it here` : ''}). No hand goes in.`,
    'own mains bias',
    { kind: 'reading', node: bias.node, rail: null, unit: 'V', low: ends[0] ?? 0, high: ends[1] ?? 0 },
  )
}

/** Watched down before anybody reaches in: asked again as often as it takes. */
function uncharged(to: OwnSteps, stage: string, s: number): void {
  to.hold(stage, s)
  for (const node of chargedNodes(to.of.equipment, to.of.own))
    to.reading(
      stage,
      `Switch the variable transformer off and pull its plug; then read the volts left at ${node} on the meter that is clipped on; above ${show(5, 'V')} wait, or discharge it through a resistor, and read again.`,
      'stored charge',
      { kind: 'reading', node, rail: null, unit: 'V', low: -5, high: 5 },
    )
}

/** What the readings of a winding go by: the volts that it shows. */
export const windingRail = (winding: string): string => `winding ${winding}`

function noteOf({ parts: all }: Equipment, winding: string): string {
  const note = all[winding]?.note
  return note === undefined ? '' : ` (${note})`
}
