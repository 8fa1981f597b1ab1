import {
  type OffAct,
  offBegin,
  type OffInput,
  type OffStart,
  type OffState,
  offStep,
} from '../../src/off/index.js'
import type { OffPlan } from '../../src/plan/index.js'

type Untimed<I> = I extends OffInput ? Omit<I, 't_us'> : never

/** Feeds the engine of going off by hand: a world in which each channel reads what the test says, once every tenth of a second. */
export class Bench {
  t_us = 0
  readonly acts: (OffAct & { t_s: number })[] = []
  readonly on: Record<string, boolean> = {}
  readonly volts: Record<string, number> = {}
  /** What stays at the terminals while the output is off; nothing without it. */
  readonly stays: Record<string, (t_s: number) => number> = {}
  /** The current of a channel, A, whatever its output says; else 0.1 where it is on. */
  readonly flows: Record<string, number> = {}
  readonly meters: Record<string, number> = {}
  readonly ignoresOff = new Set<string>()
  /** Neither hears nor is heard: its line is unplugged. */
  readonly away = new Set<string>()
  state: OffState

  constructor(
    readonly plan: OffPlan,
    start: Partial<OffStart> = {},
  ) {
    for (const { channel } of plan.channels) this.on[channel] = true
    this.t_us = start.t_us ?? 0
    const { state, acts } = offBegin(plan, {
      t_us: 0,
      how: 'urgent',
      ht_was_up: true,
      live: 'yes',
      outputs: Object.fromEntries(plan.channels.map(({ channel }) => [channel, 'on'])),
      volts: {},
      knobs: {},
      asks: false,
      calls_hands: true,
      look_first: false,
      ...start,
    })
    this.state = state
    this.take(acts)
  }

  private take(acts: readonly OffAct[]): void {
    for (const act of acts) {
      this.acts.push({ ...act, t_s: this.t_us / 1e6 })
      const channels = act.do === 'urgent off' ? act.channels : act.do === 'off' ? [act.channel] : []
      for (const channel of channels)
        if (!this.ignoresOff.has(channel) && !this.away.has(channel)) this.on[channel] = false
    }
  }

  feed(input: Untimed<OffInput>): void {
    const turn = offStep(this.plan, this.state, { ...input, t_us: this.t_us })
    this.state = turn.state
    this.take(turn.acts)
  }

  pass(seconds: number): this {
    const end_us = this.t_us + seconds * 1e6
    while (this.t_us < end_us && this.result === null) {
      this.t_us += 100_000
      for (const { channel } of this.plan.channels) {
        if (this.away.has(channel)) continue
        const on = this.on[channel] === true
        this.feed({ kind: 'output', channel, on })
        const value = on ? (this.volts[channel] ?? 100) : (this.stays[channel]?.(this.t_us / 1e6) ?? 0)
        this.feed({ kind: 'reading', channel, quantity: 'V', value })
        this.feed({ kind: 'reading', channel, quantity: 'A', value: this.flows[channel] ?? (on ? 0.1 : 0) })
      }
      for (const [meter, value] of Object.entries(this.meters)) this.feed({ kind: 'meter', meter, value })
      this.feed({ kind: 'tick' })
    }
    return this
  }

  /** Its output stays on, whatever it is told, with these volts. */
  ignores(channel: string, value_V: number): this {
    this.ignoresOff.add(channel)
    this.on[channel] = true
    this.volts[channel] = value_V
    return this
  }

  get result() {
    return this.state.result
  }
  get confirmed() {
    return this.state.confirmed
  }
  alarms(): string[] {
    return this.acts.flatMap((act) => (act.do === 'alarm' ? [act.text] : []))
  }
  records(): string[] {
    return this.acts.flatMap((act) => (act.do === 'record' ? [act.text] : []))
  }
  /** When OFF was first said to a channel, and how. */
  off(channel: string): { t_s: number; how: string } | undefined {
    const act = this.acts.find(
      (one) =>
        (one.do === 'off' && one.channel === channel) ||
        (one.do === 'urgent off' && one.channels.includes(channel)),
    )
    return act && { t_s: act.t_s, how: act.do }
  }
}
