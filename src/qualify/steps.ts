import type { Channel, Dialect } from '../bench/index.js'
import { type Ask, type Proof, type RailLimits, type Reason, type Step, stepOf } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { type Beside, besideLimits } from './beside.js'
import { levelsOf, limitOf, limitsAt, ohmOf, pathOf, setDown } from './limits.js'
import { loadMode, loadNode, loadRail } from './setup.js'
import type { Order } from './types.js'

/* What a qualification does, in order: read-back, jumps and falls, current limit, protections, dead-man. */

const ours = "slowglow's own choice, no published source"
/** Every jump and every OFF is measured this often: its phase against the poll differs each time. */
const repeats = 3
const plateau_s = 8
const pause_s = 3
/** Protections and dead-man are provoked where the terminals may be touched. IEC/EN 61010-1 6.3.1: 60 V DC. */
const provoke_V = 50
/** A fall is waited for as long as ten time constants, and no shorter than this. */
const offWithin_s = 10

/** Steps one after another, each with its limits. */
export class Steps {
  readonly all: Step[] = []
  readonly unproved: string[] = []
  private at_V = 0
  /** Somebody may have been at the bench since hands were last clear. */
  private handsIn = true
  /** Outputs beside the one under test that are on. */
  private standing: Readonly<Record<string, RailLimits>> = {}

  constructor(
    private readonly order: Order,
    private readonly channel: Channel,
    private readonly beside: readonly Beside[] = [],
  ) {}

  build(dialect: Dialect): void {
    const { order, channel } = this
    const levels = levelsOf(order, channel)
    const low_V = levels[0] ?? 0
    const middle_V = levels[1] ?? 0
    const top_V = levels[2] ?? 0
    this.hookup()
    for (const [at, V] of levels.entries()) {
      this.raise(`read-back at ${formatShort(V, 'V')}`, V, { slew_V_per_s: this.gentle(), hold_s: plateau_s })
      if (order.meter !== null) this.readMeter(V, at)
    }
    for (let at = 1; at <= repeats; at++) {
      this.lower(`down with the output on, ${at} of ${repeats}`, low_V)
      this.jump(`jump, ${at} of ${repeats}`, top_V)
      this.prove(`OFF and its fall, ${at} of ${repeats}`, {
        of: 'off',
        within_s: offWithin_s + this.fall_s(),
        because: 'how long it drives on after our OFF is what a trip lets through.',
      })
      if (at < repeats) this.jump(`on again, ${at} of ${repeats}`, top_V)
    }
    this.raise('before its current limit', middle_V, { slew_V_per_s: this.gentle(), hold_s: pause_s })
    this.proveLimit(middle_V, dialect)
    const provoked_V = setDown(Math.min(provoke_V, middle_V), channel.set_digits_V)
    if (provoked_V < middle_V) this.lower('down to volts that may be touched', provoked_V)
    this.proveProtections(provoked_V, dialect)
  }

  private proveLimit(V: number, dialect: Dialect): void {
    if (this.skipped('current limit')) return
    const { order, channel } = this
    const limit_A = setDown((0.5 * V) / ohmOf(order, channel), channel.set_digits_A)
    if (limit_A < channel.min_A || limit_A <= 0) {
      this.unproved.push(`current limit: half of what the load draws is below its lowest limit`)
      return
    }
    this.prove('held at its current limit', {
      of: 'current limit',
      limit_A,
      ...(dialect.set_over_amps !== null && {
        level: Math.min(1.2 * channel.max_A, setDown(1.2 * limitOf(order, channel, V), channel.set_digits_A)),
      }),
      within_s: 3,
      hold_s: 6,
      because: 'what it says of itself at its limit is believed by every run.',
    })
  }

  private proveProtections(V: number, dialect: Dialect): void {
    const { channel, order } = this
    const amps = V / ohmOf(order, channel)
    const up = (stage: string): void => {
      this.raise(stage, V, { slew_V_per_s: Math.max(this.gentle(), V), hold_s: pause_s })
    }
    if (!channel.over_voltage) this.unproved.push('over-voltage: the bench file states none')
    else if (!this.skipped('over-voltage')) {
      this.prove('over-voltage protection', {
        of: 'over-voltage',
        level: setDown(0.7 * V, channel.set_digits_V),
        within_s: 5,
        because: 'it is what bounds the volts when everything else has failed.',
      })
      this.clear('over-voltage', V, dialect.remote)
      up('on again')
    }
    if (dialect.set_over_amps === null)
      this.unproved.push('over-current: the dialect has no words for a level')
    else if (!this.skipped('over-current')) {
      this.prove('over-current protection', {
        of: 'over-current',
        level: setDown(0.6 * amps, channel.set_digits_A),
        within_s: 5,
        because: 'it is what ends a short when everything else has failed.',
      })
      this.clear('over-current', V, dialect.remote)
      up('on again')
    }
    const { dead_man } = dialect
    if (dead_man === null) this.unproved.push('dead-man: the dialect has no words for one')
    else if (!this.skipped('dead-man')) {
      for (const each of this.beside) this.raiseBeside(each)
      this.prove('dead-man', {
        of: 'dead-man',
        within_s: 1.5 * dead_man.after_s + 1,
        because:
          'it is what switches off when computer and program are gone; bias hangs on which outputs it takes.',
        ...(this.beside.length > 0 && {
          others: this.beside.map(({ channel, rail, stated }) => ({ channel, rail, stated })),
        }),
      })
    }
  }

  /** Last of all, so that nothing else is proved beside an output that is on. */
  private raiseBeside(each: Beside): void {
    const limits = { ...this.limits(this.at_V, false), [each.rail]: besideLimits(each, true) }
    this.push(`${each.channel} beside it`, {
      do: 'raise',
      rail: each.rail,
      target_V: each.V,
      slew_V_per_s: 20 * each.V,
      hold_s: pause_s,
      limits,
      expected_s: pause_s + 5,
    })
    this.standing = { ...this.standing, [each.rail]: besideLimits(each, false) }
  }

  private skipped(what: Order['skip'][number]): boolean {
    const is = this.order.skip.includes(what)
    if (is) this.unproved.push(`${what}: left out, as you asked`)
    return is
  }

  /** Ten seconds to the top. */
  private gentle(): number {
    return Math.max(this.order.top_V / 10, 0.1)
  }

  private fall_s(): number {
    const { ohm, F } = pathOf(this.order, this.channel)
    return 10 * ohm * F
  }

  private hookup(): void {
    const { order, channel } = this
    const ohm = ohmOf(order, channel)
    const test_V = setDown(Math.min(5, order.top_V), channel.set_digits_V)
    const amps = test_V / ohm
    const error = 0.1 + order.load.tolerance + (channel.accuracy_A.plus + channel.resolution_A) / amps
    this.push('is the load there', {
      do: 'hook-up check',
      rail: loadRail,
      target_V: test_V,
      hookup: {
        rail: loadRail,
        channel: order.channel,
        method: 'low volts',
        test_V,
        limit_A: Math.min(channel.max_A, Math.max(1.5 * amps + 3 * channel.resolution_A, channel.min_A)),
        ohm_low: (ohm * (1 - channel.accuracy_V.plus / test_V)) / (1 + error),
        ohm_high: ohm * (1 + channel.accuracy_V.plus / test_V) * (1 + error),
        usual_ohm: ohm,
        may_limit: false,
        polarity: null,
        because: 'a load of other ohms makes every figure wrong.',
      },
      limits: {},
      expected_s: 15,
    })
  }

  private raise(
    stage: string,
    V: number,
    how: { readonly slew_V_per_s: number; readonly hold_s: number },
  ): void {
    const from_V = this.at_V
    const hands_clear = V > 60 && this.handsIn
    this.at_V = V
    if (V > 60) this.handsIn = false
    this.push(stage, {
      do: 'raise',
      rail: loadRail,
      target_V: V,
      ...how,
      limits: this.limits(V, true),
      hands_clear,
      expected_s: Math.max(0, V - from_V) / how.slew_V_per_s + how.hold_s + 3,
    })
  }

  /** As fast as the supply itself goes. */
  private jump(stage: string, V: number): void {
    this.raise(stage, V, { slew_V_per_s: 20 * V, hold_s: pause_s })
  }

  private lower(stage: string, V: number): void {
    // Judged for where it comes to; until it is down it is held to what it comes from.
    const held = limitsAt(this.order, this.channel, this.at_V, false)
    const { trip_A, ceiling_A, supply_limit_A, over_voltage_V } = held
    const below = limitsAt(this.order, this.channel, V, false)
    const limits = { [loadRail]: { ...below, trip_A, ceiling_A, supply_limit_A, over_voltage_V } }
    this.at_V = V
    this.push(stage, { do: 'lower', rail: loadRail, target_V: V, hold_s: pause_s, limits, expected_s: 8 })
  }

  private readMeter(V: number, at: number): void {
    const around_V = 0.1 * V + 0.5
    const ask: Ask = {
      text: `Read your meter, without touching it or the load: what does it show? (The supply was told ${formatShort(V, 'V')}.)`,
      wants: {
        kind: 'reading',
        node: loadNode,
        rail: null,
        unit: 'V',
        low: V - around_V,
        high: V + around_V,
      },
      timeout_s: 600,
      inside: false,
      about: `meter ${at + 1}`,
    }
    this.handsIn = true
    this.push(`your meter at ${formatShort(V, 'V')}`, {
      do: 'ask',
      ask,
      limits: this.limits(V, false),
      expected_s: 20,
    })
  }

  private clear(what: string, V: number, remote: string | null): void {
    const ask: Ask = {
      text: `The ${what} protection fired, as it was meant to, and it is latched. Its output was switched off and its set-point taken down, since clearing may bring back what stood before. Clear it at the front panel of the supply (slowglow never clears one); the output must stay off. Is it cleared?`,
      wants: { kind: 'confirm' },
      timeout_s: 600,
      inside: false,
      about: `clear ${this.order.channel}`,
      ...(remote !== null && { takes_panel: this.order.channel }),
    }
    this.handsIn = true
    this.push(`clear the ${what} latch`, { do: 'ask', ask, limits: this.limits(V, false), expected_s: 30 })
  }

  private prove(
    stage: string,
    what: Pick<Proof, 'of' | 'within_s' | 'because' | 'others'> & {
      readonly limit_A?: number
      readonly level?: number
      readonly hold_s?: number
    },
  ): void {
    const V = this.at_V
    this.push(stage, {
      do: 'prove',
      rail: loadRail,
      target_V: V,
      hold_s: what.hold_s ?? 0,
      limits: this.limits(V, true),
      proof: {
        of: what.of,
        channel: this.order.channel,
        limit_A: what.limit_A ?? null,
        level: what.level ?? null,
        within_s: what.within_s,
        because: what.because,
        ...(what.others !== undefined && { others: what.others }),
      },
      expected_s: what.of === 'off' ? 3 : (what.hold_s ?? 0) + what.within_s + 5,
    })
    if (what.of !== 'current limit') this.at_V = 0
  }

  private limits(V: number, rising: boolean): Readonly<Record<string, RailLimits>> {
    return { [loadRail]: limitsAt(this.order, this.channel, V, rising), ...this.standing }
  }

  private push(stage: string, step: Partial<Step> & Pick<Step, 'do' | 'limits' | 'expected_s'>): void {
    const because: readonly Reason[] = [
      {
        limit: 'slew',
        value: step.slew_V_per_s ?? 0,
        unit: 'V/s',
        text: 'slew: as far as this step needs',
        source: ours,
      },
    ]
    const limits = Object.fromEntries(
      Object.entries(step.limits).map(([rail, own]) => [
        rail,
        { ...own, because: [...own.because, ...because] },
      ]),
    )
    this.all.push(stepOf(this.all.length + 1, stage, loadMode, { ...step, limits }))
  }
}
