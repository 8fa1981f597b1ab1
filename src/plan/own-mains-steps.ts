import { ownMainsRail } from '../equipment/index.js'
import { type LimitProblem, show } from '../limits/index.js'
import { lowFilament_s } from './filaments.js'
import { promptTimeout_s, stepOf } from './head.js'
import type { OwnContext } from './own-mains-context.js'
import { type OwnPoint, starved } from './own-mains-expect.js'
import type { Ask, HookupTest, RailLimits, Reason, Step, TimeLimit } from './types.js'

/*
 * The set's own transformer and rectifier, step by step. The person turns a variable transformer and types what its meters show;
 * each reading has its window, computed for the volts that stand there, and what lies outside it ends the run.
 */

const practice = 'common practice, no source'
const partsSource = 'steps of 20 % (one published comment, second-hand)'

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
    this.steps.push(
      stepOf(this.steps.length + 1, stage, this.of.mode, {
        limits: this.limits === null ? {} : { [ownMainsRail]: this.limits },
        ...(low && { filaments_low: true, time_limits: [this.lowTime()] }),
        ...step,
      }),
    )
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
    const timeout_s = promptTimeout_s(this.of.profile, ask.timeout_s)
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

export interface Amps {
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
export const unplugged = 'The variable transformer at zero, switched off, its own plug pulled'
export const senses =
  'Without touching: hum no louder than before, no smell of wax, tar or varnish, no smoke, no crackle? From where you stand, one hand in your pocket.'
