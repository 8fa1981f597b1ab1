import type { Decimal } from '../../src/exchange/index.js'
import type { Plan } from '../../src/plan/index.js'
import type { Command, Ending, Event, EventBody, State } from '../../src/sequencer/index.js'
import { begin, step } from '../../src/sequencer/index.js'
import { load_ohm } from './small-plan.js'

/**
 * The simplest world a sequencer can live in: perfect supplies into resistors, answered at once, a meter on the grid, a
 * willing operator. Knobs are public and named for what they imitate. Every step's input is frozen, so that a sequencer
 * that touched its input would throw here.
 */
export class Rig {
  state: State
  t_us = 0
  period_us = 50_000
  readonly commands: (Command & { t_us: number })[] = []
  readonly set: Record<string, number> = {}
  readonly on: Record<string, boolean> = {}
  readonly volts: Record<string, number> = {}
  readonly ohm: Record<string, number> = { ...load_ohm }
  /** Volts the grid meter shows per volt of bias. */
  grid = -1
  /** Channels whose supply does not obey OFF. */
  ignoresOff = new Set<string>()
  /** Rails whose readings no longer come. */
  silent = new Set<string>()
  /** Extra amperes on a rail. */
  extra_A: Record<string, number> = {}
  /** Volts a rail stands away from its set-point. */
  sag_V: Record<string, number> = {}
  answers = true
  /** Questions nobody answers, by what they are about. */
  unanswered: RegExp | null = null
  /** What is typed in place of the middle of the window, by what the question is about. */
  types: Record<string, number> = {}
  keepsRecord = true
  polarityOf: Record<string, number> = { 'lt.1': 3, 'bias.1': -3, 'ht.1': 3 }
  ending: Ending | null = null
  lastLimit: Record<string, number> = {}

  constructor(readonly plan: Plan) {
    this.state = begin(plan)
    for (const rail of Object.values(plan.rails))
      for (const part of rail.channels) {
        this.set[part.channel] = 0
        this.on[part.channel] = false
        this.volts[part.channel] = 0
      }
  }

  feed(body: EventBody): Command[] {
    const event: Event = { ...body, t_us: this.t_us }
    freeze(this.state)
    const { state, commands } = step(this.state, event)
    this.state = state
    for (const command of commands) {
      this.commands.push({ ...command, t_us: this.t_us })
      this.obey(command)
    }
    return [...commands]
  }

  private readonly queue: EventBody[] = []

  private obey(command: Command): void {
    switch (command.kind) {
      case 'line': {
        const { channel, id } = command
        if (command.do === 'set') this.set[channel] = command.volts
        if (command.do === 'on') this.on[channel] = true
        if (command.do === 'zero') this.set[channel] = 0
        if (command.do === 'limits') this.lastLimit[channel] = command.limit_A
        if (command.do === 'off') {
          if (this.ignoresOff.has(channel)) return
          this.on[channel] = false
          this.queue.push({ kind: 'output', channel, on: false })
        }
        this.queue.push({ kind: 'done', id })
        return
      }
      case 'urgent off':
        for (const channel of command.channels) {
          if (this.ignoresOff.has(channel)) continue
          this.on[channel] = false
          this.queue.push({ kind: 'output', channel, on: false })
        }
        return
      case 'record':
        if (command.entry.intent !== null && this.keepsRecord)
          this.queue.push({ kind: 'recorded', intent: command.entry.intent })
        return
      case 'prompt': {
        const { about } = command.ask
        if (!this.answers || this.unanswered?.test(about)) return
        const wants = command.ask.wants
        const test = this.plan.steps[this.state.step]?.hookup
        const value =
          wants.kind === 'confirm'
            ? 'yes'
            : test && wants.unit === 'V'
              ? (this.polarityOf[test.channel] ?? 0)
              : (this.types[about] ?? (wants.low + wants.high) / 2)
        this.queue.push({ kind: 'answer', prompt: command.prompt, value, by: 'rehearsal' })
        return
      }
      case 'end':
        this.ending = command.ending
        return
      default:
        return
    }
  }

  /** Where a bleeder brings these volts in one period. */
  private fallen(volts: number): number {
    let left = volts
    for (let t_us = 0; t_us < this.period_us; t_us += 50_000) left = left * 0.97 - 0.02
    return left
  }

  /** One period, a twentieth of a second unless a test makes it longer: answers come, the world moves, every rail is read, the tick comes. */
  tick(late_us = 0, slept_us = 0): void {
    this.t_us += this.period_us
    for (const body of this.queue.splice(0)) this.feed(body)
    for (const rail of Object.values(this.plan.rails))
      for (const part of rail.channels) {
        const c = part.channel
        const target = this.on[c] ? (this.set[c] ?? 0) + (this.sag_V[rail.name] ?? 0) : 0
        this.volts[c] =
          target < (this.volts[c] ?? 0) ? Math.max(target, this.fallen(this.volts[c] ?? 0)) : target
        if (this.silent.has(rail.name)) continue
        const amps = this.on[c]
          ? (this.volts[c] ?? 0) / (this.ohm[rail.name] ?? 1e9) + (this.extra_A[rail.name] ?? 0)
          : 0
        this.feed({ kind: 'reading', channel: c, quantity: 'V', value: decimal(this.volts[c] ?? 0, 1) })
        this.feed({ kind: 'reading', channel: c, quantity: 'A', value: decimal(amps, 5) })
      }
    if (!this.silent.has('grid meter'))
      this.feed({
        kind: 'meter',
        meter: 'grid meter',
        value: decimal(this.grid * (this.volts['bias.1'] ?? 0), 1),
      })
    this.feed({ kind: 'tick', late_us, slept_us })
  }

  /** The person's answer to the open question. */
  answer(value: number | 'yes' | 'no'): void {
    this.feed({ kind: 'answer', prompt: this.state.prompt?.id ?? 0, value, by: 'rehearsal' })
  }

  /** What the questions so far were about, in order. */
  asked(): string[] {
    return this.commands.flatMap((command) => (command.kind === 'prompt' ? [command.ask.about] : []))
  }

  start(channel: 'rehearsal' | 'terminal' = 'rehearsal', hooked_up_as_in: string | null = null): this {
    for (const c of Object.keys(this.on)) this.feed({ kind: 'output', channel: c, on: false })
    this.tick()
    this.feed({ kind: 'begin', word: 'kettle', channel, hooked_up_as_in })
    return this
  }

  /** Ticks until the condition holds; fails loudly when it never does. */
  until(what: string, condition: () => boolean, atMost_s = 1500): this {
    const end_us = this.t_us + atMost_s * 1e6
    while (!condition()) {
      if (this.t_us > end_us || (this.ending !== null && what !== 'the end')) {
        throw new Error(
          `never came: ${what}; phase ${this.state.phase}, step ${this.state.step}, part ${this.state.part}, ending ${JSON.stringify(this.ending)}`,
        )
      }
      this.tick()
    }
    return this
  }

  toTheEnd(atMost_s = 2500): Ending {
    this.until('the end', () => this.ending !== null, atMost_s)
    return this.ending!
  }

  /** HT standing at 250 V in the last hold. */
  toFullHT(): this {
    return this.until('full HT', () => this.state.step === 7 && this.state.part === 'hold')
  }
}

const decimal = (value: number, k: number): Decimal => ({ n: Math.round(value * 10 ** k), k })

function freeze(value: unknown): void {
  if (typeof value !== 'object' || value === null || Object.isFrozen(value)) return
  Object.freeze(value)
  for (const part of Object.values(value)) freeze(part)
}
