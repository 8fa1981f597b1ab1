import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, RailName } from '../equipment/index.js'
import {
  heaterWarming,
  letThrough,
  type HiddenShort,
  type LimitProblem,
  type LimitsDesk,
  type PointLimits,
  show,
} from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import { keepsFilamentsLow, lowFilament_s } from './filaments.js'
import { driveProblems, driveWatches, withDriveProofs } from './drive.js'
import { hookupLimits, hookupTests } from './hookup-tests.js'
import { withMonotoneCeilings } from './monotone.js'
import { seenWithin_s } from './rules.js'
import { defaultsFor, type FilledStage, isHot, railsOf } from './stages.js'
import { measuredOff_s } from './supplies.js'
import type { Ask, HookupTest, Plan, RailPlan, Reason, Step } from './types.js'

/** Above this nobody reaches in: prompts are held back, "hands clear" is asked for (60 V DC, IEC/EN 61010-1 6.3.1, second-hand). */
const touch_V = 60
const ours = "slowglow's own choice, no published source"

export interface Built {
  readonly steps: readonly Step[]
  readonly problems: readonly LimitProblem[]
  readonly stored_J: number
  /** Parts no rail current can hold inside their ratings, at the last HT step. */
  readonly unguarded: readonly string[]
  /** Shorted capacitors that would burn a part inside every trip: each at its worst step. */
  readonly hidden: readonly HiddenShort[]
  readonly let_through: NonNullable<Plan['let_through']>
  readonly left_out: NonNullable<Plan['left_out']>
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
}

/** Turns filled stages into steps, each with the limits of every rail that stands in it. */
export function buildSteps(context: StepContext, stages: readonly FilledStage[]): Built {
  const builder = new Builder(context, stages)
  for (const [at, stage] of stages.entries()) builder.stage(stage, stages[at + 1])
  builder.cathodeReadings()
  const built = builder.built()
  const steps = withDriveProofs(context.equipment, withMonotoneCeilings(built.steps))
  return {
    ...built,
    steps,
    problems: [...built.problems, ...driveProblems(context.equipment, steps)],
  }
}

class Builder {
  private readonly steps: Step[] = []
  private readonly problems: LimitProblem[] = []
  private readonly cut: Built['cut'][number][] = []
  private readonly left_out: Built['left_out'][number][] = []
  private readonly let_through: Built['let_through'][number][] = []
  private readonly tests: Record<RailName, readonly HookupTest[]> = {}
  private readonly ceilings_A: Record<RailName, number> = {}
  /** Targets each hot rail has been held at, so that it can come back by the same steps. */
  private readonly climbed: Record<
    RailName,
    { V: number; slew_V_per_s: number; hold_s: number; settle_within_s: number }[]
  > = {}
  /** Climbs as they stood before HT was lowered for a question. */
  private lastClimb: Record<RailName, Climb[]> = {}
  private volts: Record<RailName, number> = {}
  private mode: ModeName
  private handsIn = true
  private stored_J = 0
  private unguarded: readonly string[] = []
  private readonly hidden = new Map<string, HiddenShort>()
  private readonly used: ReadonlySet<RailName>

  constructor(
    private readonly of: StepContext,
    stages: readonly FilledStage[],
  ) {
    this.mode = of.mode
    this.used = new Set(stages.flatMap((stage) => (stage.do === 'ramp' ? [stage.rail] : [])))
  }

  built(): Built {
    const { steps, problems, stored_J, unguarded, tests, cut, let_through, left_out } = this
    const hidden = [...this.hidden.values()]
    return { steps, problems, stored_J, unguarded, hidden, let_through, left_out, tests, cut }
  }

  stage(stage: FilledStage, next: FilledStage | undefined): void {
    const name = stage.added === null ? stage.name : `${stage.name} (filled in: ${stage.added})`
    switch (stage.do) {
      case 'hook-up check':
        this.hookup(name)
        break
      case 'mode':
        this.changeMode(name, stage.mode, next)
        break
      case 'ramp':
        this.ramp(name, stage)
        break
      case 'hold':
        this.push(name, { do: 'hold', hold_s: stage.for_s, expected_s: stage.for_s })
        break
      case 'ask':
        this.question(name, stage)
        break
    }
  }

  private hookup(stage: string): void {
    const { equipment, bench, desk } = this.of
    const order = ['heater', 'bias', 'HT', 'other', 'screen', 'drive']
    const rails = order.flatMap((role) => railsOf(equipment, role)).filter((rail) => this.used.has(rail))
    for (const rail of rails) {
      const tests = hookupTests(equipment, bench, desk, rail, this.mode)
      this.tests[rail] = tests
      for (const test of tests) {
        this.push(stage, {
          do: 'hook-up check',
          rail,
          target_V: test.test_V,
          hookup: test,
          limits: test.method === 'low volts' ? { [rail]: hookupLimits(test, this.of.rails[rail]) } : {},
          expected_s: test.method === 'low volts' ? 20 : 60,
        })
      }
    }
  }

  private changeMode(stage: string, mode: ModeName, next: FilledStage | undefined): void {
    const controls = this.of.equipment.modes[mode]?.controls
    if (controls === undefined) {
      this.problems.push({
        severity: 'error',
        what: `Stage "${stage}" asks for mode ${mode}, which the set file does not have.`,
        remedy: `Modes of this set: ${Object.keys(this.of.equipment.modes).join(', ')}.`,
      })
      return
    }
    const before = { ...this.volts }
    const up = this.hotRails().filter((rail) => (before[rail] ?? 0) > 0)
    this.rememberClimbs(up)
    if (mode !== this.mode) for (const rail of up) this.lower(`${stage}: HT down first`, rail, 0)
    this.mode = mode
    const settings = Object.entries(controls).map(([control, position]) => `${control} to ${position}`)
    const inside = Object.keys(controls).filter(
      (control) => !this.of.equipment.panel_controls.includes(control),
    )
    if (settings.length > 0) {
      const where =
        inside.length === 0
          ? 'All are on the panel: one hand.'
          : `Not on the panel: ${inside.join(', ')}. Nothing above ${touch_V} V stands; measure before touching.`
      if (inside.length > 0)
        for (const rail of this.hotRails()) if ((this.volts[rail] ?? 0) > touch_V) this.lower(stage, rail, 0)
      this.ask(stage, {
        text: `Set the controls for ${mode}: ${settings.join('; ')}. ${where} Then confirm.`,
        wants: { kind: 'confirm' },
        timeout_s: this.timeout_s(null),
        inside: inside.length > 0,
        about: 'mode',
      })
    }
    for (const rail of up) {
      if ((this.volts[rail] ?? 0) > 0 || (next?.do === 'ramp' && next.rail === rail)) continue
      // A new mode proves itself from the bottom: the same targets, with their holds.
      this.climbAgain(`${stage}: back up`, rail, before[rail] ?? 0, true)
    }
  }

  private ramp(name: string, stage: Extract<FilledStage, { do: 'ramp' }>): void {
    const { rail } = stage
    const { equipment, desk } = this.of
    if (equipment.rails[rail] === undefined || desk.rails[rail] === undefined) {
      this.problems.push({
        severity: 'error',
        what: `Stage "${name}" raises a rail ${rail}, which the set file does not have.`,
        remedy: `Rails of this set: ${Object.keys(equipment.rails).join(', ')}.`,
      })
      return
    }
    if (stage.ceiling_A !== null) this.ceilings_A[rail] = stage.ceiling_A
    const reach = this.of.reach(rail)
    for (const [at, wanted_V] of stage.to_V.entries()) {
      const target_V = Math.min(wanted_V, reach.V)
      if (target_V < wanted_V) this.cut.push({ rail, wanted_V, reached_V: reach.V, why: reach.why })
      if (target_V === this.volts[rail]) continue
      if (target_V < (this.volts[rail] ?? 0)) {
        this.lower(name, rail, target_V)
        continue
      }
      const point = this.point({ ...this.volts, [rail]: target_V }, null)
      // A step of ours where a gas regulator may be lit or dark is left out: the next one is held instead.
      if (point.strikes.length > 0 && stage.added !== null && at < stage.to_V.length - 1) {
        this.left_out.push(...point.strikes.map((each) => leftOut(rail, target_V, each)))
        continue
      }
      this.refuseStrikes(name, rail, target_V, point)
      const charging_F = point.charging_F[rail] ?? 0
      const filled = defaultsFor(equipment, rail, charging_F)
      const hold_s = stage.hold_s ?? filled.hold_s
      const slew_V_per_s = stage.slew_V_per_s ?? filled.slew_V_per_s
      // Filaments on their way up are not waited for as long as heaters are.
      const settle_s = keepsFilamentsLow(equipment, rail, target_V)
        ? Math.max(0, Math.floor(lowFilament_s - hold_s - target_V / slew_V_per_s))
        : filled.settle_within_s
      this.raise(name, rail, {
        V: target_V,
        slew_V_per_s,
        hold_s,
        settle_within_s: stage.settle_within_s ?? Math.min(settle_s, filled.settle_within_s),
        slew_because:
          stage.slew_V_per_s === null ? filled.slew_because : `${show(stage.slew_V_per_s, 'V/s')}: stated`,
        hold_because: stage.hold_s === null ? filled.hold_because : `${show(stage.hold_s, 's')}: stated`,
        stated: { slew: stage.slew_V_per_s !== null, hold: stage.hold_s !== null },
      })
    }
  }

  /** A hold where a gas regulator may be lit or dark: two currents would both be right there. */
  private refuseStrikes(name: string, rail: RailName, target_V: number, point: PointLimits): void {
    if (!isHot(this.of.equipment, rail)) return
    for (const { regulator, dark_V, low_V, high_V } of point.strikes)
      this.problems.push({
        severity: target_V >= (this.of.equipment.rails[rail]?.working_V ?? 0) ? 'warning' : 'error',
        what: `Stage "${name}" holds ${rail} at ${show(target_V, 'V')}, where ${regulator} gets ${show(dark_V, 'V')} while dark: it strikes somewhere from ${show(low_V, 'V')} to ${show(high_V, 'V')}, so it may be lit or dark and no current can be judged.`,
        remedy: `Hold at ${show(Math.floor((target_V * low_V) / dark_V), 'V')} or below, or at ${show(Math.ceil((target_V * high_V) / dark_V), 'V')} or above, and pass what lies between.`,
      })
  }

  private raise(stage: string, rail: RailName, to: Raise): void {
    const { equipment, profile, rails } = this.of
    const from_V = this.volts[rail] ?? 0
    const hot = isHot(equipment, rail)
    this.volts = { ...this.volts, [rail]: to.V }
    const point = this.point(this.volts, { rail, slew_V_per_s: to.slew_V_per_s })
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
    this.push(stage, {
      do: 'raise',
      rail,
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
      needs_plate: equipment.rails[rail]?.role === 'screen' ? this.plateRail() : null,
      hands_clear,
      expected_s:
        (to.V - from_V) / to.slew_V_per_s +
        to.hold_s +
        (to.settle_within_s > 0 ? 10 : 0) +
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
    if (hot) this.climbed[rail] = [...(this.climbed[rail] ?? []), to]
  }

  private lower(stage: string, rail: RailName, target_V: number): void {
    const from_V = this.volts[rail] ?? 0
    if (from_V <= target_V) return
    // Until it is down the rail is held to the limits it came from.
    const held = this.point(this.volts, null)
    this.volts = { ...this.volts, [rail]: target_V }
    const below = this.climbed[rail]?.filter((each) => each.V <= target_V) ?? []
    this.climbed[rail] = below
    const path = this.of.rails[rail]?.discharge
    const fall_s = path === null || path === undefined ? 30 : 4 * path.ohm * path.F
    this.push(stage, {
      do: 'lower',
      rail,
      target_V,
      limits: held.limits,
      nodes: {},
      expected_s: Math.min(120, fall_s) + 5,
    })
  }

  private climbAgain(stage: string, rail: RailName, top_V: number, holds: boolean): void {
    const path = this.lastClimb[rail]?.filter((each) => each.V <= top_V) ?? []
    for (const each of path) {
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

  private rememberClimbs(rails: readonly RailName[]): void {
    this.lastClimb = Object.fromEntries(rails.map((rail) => [rail, [...(this.climbed[rail] ?? [])]]))
  }

  /**
   * A tube that may pass its bare rating inside every trip: its cathode is read once, after the last step, only where the run
   * found it so. Each reading starts from where the profile ends, since the one before it may have been passed over.
   */
  cathodeReadings(): void {
    const top = this.steps.findLast(({ do: what, rail }) => {
      return what === 'raise' && rail !== null && isHot(this.of.equipment, rail)
    })
    const { volts, handsIn } = this
    const climbed = { ...this.climbed }
    if (top === undefined || top.mode !== this.mode) return
    for (const { part, cathode } of Object.values(top.limits).flatMap(({ ratings }) => ratings ?? [])) {
      if (cathode === null) continue
      const from = this.steps.length
      this.volts = { ...volts }
      Object.assign(this.climbed, climbed)
      this.handsIn = handsIn
      const point = this.of.equipment.test_points[cathode.node]
      this.question(
        `cathode reading of ${part}`,
        {
          do: 'ask',
          name: `cathode reading of ${part}`,
          text: `${part} reads over its rating. Read its cathode, ${cathode.node}${point === undefined ? '' : ` (${point})`}, against chassis: about ${show(cathode.V, 'V')} is expected, ${show(cathode.rated_V, 'V')} is its rating, ${show(cathode.most_V, 'V')} the most allowed.`,
          reading: { node: cathode.node, unit: 'V', low: 0.2 * cathode.V, high: cathode.most_V },
          inside: true,
          timeout_s: null,
          added: null,
        },
        'stays down',
      )
      const only_if = { over_rating: part, rated_V: cathode.rated_V }
      for (const [at, step] of this.steps.entries()) if (at >= from) this.steps[at] = { ...step, only_if }
    }
  }

  private question(
    name: string,
    stage: Extract<FilledStage, { do: 'ask' }>,
    after: 'comes back' | 'stays down' = 'comes back',
  ): void {
    const up = this.hotRails().filter((rail) => (this.volts[rail] ?? 0) > touch_V)
    const before = { ...this.volts }
    const at = this.point(this.volts, null)
    const wants = this.wanted(stage, at)
    const timeout_s = this.timeout_s(stage.timeout_s)
    if (!stage.inside || up.length === 0) {
      this.ask(name, { text: stage.text, wants, timeout_s, inside: stage.inside, about: 'reading' })
      return
    }
    // A reading inside: HT down, clip on, hands clear, up by the same steps without their holds, read, down again, clip off.
    this.rememberClimbs(up)
    const confirm = (text: string): void => {
      for (const rail of [...up].reverse()) this.lower(name, rail, 0)
      this.ask(name, { text, wants: { kind: 'confirm' }, timeout_s, inside: true, about: 'inside' })
    }
    if (wants.kind === 'confirm') {
      confirm(`${stage.text} HT is down; measure before touching.`)
      for (const rail of up) this.climbAgain(name, rail, before[rail] ?? 0, false)
      return
    }
    const where = wants.node ?? 'the point named'
    confirm(
      `HT is down; measure before touching. Clip the meter on ${where} for: ${stage.text} Take your hands out, then confirm.`,
    )
    for (const rail of up) this.climbAgain(name, rail, before[rail] ?? 0, false)
    this.ask(name, { text: stage.text, wants, timeout_s, inside: false, about: 'reading' })
    this.rememberClimbs(up)
    confirm(`HT is down; measure before touching. Take the meter off ${where}, then confirm.`)
    if (after === 'stays down') return
    for (const rail of up) this.climbAgain(name, rail, before[rail] ?? 0, false)
  }

  private wanted(stage: Extract<FilledStage, { do: 'ask' }>, at: PointLimits): Ask['wants'] {
    const { reading } = stage
    if (reading === null) return { kind: 'confirm' }
    const node_V = at.nodes[reading.node]
    const room = node_V === undefined ? null : Math.max(0.2 * Math.abs(node_V), 0.5)
    const low = reading.low ?? (room === null || node_V === undefined ? null : node_V - room)
    const high = reading.high ?? (room === null || node_V === undefined ? null : node_V + room)
    if (low === null || high === null || (reading.unit !== 'V' && reading.low === null)) {
      this.problems.push({
        severity: 'error',
        what: `Question "${stage.name}" wants a reading at ${reading.node}, and nothing says what it should be.`,
        remedy:
          'Give low and high in the profile; volts at a node are known of a level-3 file, and of a level-2 file where its charts name the node.',
      })
    }
    return {
      kind: 'reading',
      node: reading.node,
      rail: null,
      unit: reading.unit,
      low: low ?? 0,
      high: high ?? 0,
    }
  }

  private ask(stage: string, ask: Ask): void {
    this.push(stage, { do: 'ask', ask, expected_s: 60 })
    this.handsIn = true
  }

  private timeout_s(own: number | null): number {
    return Math.min(600, own ?? 600, this.of.profile.prompt_timeout_s ?? 600)
  }

  private hotRails(): RailName[] {
    return Object.keys(this.of.equipment.rails).filter((rail) => isHot(this.of.equipment, rail))
  }

  /** Rail that feeds the plates: the highest HT rail that stands. */
  private plateRail(): RailName | null {
    const standing = railsOf(this.of.equipment, 'HT').filter((rail) => (this.volts[rail] ?? 0) > 0)
    return standing.sort((a, b) => (this.volts[b] ?? 0) - (this.volts[a] ?? 0))[0] ?? null
  }

  private point(
    volts: Readonly<Record<RailName, number>>,
    raising: { rail: RailName; slew_V_per_s: number } | null,
  ): PointLimits {
    const tubes = this.of.profile.tubes_cold ? 'cold' : 'hot'
    const point = this.of.desk.at(this.mode, volts, raising, this.ceilings_A, tubes)
    this.problems.push(...point.problems)
    this.stored_J = Math.max(this.stored_J, point.stored_J)
    if (this.hotRails().some((rail) => (volts[rail] ?? 0) > 0)) this.unguarded = point.unguarded
    for (const each of point.hidden) {
      const before = this.hidden.get(each.capacitor)
      if (before === undefined || worst(each) > worst(before)) this.hidden.set(each.capacitor, each)
    }
    return point
  }

  private driveAt(point: PointLimits): Pick<Step, 'drive'> {
    const drive = driveWatches(this.of.bench, this.of.rails, point)
    return point.driven.length > 0 ? { drive } : {}
  }

  private push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'expected_s'>): void {
    const standing = step.limits === undefined ? this.point(this.volts, null) : null
    const low = Object.entries(this.volts).some(([rail, V]) => keepsFilamentsLow(this.of.equipment, rail, V))
    this.steps.push({
      index: this.steps.length + 1,
      stage,
      mode: this.mode,
      rail: null,
      target_V: 0,
      slew_V_per_s: 0,
      hold_s: 0,
      settle_within_s: 0,
      limits: standing?.limits ?? {},
      hookup: null,
      ask: null,
      nodes: standing?.nodes ?? {},
      ...(standing !== null && this.driveAt(standing)),
      soft_start_s: 0,
      needs_heaters: false,
      needs_bias: false,
      needs_plate: null,
      hands_clear: false,
      ...(low && { filaments_low: true }),
      ...step,
    })
  }
}

/** Why the program's own step is not held: two currents would both be right there. */
function leftOut(
  rail: RailName,
  V: number,
  doubt: PointLimits['strikes'][number],
): Built['left_out'][number] {
  const { regulator, dark_V, low_V, high_V } = doubt
  return {
    rail,
    V,
    text: `${rail} is not held at ${show(V, 'V')}, as it would be else: ${regulator} gets ${show(dark_V, 'V')} there while dark and strikes somewhere from ${show(low_V, 'V')} to ${show(high_V, 'V')}, so it may be lit or dark and no current can be judged. The ramp passes through to the next step.`,
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
interface Raise extends Climb {
  readonly slew_because: string
  readonly hold_because: string
  readonly stated: { readonly slew: boolean; readonly hold: boolean }
}
