import type { Channel } from '../bench/index.js'
import type {
  HookupTest,
  RailLimits,
  Reason,
  ReformPart,
  ReformPlan,
  ReformStep,
  Step,
} from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { feedOf, formingMode, nodeOf } from './setup.js'

/* What a reform does, in order: wires proved, up the ladder, held at the top, rested, tested again. */

const ours = "slowglow's own choice, no published source"
/** Held this long at least on a rung, and at half of rated volts where parts are built in. */
const rung_s = 60
const soak_s = 600
const soakSource =
  "a maker's text for parts built into equipment: about half of rated volts for about 10 min, then little by little (second-hand)"
const hookup_V = 5

/** A resistor is measured as the one that the plan counted on within this, whatever tolerance it has (our choice). */
const leastWindow = 0.05

/** Over-voltage level over the set-point: what a supply may overshoot (common practice, no source). */
export const overRoom = 1.02

/** A rung as a rule, and the first, which is a check only, s (common practice, no source). */
const usualRung_s = 240
const firstRung_s = 120

interface Behind {
  readonly plan: ReformPlan
  readonly name: string
  readonly channel: Channel
  readonly timeout_s: number
  /** What the way to the top took in this set's earlier reforms, s; null = not known. */
  readonly climb_s?: number | null
  /** Nobody stays: what comes behind the hook-up checks, and a part that is given up cannot be taken off. */
  readonly proofs?: ((tests: readonly HookupTest[]) => readonly Placed[]) | null
}
/** A step of another maker's. */
interface Placed {
  readonly stage: string
  readonly step: Partial<Step> & Pick<Step, 'do' | 'limits' | 'expected_s'>
}

export class ReformSteps {
  readonly all: Step[] = []
  constructor(private readonly of: Behind) {}

  build(builtIn: boolean): void {
    const { plan, channel, proofs = null } = this.of
    for (const part of plan.parts) this.feedByHand(part)
    for (const part of plan.parts) this.hookup(part)
    if (proofs === null) this.aside()
    else for (const { stage, step } of proofs(this.tests())) this.push(stage, step)
    const targets = this.ladder(builtIn)
    this.rungs = targets.filter(({ reform }) => reform.what === 'rung').length
    for (const [at, { V, reform, why }] of targets.entries())
      this.raise(
        reform.what === 'top'
          ? 'held at the top'
          : reform.what === 'soak'
            ? 'half-rated soak'
            : `rung ${at + 1}`,
        V,
        reform,
        why,
        at === 0,
      )
    // Let down even where no rest is wanted: what comes next begins at few volts.
    this.lower(plan.rest_s > 0 ? 'down to rest' : 'down before the re-test')
    if (plan.rest_s > 0)
      this.push('resting without volts', {
        do: 'hold',
        hold_s: plan.rest_s,
        limits: { [plan.rail]: this.nothing() },
        expected_s: plan.rest_s,
      })
    // A formed part leaks next to nothing here: what goes in is charge.
    const low_V = down(
      Math.min(4, Math.max(1, Math.floor(plan.top_V / plan.rung_V / 3))) * plan.rung_V,
      channel.set_digits_V,
    )
    if (plan.parts.some(({ typed }) => typed === undefined))
      this.raise(
        'capacitance after the rest',
        low_V,
        { what: 'soak', least_s: 30 },
        'at few volts next to nothing leaks, so that what goes in is charge',
        false,
      )
    const after_s = Math.max(...plan.parts.map(({ limit }) => limit.after_s)) + 60
    this.raise(
      're-test',
      plan.top_V,
      { what: 're-test', least_s: after_s },
      'what counts is read after a rest, with the charging current long gone',
      false,
    )
  }

  /** Steps of a twentieth; several are passed at once where next to nothing leaks (the estimator says how far). */
  private ladder(builtIn: boolean): { V: number; reform: ReformStep; why: string }[] {
    const { plan, channel } = this.of
    const formed_V = Math.min(...plan.parts.map((part) => part.formed_V))
    const made: { V: number; reform: ReformStep; why: string }[] = []
    const soak_V = 0.5 * plan.top_V
    for (let V = plan.rung_V; V < plan.top_V - 0.5 * plan.rung_V; V += plan.rung_V) {
      const isSoak = builtIn && V >= soak_V - 1e-6 && V < soak_V + plan.rung_V - 1e-6
      // An earlier run is taken up where it had come to, after the lowest rung as a fresh check.
      if (made.length > 0 && V < formed_V - 1e-6 && !isSoak) continue
      made.push({
        V: down(V, channel.set_digits_V),
        reform: isSoak ? { what: 'soak', least_s: soak_s } : { what: 'rung', least_s: rung_s },
        why: isSoak
          ? `10 min at half: ${soakSource}`
          : made.length === 0
            ? 'a low start: a short or a part the wrong way round shows while little is stored'
            : 'until the leakage is low enough for the next',
      })
    }
    const top = { what: 'top', least_s: plan.top_s } as const
    return [
      ...made,
      { V: plan.top_V, reform: top, why: `${formatShort(plan.top_s, 's')} at least at the last volts` },
    ]
  }

  /** A twentieth of the way in a third of a second (our choice). */
  private slew_V_per_s(): number {
    return 0.15 * this.of.plan.top_V
  }

  private rungs = 1
  /** One step of the ladder, s: as earlier reforms took it, else as a rule. */
  private rungLasts_s(): number {
    const { climb_s } = this.of
    return climb_s == null ? usualRung_s : Math.max(rung_s, Math.round(climb_s / Math.max(1, this.rungs)))
  }

  private tests(): HookupTest[] {
    return this.all.flatMap(({ hookup }) => (hookup === null ? [] : [hookup]))
  }

  /** The error of the resistor is the error of every leakage behind it. */
  private feedByHand({ name, feed_ohm, feed_untold }: ReformPart): void {
    if (feed_untold === undefined) return
    const off = Math.max(leastWindow, feed_untold)
    this.push(`feed resistor of ${name}`, {
      do: 'ask',
      ask: {
        text: `Measure the feed resistor of ${name} with your ohmmeter, one of its ends free: nothing is on, and ${name} was read as dead. Its ohms? Join it again before you answer.`,
        wants: {
          kind: 'reading',
          node: feedOf(name),
          rail: null,
          unit: 'Ω',
          low: feed_ohm * (1 - off),
          high: feed_ohm * (1 + off),
        },
        timeout_s: this.of.timeout_s,
        inside: true,
        about: `ohms ${feedOf(name)}`,
      },
      limits: {},
      expected_s: 60,
    })
  }

  private hookup(part: ReformPart): void {
    const { plan, name, channel } = this.of
    const bleeder_ohm = channel.bleeder_ohm ?? Infinity
    const test_V = Math.min(hookup_V, down(plan.top_V, channel.set_digits_V))
    const all_S = plan.parts.reduce((sum, { feed_ohm }) => sum + 1 / feed_ohm, 1 / bleeder_ohm)
    const amps = test_V / bleeder_ohm
    const error = 0.1 + (channel.accuracy_A.plus + channel.resolution_A) / amps
    this.push(`is ${part.name} there`, {
      do: 'hook-up check',
      rail: plan.rail,
      target_V: test_V,
      hookup: {
        rail: plan.rail,
        channel: name,
        method: 'low volts',
        test_V,
        limit_A: Math.min(
          channel.max_A,
          Math.max(2 * test_V * all_S + 3 * channel.resolution_A, channel.min_A),
        ),
        ohm_low: (1 / all_S) * (1 - error) * (1 - channel.accuracy_V.plus / test_V),
        ohm_high: bleeder_ohm * (1 + error) * (1 + channel.accuracy_V.plus / test_V),
        usual_ohm: bleeder_ohm,
        may_limit: false,
        polarity:
          part.across === 'feed'
            ? null
            : {
                node: nodeOf(part.name),
                sign: 1,
                low_V: 0.15 * test_V,
                high_V: 1.1 * test_V + part.meter_error.plus,
                meter: part.typed === undefined ? part.meter : null,
              },
        because: 'a part the wrong way round is found at volts that do it no harm.',
      },
      limits: {},
      expected_s: 15,
    })
  }

  /** Passed over unless a part was given up: the volts go down, it is taken off, and the others begin again from below. */
  private aside(): void {
    this.lower('down: a part was given up', true)
    this.push('take it off', {
      do: 'ask',
      aside: true,
      ask: {
        text: 'Measure the volts across it before touching; when it is dead, take its lead off its feed resistor and keep it shorted. Is it off?',
        wants: { kind: 'confirm' },
        timeout_s: this.of.timeout_s,
        inside: true,
        about: 'lift parts',
      },
      limits: { [this.of.plan.rail]: this.nothing() },
      expected_s: 60,
    })
  }

  private raise(stage: string, V: number, reform: ReformStep, why: string, first: boolean): void {
    const { plan } = this.of
    // The feed resistors bound the current, and the quicker the charge goes in the less leaks meanwhile.
    const slew_V_per_s = this.slew_V_per_s()
    this.push(stage, {
      do: 'raise',
      rail: plan.rail,
      target_V: V,
      slew_V_per_s,
      hold_s: reform.least_s,
      reform,
      limits: { [plan.rail]: this.limits(V, why) },
      hands_clear: V > 60 && this.handsIn(),
      expected_s:
        (reform.what === 'rung' ? (first ? firstRung_s : this.rungLasts_s()) : reform.least_s + 60) + 5,
    })
    if (V > 60) this.wasHigh = true
  }
  private wasHigh = false
  private handsIn(): boolean {
    return !this.wasHigh
  }

  private lower(stage: string, aside = false): void {
    const { plan, channel } = this.of
    const held = this.limits(plan.top_V, 'held to what it comes from')
    this.push(stage, {
      do: 'lower',
      rail: plan.rail,
      target_V: channel.min_V,
      hold_s: 3,
      ...(aside && { aside: true as const }),
      limits: { [plan.rail]: { ...held, expected_A: 0, lower_A: 0, ask_A: 0 } },
      expected_s: 30,
    })
  }

  private nothing(): RailLimits {
    return {
      ...this.limits(this.of.plan.rung_V, 'nothing is fed'),
      at_V: 0,
      expected_A: 0,
      lower_A: 0,
      ask_A: 0,
    }
  }

  /** What the terminals see is the bleeder, and behind the feed resistors at most a short of every part. */
  private limits(V: number, why: string): RailLimits {
    const { plan, channel } = this.of
    const bleeder_A = V / (channel.bleeder_ohm ?? Infinity)
    const shorts_A = plan.parts.reduce((sum, { feed_ohm }) => sum + V / feed_ohm, 0)
    const error_A = (of: number): number =>
      channel.accuracy_A.of_reading * of +
      channel.accuracy_A.plus +
      2 * channel.resolution_A +
      0.1 * bleeder_A
    const upper_A = bleeder_A + shorts_A + error_A(bleeder_A + shorts_A)
    const lower_A = Math.max(0, bleeder_A - error_A(bleeder_A))
    const trip_A = 1.05 * upper_A + 3 * channel.resolution_A
    // What its own output capacitor takes on the way up is no fault of a part.
    const rise_A = 1.1 * this.slew_V_per_s() * channel.output_F
    const supply_limit_A = Math.min(
      channel.max_A,
      Math.max(1.1 * trip_A + 2 * channel.resolution_A, upper_A + rise_A, channel.min_A),
    )
    const over_voltage_V = channel.over_voltage
      ? Math.min(
          channel.max_V,
          Math.max(V + channel.over_voltage_margin_V, overRoom * V, V + 3 * channel.resolution_V),
        )
      : 0
    const reason = (limit: Reason['limit'], value: number, unit: 'A' | 'V', text: string): Reason => ({
      limit,
      value,
      unit,
      text: `${limit} ${formatShort(value, unit)}: ${text}`,
      source: limit === 'expected' ? "Ohm's law" : ours,
    })
    return {
      at_V: V,
      expected_A: bleeder_A,
      lower_A,
      upper_A,
      ask_A: 0.8 * lower_A,
      trip_A,
      ceiling_A: 1.05 * trip_A,
      charge_A: supply_limit_A,
      supply_limit_A,
      over_voltage_V,
      because: [
        reason(
          'expected',
          bleeder_A,
          'A',
          `the bleeder at ${formatShort(V, 'V')}; what the parts leak is judged at their own meters`,
        ),
        reason('band', upper_A, 'A', 'every part shorted behind its feed resistor, and the read-back'),
        reason('trip', trip_A, 'A', 'more than that means a feed resistor is bridged'),
        reason('ceiling', 1.05 * trip_A, 'A', '5 % above the trip'),
        reason(
          'supply limit',
          supply_limit_A,
          'A',
          "a tenth above the trip, and room for what the supply's own output capacitor takes as it rises",
        ),
        ...(over_voltage_V > 0
          ? [
              reason(
                'over-voltage',
                over_voltage_V,
                'V',
                'a part that stops leaking sees all of the set-point',
              ),
            ]
          : []),
        { limit: 'hold', value: 0, unit: 's', text: `hold: ${why}`, source: ours },
      ],
      sees: null,
    }
  }

  private push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'limits' | 'expected_s'>): void {
    this.all.push({
      index: this.all.length + 1,
      stage,
      mode: formingMode,
      rail: null,
      target_V: 0,
      slew_V_per_s: 0,
      hold_s: 0,
      settle_within_s: 0,
      hookup: null,
      ask: null,
      nodes: {},
      soft_start_s: 0,
      needs_heaters: false,
      needs_bias: false,
      needs_plate: null,
      hands_clear: false,
      ...step,
    })
  }
}

/** Rounded down to what can be set. */
function down(value: number, digits: number): number {
  let scale = 1
  for (let i = 0; i < digits; i++) scale *= 10
  return Math.floor(value * scale + 1e-6) / scale
}
