import type { Channel } from '../bench/index.js'
import {
  type HookupTest,
  type RailLimits,
  type Reason,
  type ReformPart,
  type ReformPlan,
  type ReformStep,
  type Step,
  stepOf,
} from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { charging_A, chargeThrough_s, short_A } from './feed.js'
import { top_s } from './limits.js'
import { feedOf, formingMode, nodeOf } from './setup.js'

/* What a reform does, in order: wires proved, up the ladder, held at the top, rested, tested again. */

const ours = "slowglow's own choice, no published source"
/** Held this long at least on a rung, and at half of rated volts where parts are built in. */
const rung_s = 60
const soak_s = 600
/** Held again at the last volts behind a smaller feed resistor (our choice). */
const again_s = 3600
const soakSource =
  "a maker's text for parts built into equipment: about half of rated volts for about 10 min, then little by little (second-hand)"
const topSource = "a maker's note of October 1993: slowly to rated volts, then at least 4 h (second-hand)"
/** Fewer steps of an ammeter than this tell nothing. */
const leastSteps = 5
/** What an ammeter that shows nothing stands for. */
const nothing_ohm = 10e6
const hookup_V = 5

/** A resistor is measured as the one that the plan counted on within this, whatever tolerance it has (our choice). */
const leastWindow = 0.05

/** Over-voltage level over the set-point: what a supply may overshoot (common practice, no source). */
export const overRoom = 1.02

/** A rung as a rule, and the first, which is a check only, s (common practice, no source). */
const usualRung_s = 240
const firstRung_s = 120

interface Rung {
  readonly V: number
  readonly reform: ReformStep
  readonly why: string
  /** Where its hold comes from; absent = our choice. */
  readonly source?: string
}

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
    for (const [at, { V, reform, why, source }] of targets.entries())
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
        source,
      )
    if (proofs === null) this.exchange()
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
  private ladder(builtIn: boolean): Rung[] {
    const { plan, channel } = this.of
    const formed_V = Math.min(...plan.parts.map((part) => part.formed_V))
    const made: Rung[] = []
    const soak_V = 0.5 * plan.top_V
    for (let V = plan.rung_V; V < plan.top_V - 0.5 * plan.rung_V; V += plan.rung_V) {
      const isSoak = builtIn && V >= soak_V - 1e-6 && V < soak_V + plan.rung_V - 1e-6
      // An earlier run is taken up where it had come to, after the lowest rung as a fresh check.
      if (made.length > 0 && V < formed_V - 1e-6 && !isSoak) continue
      made.push({
        V: down(V, channel.set_digits_V),
        reform: isSoak ? { what: 'soak', least_s: soak_s } : { what: 'rung', least_s: rung_s },
        ...(isSoak && { source: soakSource }),
        why: isSoak
          ? '10 min at half of the last volts before going on'
          : made.length === 0
            ? 'a low start: a short or a part the wrong way round shows while little is stored'
            : 'until the leakage is low enough for the next',
      })
    }
    const top = { what: 'top', least_s: plan.top_s } as const
    return [
      ...made,
      {
        V: plan.top_V,
        reform: top,
        why: `${formatShort(plan.top_s, 's')} at least at the last volts${plan.top_s < top_s ? ', as the profile has it; the maker whose note is followed elsewhere holds 4 h' : ''}`,
        ...(plan.top_s >= top_s && { source: topSource }),
      },
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

  /** What stands in the way of each part now, or will where it is called for: the lesser counts for what a short may draw. */
  private smaller = false
  private parts(smaller = this.smaller): readonly ReformPart[] {
    const { parts } = this.of.plan
    if (!smaller) return parts
    return parts.map((part) => ({ ...part, feed_ohm: part.next_feed?.ohm ?? part.feed_ohm }))
  }

  /**
   * Rated volts behind a smaller feed resistor, by hand: down and off, measured dead, exchanged and measured, proved again, and up. All of
   * it is passed over where no part is worth it (see the sequencer's reform).
   */
  private exchange(): void {
    const { plan, channel, timeout_s } = this.of
    const next = plan.parts.flatMap((part) =>
      part.next_feed === undefined ? [] : [{ part, to: part.next_feed }],
    )
    if (next.length === 0) return
    const all = { exchange: next.map(({ part }) => part.name) }
    const falls_s = Math.max(
      ...next.map(({ part }) =>
        chargeThrough_s(part.feed_ohm + (channel.bleeder_ohm ?? 0), part.F, Math.min(1, 1 / plan.top_V)),
      ),
    )
    this.lower('down to exchange feed resistors', { ...all, hold_s: 10 + Math.ceil(falls_s) })
    this.push('off to exchange feed resistors', {
      do: 'prove',
      rail: plan.rail,
      ...all,
      target_V: channel.min_V,
      limits: { [plan.rail]: this.nothing() },
      proof: {
        of: 'off',
        channel: plan.channel,
        limit_A: null,
        level: null,
        within_s: 60,
        because: 'hands go to the feed resistors: the output is off, and its fall was measured.',
      },
      expected_s: 10,
    })
    this.smaller = true
    for (const { part, to } of next) {
      const only = { exchange: [part.name], limits: { [plan.rail]: this.nothing() } }
      const ask = { timeout_s, inside: true } as const
      const { name } = part
      this.push(`is ${name} dead`, {
        do: 'ask',
        ...only,
        ask: {
          ...ask,
          text: `Measure the volts across ${name} before you touch it, one hand, a meter rated for it and tried on a known source. Above 5 V, discharge it through a resistor first. Its volts?`,
          wants: { kind: 'reading', node: nodeOf(name), rail: null, unit: 'V', low: -5, high: 5 },
          about: 'stored charge',
        },
        expected_s: 60,
      })
      const off = Math.max(leastWindow, to.error)
      this.push(`exchange the feed resistor of ${name}`, {
        do: 'ask',
        ...only,
        ask: {
          ...ask,
          text: `Take the feed resistor of ${name} (${formatShort(part.feed_ohm, 'Ω')}) out and put in ${formatShort(to.ohm, 'Ω')} rated ${formatShort(to.rated_W, 'W')} or more. Measure it with your ohmmeter, one of its ends free. Its ohms? Join it before you answer, and leave all else as it was.`,
          wants: {
            ...{ kind: 'reading', node: feedOf(name), rail: null, unit: 'Ω' },
            ...{ low: to.ohm * (1 - off), high: to.ohm * (1 + off) },
          },
          about: `fit ${feedOf(name)} ${to.ohm}`,
        },
        expected_s: 120,
      })
    }
    for (const { part } of next) this.hookup(part, { exchange: [part.name] })
    // Hands were in: they are clear again before the next raise above 60 V.
    this.wasHigh = false
    const low = { what: 'soak', least_s: rung_s } as const
    const V = down(plan.rung_V, channel.set_digits_V)
    this.raise(
      'fresh check behind smaller feed resistors',
      V,
      low,
      'a low start, as in every climb',
      false,
      ours,
      all,
    )
    const top = { what: 'top', least_s: Math.min(plan.top_s, again_s) } as const
    const why = `${formatShort(top.least_s, 's')} at least at the last volts behind a smaller feed resistor`
    this.raise('held at the top again', plan.top_V, top, why, false, ours, all)
  }

  private hookup(part: ReformPart, more: Partial<Step> = {}): void {
    const { plan, name, channel } = this.of
    const bleeder_ohm = channel.bleeder_ohm ?? Infinity
    const test_V = Math.min(hookup_V, down(plan.top_V, channel.set_digits_V))
    const all_S = this.parts().reduce((sum, { feed_ohm }) => sum + 1 / feed_ohm, 1 / bleeder_ohm)
    // By what the supply's ammeter may show: a coarse one may show nothing at all of the bleeder alone.
    const error_A = channel.accuracy_A.plus + channel.resolution_A
    const most_A = 1.1 * test_V * all_S + error_A
    const least_A = 0.9 * (test_V / bleeder_ohm) - error_A
    const error_V = channel.accuracy_V.plus
    const coarse = least_A < leastSteps * channel.resolution_A
    this.push(`is ${part.name} there`, {
      do: 'hook-up check',
      ...more,
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
        ohm_low: (test_V - error_V) / most_A,
        ohm_high: coarse ? nothing_ohm : (test_V + error_V) / least_A,
        ...(coarse && { coarse }),
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
        because: `a part the wrong way round is found at volts that do it no harm.${coarse ? ` The ammeter of ${name} is too coarse to see the bleeder at ${formatShort(test_V, 'V')}: it is not proved here. Read it with an ohmmeter across the lead ends first.` : ''}`,
      },
      limits: {},
      expected_s: 15,
    })
  }

  /** Passed over unless a part was given up: the volts go down, it is taken off, and the others begin again from below. */
  private aside(): void {
    this.lower('down: a part was given up', { aside: true })
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

  private raise(
    stage: string,
    V: number,
    reform: ReformStep,
    why: string,
    first: boolean,
    source: string = ours,
    more: Partial<Step> = {},
  ): void {
    const { plan } = this.of
    // The feed resistors bound the current, and the quicker the charge goes in the less leaks meanwhile.
    const slew_V_per_s = this.slew_V_per_s()
    this.push(stage, {
      do: 'raise',
      rail: plan.rail,
      ...more,
      target_V: V,
      slew_V_per_s,
      hold_s: reform.least_s,
      reform,
      limits: { [plan.rail]: this.limits(V, why, source) },
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

  private lower(stage: string, more: Partial<Step> = {}): void {
    const { plan, channel } = this.of
    // Of the first feed resistors, whichever are in: where none was exchanged nothing may be wider than it stood.
    const held = this.limits(plan.top_V, 'held to what it comes from', ours, false)
    this.push(stage, {
      do: 'lower',
      rail: plan.rail,
      target_V: channel.min_V,
      hold_s: 3,
      ...more,
      limits: { [plan.rail]: { ...held, expected_A: 0, lower_A: 0, ask_A: 0 } },
      expected_s: 30 + (more.hold_s ?? 0),
    })
  }

  private nothing(): RailLimits {
    return {
      ...this.limits(this.of.plan.rung_V, 'nothing is fed', ours, false),
      at_V: 0,
      expected_A: 0,
      lower_A: 0,
      ask_A: 0,
    }
  }

  /** What the terminals see is the bleeder, and behind the feed resistors at most a short of every part. */
  private limits(V: number, why: string, holdSource: string = ours, smaller = this.smaller): RailLimits {
    const { channel } = this.of
    const bleeder_A = V / (channel.bleeder_ohm ?? Infinity)
    const shorts_A = this.parts(smaller).reduce((sum, { feed_ohm }) => sum + short_A(V, feed_ohm), 0)
    const error_A = (of: number): number =>
      channel.accuracy_A.of_reading * of +
      channel.accuracy_A.plus +
      2 * channel.resolution_A +
      0.1 * bleeder_A
    const upper_A = bleeder_A + shorts_A + error_A(bleeder_A + shorts_A)
    const lower_A = Math.max(0, bleeder_A - error_A(bleeder_A))
    const trip_A = 1.05 * upper_A + 3 * channel.resolution_A
    // What its own output capacitor takes on the way up is no fault of a part.
    const rise_A = 1.1 * charging_A(channel.output_F, this.slew_V_per_s())
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
        { limit: 'hold', value: 0, unit: 's', text: `hold: ${why}`, source: holdSource },
      ],
      sees: null,
    }
  }

  private push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'limits' | 'expected_s'>): void {
    this.all.push(stepOf(this.all.length + 1, stage, formingMode, step))
  }
}

/** Rounded down to what can be set. */
function down(value: number, digits: number): number {
  let scale = 1
  for (let i = 0; i < digits; i++) scale *= 10
  return Math.floor(value * scale + 1e-6) / scale
}
