import type { Bench } from '../../src/bench/index.js'
import type { ChannelPlan, HookupTest, Plan, RailPlan, Step } from '../../src/plan/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'
import type { Mischief } from './nemesis.js'
import { type Said, Words } from './words.js'

/** The few volts of a proof, and how often it must read as the set should show. */
const proof_V = 5
const readings = 3
const touch_V = 60
/** From "hands clear" to the next rise, s: five, of which a tick or two may be lost on the way. */
const clear_s = 4.9
/** A rise may save up for so long, s. */
const saves_s = 1
/** Heaters or bias that went are noticed within so long, s: a reading may be a second old. */
const seen_s = 2
/** A heater's volts are its own within a tenth; a meter's error more is not seen. */
const band = 0.115
/** What takes heaters away by itself. */
const heaters_go = ['heaters:', 'low:', 'garble to supply', 'mains dip', 'left on', 'supply resets']
/** Who reads HT's terminals is told that it is low while the set holds it. */
const low_is_told = ['HT:lead-off', 'HT:swapped', 'HT:drop-out', 'high:drop-out', 'garble to controller']

type Setting = 'set' | 'limit' | 'level'
/** A setting as it was last said, and whether it was asked for and heard back as it was said. */
interface Told {
  readonly value: number
  readonly t_us: number
  heard: boolean
}
interface Line {
  readonly words: Words
  /** Channels by number. */
  readonly channels: ReadonlyMap<number, Output>
  asked: { readonly of: Output; readonly what: Setting | 'volts' | 'amps' } | null
}
interface Output {
  readonly rail: RailPlan
  readonly plan: ChannelPlan
  readonly told: Record<Setting, Told | null>
  on_us: number | null
  /** Volts last heard since it was switched on, and how often they were right for the proof under way. */
  volts: number | null
  right: number
  /** Proofs that the plan wants of it, and how many of them were had: measured, and then switched off. */
  readonly tests: readonly HookupTest[]
  proofs: number
}

/**
 * Somebody who stands at the bench with an ear on every line, the plan in one hand and a meter in the other. What they hold the
 * program to is what went over the lines, what was asked and said, and how set and supplies truly stand: nothing that it believes.
 */
export class Observer {
  private readonly lines: ReadonlyMap<string, Line>
  private readonly outputs: readonly Output[]
  private step: Step | null = null
  private intended_us = 0
  private asked: { readonly about: string; clear_us: number | null } | null = null
  private ht_off_us: number | null = null
  private heaters_were_on = false
  /** Since when each heater chain truly stands in its band, and when it last had done so for its time. */
  private readonly warms_us = new Map<string, number>()
  private readonly warm_us = new Map<string, number>()
  private readonly bias_us = new Map<string, number>()

  constructor(
    private readonly plan: Plan,
    bench: Bench,
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
    private readonly broke: (invariant: string, t_us: number, text: string) => void,
  ) {
    this.outputs = Object.values(plan.rails).flatMap((rail) =>
      rail.channels.map((channel): Output => {
        const tests = plan.steps.flatMap(({ hookup }) =>
          hookup?.method === 'low volts' && hookup.channel === channel.channel ? [hookup] : [],
        )
        return {
          ...{ rail, plan: channel, told: { set: null, limit: null, level: null }, on_us: null },
          ...{ volts: null, right: 0, tests, proofs: 0 },
        }
      }),
    )
    const line = ([port, { dialect, channels }]: [string, Bench['supplies'][string]]): [string, Line] => [
      port,
      {
        words: new Words(dialect),
        channels: new Map(
          Object.entries(channels).flatMap(([name, { number }]) => {
            const of = this.outputs.find(({ plan: { channel } }) => channel === `${port}.${name}`)
            return of === undefined ? [] : [[number, of] as const]
          }),
        ),
        asked: null,
      },
    ]
    this.lines = new Map(Object.entries(bench.supplies).map(line))
  }

  /** What the record says is to be done next. */
  intends(step: number | null, t_us: number): void {
    this.step = this.plan.steps.find(({ index }) => index === step) ?? null
    this.intended_us = t_us
  }
  asks(about: string): void {
    this.asked = { about, clear_us: null }
  }
  answers(value: unknown, t_us: number): void {
    if (this.asked?.about === 'hands clear' && value !== 'no') this.asked.clear_us ??= t_us
  }

  /** As it leaves the computer, before anything becomes of it. */
  writes(port: string, text: string, t_us: number): void {
    const line = this.lines.get(port)
    if (line === undefined) return
    for (const { number, said } of line.words.read(text, [...line.channels.keys()])) {
      line.asked = null
      const output = line.channels.get(number)
      if (said !== null && output !== undefined) this.said(line, output, said, t_us)
    }
  }

  /** As it comes to the computer. */
  hears(port: string, text: string): void {
    const asked = this.lines.get(port)?.asked
    if (asked == null) return
    const { of, what } = asked
    const value = Number(text)
    if (text.trim() === '' || !Number.isFinite(value)) return
    if (what === 'volts' || what === 'amps') {
      if (of.on_us !== null) measured(of, what, value)
      return
    }
    const told = of.told[what]
    const { resolution_V, resolution_A } = of.plan
    if (told !== null && Math.abs(told.value - value) <= (what === 'limit' ? resolution_A : resolution_V))
      told.heard = true
  }

  private said(line: Line, of: Output, said: NonNullable<Said>, t_us: number): void {
    if ('asks' in said) {
      line.asked = { of, what: said.asks }
      return
    }
    if (said.says === 'off') {
      if (of.rail.role === 'HT') this.ht_off_us ??= t_us
      if (of.on_us !== null && of.right >= readings) of.proofs++
      of.on_us = null
      return
    }
    if (said.says === 'on') {
      this.switched(of, t_us)
      return
    }
    const before = of.told[said.says]
    const least = said.says === 'limit' ? of.plan.min_A : said.says === 'set' ? of.plan.min_V : 0
    if (said.value > least && before?.value === said.value && before.t_us >= this.intended_us)
      this.wrong('only questions, OFF and zero are said twice', t_us, of, `${said.says} ${said.value}`)
    if (said.says === 'set' && said.value > Math.max(least, before?.value ?? 0))
      this.raised(of, said.value, before, t_us)
    of.told[said.says] = { value: said.value, t_us, heard: false }
  }

  private switched(of: Output, t_us: number): void {
    if (of.on_us !== null)
      this.wrong('only questions, OFF and zero are said twice', t_us, of, 'ON, with no OFF between')
    this.limited('limits are read back before an output goes on', of, t_us)
    if (of.rail.role === 'HT') {
      this.ht_off_us = null
      if (topOf(this.step) > proof_V) this.standsBefore(of, 'ON', t_us)
    }
    of.on_us = t_us
    of.volts = null
    of.right = 0
  }

  /** Current limit and over-voltage level were said for this segment, and heard back as they were said. */
  private limited(invariant: string, of: Output, t_us: number): void {
    for (const which of ['limit', 'level'] as const) {
      if (which === 'level' && !of.plan.over_voltage) continue
      const told = of.told[which]
      if (told === null || told.t_us < this.intended_us)
        this.wrong(invariant, t_us, of, `its ${which} was not set for this segment`)
      else if (!told.heard) this.wrong(invariant, t_us, of, `its ${which} was not read back`)
    }
  }

  private raised(of: Output, value: number, before: Told | null, t_us: number): void {
    const { step } = this
    const V = value / of.plan.share
    const was_V = (before?.value ?? 0) / of.plan.share
    const text = `${was_V} V to ${V} V`
    // That nothing rises before its intent is in the record is asked of the program itself (invariants.ts).
    if (step === null) return
    const digit_V = of.plan.resolution_V
    const top_V = topOf(step)
    if (V > top_V + digit_V) this.wrong('no set-point above its own step', t_us, of, `${text}, of ${top_V} V`)
    this.limited('limits are read back before each segment', of, t_us)
    this.notWider(of, step, t_us)
    // The few volts of a proof are set at once, with the output off.
    if (step.hookup === null) {
      const since_s = (t_us - (before?.t_us ?? 0)) / 1e6
      const saved_s = this.touched('clock jumps') ? saves_s : Math.min(saves_s, since_s)
      if (V - was_V > step.slew_V_per_s * saved_s + digit_V)
        this.wrong('nothing rises faster than its slew', t_us, of, `${text} in ${since_s.toFixed(3)} s`)
    }
    if (of.rail.role === 'HT' && top_V > proof_V) this.standsBefore(of, text, t_us)
    if (V <= proof_V + digit_V) return
    for (const each of this.outputs)
      if (each.proofs < each.tests.length)
        this.wrong(
          'every hook-up is proved before anything goes above 5 V',
          t_us,
          each,
          `${of.plan.channel} ${text}`,
        )
    const { asked } = this
    const clear_s_ago = asked?.clear_us == null ? 0 : (t_us - asked.clear_us) / 1e6
    if (V > touch_V && clear_s_ago < clear_s && !(clear_s_ago > 0 && this.touched('clock jumps')))
      this.wrong(
        'nothing rises above 60 V before hands are clear',
        t_us,
        of,
        `${text}; last asked about ${asked?.about ?? 'nothing'}, clear for ${clear_s_ago.toFixed(1)} s`,
      )
  }

  /** A supply's own limits bound what happens when all else has failed: those of the step, and no wider. */
  private notWider(of: Output, step: Step, t_us: number): void {
    const limits = step.limits[of.rail.name]
    const limit_A = Math.max(of.plan.min_A, step.hookup?.limit_A ?? limits?.supply_limit_A ?? 0)
    const told_A = of.told.limit?.value ?? 0
    if (told_A > limit_A + of.plan.resolution_A)
      this.wrong('limits are no wider than the step’s', t_us, of, `${told_A} A, of ${limit_A} A`)
    if (step.hookup !== null || limits === undefined) return
    const level_V = limits.over_voltage_V * of.plan.share
    const told_V = of.told.level?.value ?? 0
    if (told_V > level_V + of.plan.resolution_V)
      this.wrong('limits are no wider than the step’s', t_us, of, `level ${told_V} V, of ${level_V} V`)
  }

  /** HT goes up over heaters that truly had their time, and over bias that truly stands. */
  private standsBefore(of: Output, text: string, t_us: number): void {
    for (const { chain } of this.plan.heaters) {
      const gone_s = (t_us - (this.warm_us.get(chain) ?? 0)) / 1e6
      if (gone_s > seen_s)
        this.wrong(
          'no HT before the heaters are warm',
          t_us,
          of,
          `${text}; ${chain} not for ${gone_s.toFixed(1)} s`,
        )
    }
    for (const { name, bias } of Object.values(this.plan.rails)) {
      if (bias === null) continue
      const gone_s = (t_us - (this.bias_us.get(name) ?? 0)) / 1e6
      if (gone_s > seen_s)
        this.wrong('no HT without its bias', t_us, of, `${text}; not for ${gone_s.toFixed(1)} s`)
    }
  }

  /** How everything truly stands now. */
  atTick(t_us: number, ht_V: number): void {
    const truth = this.world.truth()
    const { rails, outputs } = truth
    for (const { chain, rail, volts: full_V, warm_up_s } of this.plan.heaters) {
      const { volts = 0, amps = 0 } = rails[rail] ?? {}
      const draws_A = 0.5 * (this.step?.limits[rail]?.expected_A ?? 0)
      const stands = Math.abs(Math.abs(volts) - full_V) <= band * full_V && Math.abs(amps) > draws_A
      const since_us = stands ? Math.min(t_us, this.warms_us.get(chain) ?? t_us) : Infinity
      this.warms_us.set(chain, since_us)
      if (t_us - since_us >= (warm_up_s - 0.2) * 1e6) this.warm_us.set(chain, t_us)
    }
    for (const { name, bias } of Object.values(this.plan.rails))
      if (bias !== null && bias.sign * (truth.volts[bias.node] ?? 0) >= 0.98 * bias.at_least_V)
        this.bias_us.set(name, t_us)
    const heaters_on = this.outputs.some(
      ({ rail, plan }) => rail.role === 'heater' && outputs[plan.channel] === true,
    )
    const waited_s = this.ht_off_us === null ? 0 : (t_us - this.ht_off_us) / 1e6
    if (
      this.heaters_were_on &&
      !heaters_on &&
      ht_V > touch_V &&
      waited_s < this.plan.off.heaters_off_after_s - 0.2 &&
      !this.touched(...heaters_go, ...low_is_told)
    )
      this.broke(
        'heaters stay until HT is low, or 30 s',
        t_us,
        `HT stands at ${ht_V.toFixed(0)} V, ${waited_s.toFixed(1)} s after its OFF`,
      )
    this.heaters_were_on = heaters_on
  }

  private wrong(invariant: string, t_us: number, { plan }: Output, text: string): void {
    this.broke(invariant, t_us, `${plan.channel}: ${text}`)
  }
  private touched(...kinds: readonly string[]): boolean {
    return [...this.nemesis.injected.keys()].some((kind) => kinds.some((each) => kind.startsWith(each)))
  }
}

const topOf = (step: Step | null): number => step?.hookup?.test_V ?? step?.target_V ?? 0

/** Volts over amps where the set as it is described shows them; a meter too coarse for that at least shows the volts. */
function measured(of: Output, what: 'volts' | 'amps', value: number): void {
  const test = of.tests[of.proofs]
  if (what === 'volts') of.volts = value
  else if (test !== undefined && of.volts !== null) {
    const ohm = of.volts / value
    const right =
      test.coarse === true ? of.volts >= 0.8 * test.test_V : ohm >= test.ohm_low && ohm <= test.ohm_high
    if (right) of.right++
  }
}
