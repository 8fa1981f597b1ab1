import { type Decimal, decimalValue, type LineFailure } from '../../src/exchange/index.js'
import type { Plan } from '../../src/plan/index.js'
import type { Command, Ending, Event, EventBody, State } from '../../src/sequencer/index.js'
import { begin, endsTheRun, step } from '../../src/sequencer/index.js'
import { layDown } from './decisions.js'
import { load_ohm } from './small-plan.js'

/**
 * The simplest world a sequencer can live in: ordinary supplies (a zero error, a last digit that flickers, settings that
 * conflict) into resistors, answered at once, a meter on the grid, a willing operator. Knobs are public and named for what they imitate. Every step's input is frozen, so that a sequencer
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
  /** Its dead-man gives no answer when it is to be put to rest. */
  refusesDisarm = false
  /** Rails whose readings no longer come. */
  silent = new Set<string>()
  /** Extra amperes on a rail. */
  extra_A: Record<string, number> = {}
  /** Volts a rail stands away from its set-point. */
  sag_V: Record<string, number> = {}
  /** Volts and amps at a channel's terminals that its output has no part in: a charge, another source, a relay that sticks. */
  foreign: Record<string, { V: number; A: number }> = {}
  /** Zero error of every read-back, inside what the plan states. */
  zero = { V: 0.1, A: 0.0001 }
  /** Over-voltage level in force by channel. */
  readonly over_V: Record<string, number> = {}
  /** What every meter on a line shows, by name; null: nothing comes. */
  meters: Record<string, number | null> = {}
  /** Ticks until a channel's ON is confirmed; its rail says nothing meanwhile, as on a slow line. */
  on_ticks: Record<string, number> = {}
  /** What the next request but an OFF comes to in place of "done"; `unknown` was obeyed all the same. Null: nothing fails. */
  failsNext: { readonly code: LineFailure; readonly outcome: 'not done' | 'unknown' } | null = null
  private going_on: { channel: string; id: number; left: number }[] = []
  answers = true
  /** Questions nobody answers, by what they are about. */
  unanswered: RegExp | null = null
  /** What is typed in place of the middle of the window, by what the question is about. */
  types: Record<string, number> = {}
  keepsRecord = true
  /** Told of every command, with the state that gave it. */
  overhears: ((command: Command, state: State) => void) | null = null
  polarityOf: Record<string, number> = { 'lt.1': 3, 'bias.1': -3, 'ht.1': 3 }
  ending: Ending | null = null
  lastLimit: Record<string, number> = {}

  private readonly laidDown: ((event: Event) => void) | null

  constructor(readonly plan: Plan) {
    this.state = begin(plan)
    this.laidDown = layDown(plan)
    for (const rail of Object.values(plan.rails))
      for (const part of rail.channels) {
        this.set[part.channel] = 0
        this.on[part.channel] = false
        this.volts[part.channel] = 0
      }
  }

  feed(body: EventBody): Command[] {
    const event: Event = { ...body, t_us: this.t_us }
    this.laidDown?.(event)
    freeze(this.state)
    const { state, commands } = step(this.state, event)
    this.firstLookHolds(event, commands)
    this.state = state
    for (const command of commands) {
      this.overhears?.(command, state)
      this.commands.push({ ...command, t_us: this.t_us })
      this.obey(command)
    }
    return [...commands]
  }

  /** Readings that the first look alone would have sent OFF for. */
  first_looks = 0

  /** Whatever the first look says of a reading, the judgement of the same reading must say, too. */
  private firstLookHolds(event: Event, commands: readonly Command[]): void {
    if (event.kind !== 'reading' || event.quantity !== 'A') return
    if (!endsTheRun(this.state, event.channel, decimalValue(event.value))) return
    this.first_looks += 1
    const off = commands.find(({ kind }) => kind === 'urgent off')
    if (off?.kind !== 'urgent off' || off.channels.join() !== this.state.off_first.join())
      throw new Error(`OFF went out at first look for ${event.channel}, and the run does not go off by it.`)
  }

  private readonly queue: EventBody[] = []

  private obey(command: Command): void {
    switch (command.kind) {
      case 'line': {
        const { channel, id } = command
        if (this.conflicts(command)) {
          this.queue.push({
            kind: 'failed',
            id,
            code: 'refused',
            text: '-221,"Settings conflict"',
            outcome: 'not done',
          })
          return
        }
        if (command.do === 'disarm' && this.refusesDisarm) return
        const fails = command.do === 'off' ? null : this.failsNext
        if (fails !== null) {
          this.failsNext = null
          this.queue.push({ kind: 'failed', id, ...fails, text: 'it failed, as the test has it' })
          if (fails.outcome === 'not done') return
        }
        if (command.do === 'set') this.set[channel] = command.volts
        if (command.do === 'on') this.on[channel] = true
        if (command.do === 'zero') this.set[channel] = 0
        if (command.do === 'limits') {
          this.lastLimit[channel] = command.limit_A
          if (command.over_voltage_V !== null) this.over_V[channel] = command.over_voltage_V
        }
        if (command.do === 'off') {
          if (this.ignoresOff.has(channel)) return
          this.on[channel] = false
          this.queue.push({ kind: 'output', channel, on: false })
        }
        const slow = command.do === 'on' ? (this.on_ticks[channel] ?? 0) : 0
        if (fails !== null) return
        if (slow > 0) this.going_on.push({ channel, id, left: slow })
        else this.queue.push({ kind: 'done', id })
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

  /** As most supplies: no set-point above the over-voltage level, no level below the set-point. */
  private conflicts(command: Extract<Command, { kind: 'line' }>): boolean {
    const { channel } = command
    if (command.do === 'set') return command.volts > (this.over_V[channel] ?? Infinity)
    if (command.do === 'limits') return (command.over_voltage_V ?? Infinity) < (this.set[channel] ?? 0)
    return false
  }

  /** One period, a twentieth of a second unless a test makes it longer: answers come, the world moves, every rail is read, the tick comes. */
  tick(late_us = 0, slept_us = 0): void {
    this.t_us += this.period_us
    for (const one of this.going_on) if (one.left-- === 0) this.queue.push({ kind: 'done', id: one.id })
    this.going_on = this.going_on.filter(({ left }) => left >= 0)
    for (const body of this.queue.splice(0)) this.feed(body)
    const flicker = Math.round(this.t_us / this.period_us) % 2
    for (const rail of Object.values(this.plan.rails))
      for (const part of rail.channels) {
        const c = part.channel
        const target = this.on[c] ? (this.set[c] ?? 0) + (this.sag_V[rail.name] ?? 0) : 0
        this.volts[c] =
          target < (this.volts[c] ?? 0) ? Math.max(target, this.fallen(this.volts[c] ?? 0)) : target
        if (this.silent.has(rail.name) || this.going_on.some(({ channel }) => channel === c)) continue
        const own_A = this.on[c]
          ? (this.volts[c] ?? 0) / (this.ohm[rail.name] ?? 1e9) + (this.extra_A[rail.name] ?? 0)
          : 0
        const foreign = this.foreign[c] ?? { V: 0, A: 0 }
        const seen_V = Math.max(this.volts[c] ?? 0, foreign.V) + flicker * this.zero.V
        const seen_A = own_A + foreign.A + flicker * this.zero.A
        this.feed({ kind: 'reading', channel: c, quantity: 'V', value: decimal(seen_V, 1) })
        this.feed({ kind: 'reading', channel: c, quantity: 'A', value: decimal(seen_A, 5) })
      }
    if (!this.silent.has('grid meter'))
      this.feed({
        kind: 'meter',
        meter: 'grid meter',
        value: decimal(this.grid * (this.volts['bias.1'] ?? 0), 1),
      })
    for (const [meter, shows] of Object.entries(this.meters))
      if (shows !== null) this.feed({ kind: 'meter', meter, value: decimal(shows, 3) })
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
