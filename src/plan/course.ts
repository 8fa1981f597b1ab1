import type { Bench } from '../bench/index.js'
import {
  type Equipment,
  type ModeName,
  modulatorsOf,
  type ModulatorRail,
  plateRailOf,
  type RailName,
} from '../equipment/index.js'
import {
  type GasStates,
  heaterWarming,
  letThrough,
  type HiddenShort,
  type LimitProblem,
  type LimitsDesk,
  type PointLimits,
  show,
} from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import { driveWatches, panelQuestions } from './drive.js'
import { keepsFilamentsLow } from './filaments.js'
import { promptTimeout_s, stepOf, touch_V } from './head.js'
import { heldInPlace, inPlaceOf, inPlaceReasons } from './in-place.js'
import { keyDownLimits } from './key-down.js'
import { loweredTooSoon, modulatedAt, plateNeeded, raisedTooSoon } from './modulators.js'
import { seenWithin_s } from './rules.js'
import { type FilledStage, isHot, railsOf } from './stages.js'
import { measuredOff_s } from './supplies.js'
import type { Ask, HookupTest, Plan, RailPlan, Reason, Step } from './types.js'

const ours = "slowglow's own choice, no published source"

export interface Built {
  readonly steps: readonly Step[]
  readonly problems: readonly LimitProblem[]
  readonly stored_J: number
  /** Parts no rail current can hold inside their ratings, at the last HT step. */
  readonly unguarded: readonly string[]
  /** Electrolytics whose leakage may heat them too much unseen, each at the highest volts at which it is. */
  readonly cans: PointLimits['cans']
  /** Shorted capacitors that would burn a part inside every trip: each at its worst step. */
  readonly hidden: readonly HiddenShort[]
  readonly let_through: NonNullable<Plan['let_through']>
  readonly left_out: NonNullable<Plan['left_out']>
  readonly gas: NonNullable<Plan['gas']>
  readonly tests: Readonly<Record<RailName, readonly HookupTest[]>>
  readonly cut: readonly {
    readonly rail: RailName
    readonly wanted_V: number
    readonly reached_V: number
    readonly why: string
  }[]
}

export interface Reach {
  readonly V: number
  readonly why: string
}

export interface StepContext {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly profile: Profile
  readonly desk: LimitsDesk
  readonly rails: Readonly<Record<RailName, RailPlan>>
  readonly mode: ModeName
  readonly reach: (rail: RailName) => Reach
  /** Nobody stays. */
  readonly unattended: boolean
}

/**
 * Where the rails stand while a plan is written step by step, and the moves there are: raise, lower, ask, climb again. Each
 * move adds its step with the limits of every rail that stands in it.
 */
export class Course {
  readonly steps: Step[] = []
  readonly problems: LimitProblem[] = []
  readonly cut: Built['cut'][number][] = []
  readonly left_out: Built['left_out'][number][] = []
  private readonly gas_notes: Built['gas'][number][] = []
  private readonly let_through: Built['let_through'][number][] = []
  readonly tests: Record<RailName, readonly HookupTest[]> = {}
  readonly ceilings_A: Record<RailName, number> = {}
  /** Targets each rail has been held at, so that it can come back by the same steps. */
  private readonly climbed: Record<RailName, readonly Climb[]> = {}
  /** Climbs as they stood before rails were lowered for a question. */
  private lastClimb: Record<RailName, readonly Climb[]> = {}
  volts: Readonly<Record<RailName, number>> = {}
  /** Gas tubes as they were where the rails stood before they came here: one that was lit stays lit further down. */
  private gas: GasStates = {}
  mode: ModeName
  private handsIn = true
  private stored_J = 0
  private unguarded: readonly string[] = []
  private cans: PointLimits['cans'] = []
  private readonly hidden = new Map<string, HiddenShort>()
  readonly used: ReadonlySet<RailName>

  constructor(
    readonly of: StepContext,
    stages: readonly FilledStage[],
  ) {
    this.mode = of.mode
    this.used = new Set(
      stages.flatMap((stage) => (stage.do === 'ramp' || stage.do === 'tune' ? [stage.rail] : [])),
    )
  }

  built(): Built {
    const { steps, problems, stored_J, unguarded, cans, tests, cut, let_through, left_out } = this
    const hidden = [...this.hidden.values()]
    const gas = this.gas_notes
    return { steps, problems, stored_J, unguarded, cans, hidden, let_through, left_out, gas, tests, cut }
  }

  /** Volts a rail stands at. */
  at(rail: RailName): number {
    return this.volts[rail] ?? 0
  }

  /** To be gone back to: what follows may be passed over in the run. */
  mark(): Mark {
    return { volts: this.volts, gas: this.gas, handsIn: this.handsIn, climbed: { ...this.climbed } }
  }

  backTo(mark: Mark): void {
    this.volts = mark.volts
    this.gas = mark.gas
    Object.assign(this.climbed, mark.climbed)
    this.handsIn = mark.handsIn
  }

  raise(stage: string, rail: RailName, to: Raise): void {
    const { equipment, profile, rails } = this.of
    const from_V = this.volts[rail] ?? 0
    const hot = isHot(equipment, rail)
    const needs_plate = this.needsPlate(rail)
    if (hot) this.problems.push(...raisedTooSoon(stage, rail, this.works(), this.volts))
    this.move(rail, to.V)
    const point = this.point({ rail, slew_V_per_s: to.slew_V_per_s })
    const heater = equipment.rails[rail]?.role === 'heater'
    const hands_clear = to.V > touch_V && (this.handsIn || from_V <= touch_V)
    const own = point.limits[rail]
    const soft = heater
      ? heaterWarming(equipment, rail, {
          from_V,
          to_V: to.V,
          slew_V_per_s: to.slew_V_per_s,
          limit_A: rails[rail]?.class === 'programmed' ? (own?.supply_limit_A ?? Infinity) : Infinity,
          warm_A: own?.trip_A ?? Infinity,
          lead_ohm: this.of.desk.rails[rail]?.lead_ohm ?? 0,
        })
      : null
    this.noteGas(point)
    const reasons: Reason[] = [
      {
        limit: 'slew',
        value: to.slew_V_per_s,
        unit: 'V/s',
        text: `slew ${to.slew_because}`,
        source: to.stated.slew ? 'the profile' : ours,
      },
      {
        limit: 'hold',
        value: to.hold_s,
        unit: 's',
        text: `hold ${to.hold_because}${soft === null ? '' : `; from cold to warm should take ${show(Math.round(soft.predicted_s), 's')} (${soft.text}), ${show(Math.round(soft.allowed_s), 's')} are allowed`}`,
        source: to.stated.hold ? 'the profile' : soft === null ? ours : soft.source,
      },
    ]
    const in_place = inPlaceOf(this.of.profile, rails[rail])
    if (in_place !== null) reasons.push(...inPlaceReasons)
    this.push(stage, {
      do: 'raise',
      rail,
      ...(in_place !== null && { in_place }),
      target_V: to.V,
      slew_V_per_s: to.slew_V_per_s,
      hold_s: to.hold_s,
      settle_within_s: to.settle_within_s,
      limits:
        own === undefined
          ? point.limits
          : { ...point.limits, [rail]: { ...own, because: [...own.because, ...reasons] } },
      nodes: point.nodes,
      ...this.driveAt(point),
      soft_start_s: soft === null ? 0 : Math.round(soft.allowed_s),
      needs_heaters:
        hot && !profile.tubes_cold && railsOf(equipment, 'heater').some((each) => this.used.has(each)),
      needs_bias: hot && !profile.tubes_cold && Object.values(rails).some((each) => each.bias !== null),
      needs_plate,
      hands_clear,
      expected_s:
        (to.V - from_V) / to.slew_V_per_s +
        to.hold_s +
        (in_place === null
          ? to.settle_within_s > 0
            ? 10
            : 0
          : Math.max(10, heldInPlace.usual_s - to.hold_s)) +
        (hands_clear ? 10 : 2),
    })
    if (to.V > touch_V) this.handsIn = false
    const side = this.of.desk.rails[rail]
    if (hot && side !== undefined) {
      const timing = {
        seen_s: seenWithin_s(this.of.bench),
        off_s: measuredOff_s(this.of.bench, side.channels),
      }
      const through = letThrough(side, point.limits, point.charging_F[rail] ?? 0, point.shorts, timing)
      if (through !== null) this.let_through.push({ ...through, step: this.steps.length })
    }
    this.climbed[rail] = [...(this.climbed[rail] ?? []), to]
  }

  lower(stage: string, rail: RailName, target_V: number): void {
    const from_V = this.volts[rail] ?? 0
    if (from_V <= target_V) return
    this.problems.push(...loweredTooSoon(stage, rail, target_V, this.works(), this.volts))
    // Until it is down the rail is held to the limits it came from.
    const held = this.point()
    this.move(rail, target_V)
    const below = this.climbed[rail]?.filter((each) => each.V <= target_V) ?? []
    this.climbed[rail] = below
    const path = this.of.rails[rail]?.discharge
    const fall_s = path === null || path === undefined ? 30 : 4 * path.ohm * path.F
    this.push(stage, {
      do: 'lower',
      rail,
      target_V,
      limits: held.limits,
      ...modulatedAt(this.works(), this.volts, held),
      nodes: {},
      expected_s: Math.min(120, fall_s) + 5,
    })
  }

  climbAgain(stage: string, rail: RailName, top_V: number, holds: boolean): void {
    const path = this.lastClimb[rail]?.filter((each) => each.V <= top_V) ?? []
    for (const [at, each] of path.entries()) {
      // The key was up or HT down since: what the set's own meters showed before tells nothing of now.
      if (at === path.length - 1 && isHot(this.of.equipment, rail)) this.askPanels(stage, rail)
      this.raise(stage, rail, {
        ...each,
        hold_s: holds ? each.hold_s : 0,
        settle_within_s: holds ? each.settle_within_s : 0,
        slew_because: `${show(each.slew_V_per_s, 'V/s')}: as before`,
        hold_because: holds ? `${show(each.hold_s, 's')}: as before` : '0 s: these volts were held before',
        stated: { slew: false, hold: false },
      })
    }
  }

  rememberClimbs(rails: readonly RailName[]): void {
    this.lastClimb = Object.fromEntries(rails.map((rail) => [rail, [...(this.climbed[rail] ?? [])]]))
  }

  /** Before the top of what the key holds up: grid currents on this rail that the set's own meters alone show. */
  askPanels(stage: string, rail: RailName): void {
    if (this.at(rail) <= 0) return
    const point = this.point()
    const watched = driveWatches(this.of.bench, this.of.rails, point)
    const own = (tube: string): boolean => (plateRailOf(this.of.equipment, tube) ?? rail) === rail
    for (const ask of panelQuestions(point, watched, own)) this.ask(stage, ask)
  }

  ask(stage: string, ask: Ask): void {
    this.push(stage, { do: 'ask', ask, expected_s: 60 })
    this.handsIn = true
  }

  timeout_s(own: number | null): number {
    return promptTimeout_s(this.of.profile, own)
  }

  hotRails(): RailName[] {
    const all = Object.keys(this.of.equipment.rails).filter((rail) => isHot(this.of.equipment, rail))
    // In the order in which they come: modulators after what they modulate.
    const late = (rail: RailName): boolean => this.of.rails[rail]?.modulates !== undefined
    return [...all.filter((rail) => !late(rail)), ...all.filter(late)]
  }

  private needsPlate(rail: RailName): RailName | null {
    const needed = plateNeeded(rail, this.works())
    return needed ?? (this.of.equipment.rails[rail]?.role === 'screen' ? this.plateRail() : null)
  }

  /** Modulators that work in this mode; cold ones do not. */
  private works(): ModulatorRail[] {
    return this.tubes() === 'cold' ? [] : modulatorsOf(this.of.equipment, this.mode)
  }

  /** Rail that feeds the plates: the highest HT rail that stands. */
  private plateRail(): RailName | null {
    const standing = railsOf(this.of.equipment, 'HT').filter((rail) => (this.volts[rail] ?? 0) > 0)
    return standing.sort((a, b) => (this.volts[b] ?? 0) - (this.volts[a] ?? 0))[0] ?? null
  }

  private move(rail: RailName, V: number): void {
    this.gas = this.gasNow()
    this.volts = { ...this.volts, [rail]: V }
  }

  private gasNow(): GasStates {
    return this.of.desk.gasAt(this.mode, this.volts, this.tubes(), this.gas)
  }

  private tubes(): 'hot' | 'cold' {
    return this.of.profile.tubes_cold ? 'cold' : 'hot'
  }

  /** Limits where the rails stand. */
  point(raising: { rail: RailName; slew_V_per_s: number } | null = null): PointLimits {
    return this.limitsAt(this.volts, raising, this.gas)
  }

  /** Limits where they would stand with one rail moved. */
  pointWith(rail: RailName, V: number): PointLimits {
    return this.limitsAt({ ...this.volts, [rail]: V }, null, this.gasNow())
  }

  /** Volts at a node as a meter that is clipped on there reads them; null where no circuit tells it. */
  readWith(node: string, { ohm }: { readonly ohm: number }): number | null {
    const b = this.of.equipment.chassis_node
    return (
      this.of.desk.operating?.read(this.mode, this.volts, this.gas, {
        name: 'hand meter',
        a: node,
        b,
        ohm,
      }) ?? null
    )
  }

  private limitsAt(
    volts: Readonly<Record<RailName, number>>,
    raising: { rail: RailName; slew_V_per_s: number } | null,
    gas: GasStates,
  ): PointLimits {
    const point = this.of.desk.at(this.mode, volts, raising, this.ceilings_A, this.tubes(), gas)
    this.problems.push(...point.problems)
    this.stored_J = Math.max(this.stored_J, point.stored_J)
    if (this.hotRails().some((rail) => (volts[rail] ?? 0) > 0)) {
      this.unguarded = point.unguarded
      // Once unseen in any step it is told, at the highest volts at which it is.
      const before = this.cans.filter(({ part }) => !point.cans.some((can) => can.part === part))
      const higher = (can: PointLimits['cans'][number]): PointLimits['cans'][number] =>
        this.cans.find(({ part, V }) => part === can.part && V > can.V) ?? can
      this.cans = [...point.cans.map(higher), ...before]
    }
    for (const each of point.hidden) {
      const before = this.hidden.get(each.capacitor)
      if (before === undefined || worst(each) > worst(before)) this.hidden.set(each.capacitor, each)
    }
    return point
  }

  /** For the step that is pushed next. */
  private noteGas(point: PointLimits): void {
    this.gas_notes.push(...point.gas.map((text) => ({ step: this.steps.length + 1, text })))
  }

  private driveAt(point: PointLimits): Pick<Step, 'drive' | 'modulated'> {
    const drive = driveWatches(this.of.bench, this.of.rails, point)
    return point.driven.length > 0 ? { drive, ...modulatedAt(this.works(), this.volts, point) } : {}
  }

  push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'expected_s'>): void {
    const standing = step.limits === undefined ? this.point() : null
    if (standing !== null) this.noteGas(standing)
    const key = keyDownLimits(this.of.equipment, this.mode)
    const low = Object.entries(this.volts).some(([rail, V]) => keepsFilamentsLow(this.of.equipment, rail, V))
    this.steps.push(
      stepOf(this.steps.length + 1, stage, this.mode, {
        ...(standing !== null && {
          limits: standing.limits,
          nodes: standing.nodes,
          ...this.driveAt(standing),
        }),
        ...(low && { filaments_low: true }),
        ...(key.length > 0 && { time_limits: key }),
        ...step,
      }),
    )
  }
}

function worst({ over }: HiddenShort): number {
  return Math.max(...over.map(({ of_rating }) => of_rating))
}

interface Climb {
  readonly V: number
  readonly slew_V_per_s: number
  readonly hold_s: number
  readonly settle_within_s: number
}
export interface Raise extends Climb {
  readonly slew_because: string
  readonly hold_because: string
  readonly stated: { readonly slew: boolean; readonly hold: boolean }
}

interface Mark {
  readonly volts: Readonly<Record<RailName, number>>
  readonly gas: GasStates
  readonly handsIn: boolean
  readonly climbed: Readonly<Record<RailName, readonly Climb[]>>
}
