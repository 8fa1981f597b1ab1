import type { Bench } from '../bench/index.js'
import type { LineHealth } from '../exchange/index.js'
import type { Equipment } from '../equipment/index.js'
import { healthOf, type LineConfig, type LineInput, lineConfigsOf, lineWakeAt } from '../line/index.js'
import type { Element } from '../network/index.js'
import { createLoop, type LoopInput, type LoopOutput, loopStep } from '../loop/index.js'
import type { Ask, Plan } from '../plan/index.js'
import { type Command, type EventBody, type View, view } from '../sequencer/index.js'
import {
  type RunEnding,
  type RunEntry,
  lastTyped,
  runEnding,
  storedCharge,
  streamIds,
  streamsOf,
  toldOfEvent,
  toldOfLine,
  toldOfRecord,
  toldOfRequest,
} from '../story/index.js'
import { createVirtualBench, type FaultSpec, type VirtualBench } from '../virtual/index.js'
import { type Operator, willing } from './operator.js'

export interface RehearseOptions {
  readonly seed: number
  readonly faults: readonly FaultSpec[]
  /** Every entry, in order, as a live run's controller tells it. */
  readonly record: (entry: RunEntry) => void
  /** The person at the bench; one who does as asked, unless given. */
  readonly operator?: Operator
  /** The set behind the bench where it is another than the plan was made for. */
  readonly behind?: Equipment
  /** Values of the set's resistors, tubes and gas regulators, where the seed is not to draw them (see the virtual bench). */
  readonly drawn?: (nominal: readonly Element[]) => readonly Element[]
  /** The bench as it really is, where that is another than its file says. */
  readonly real?: Bench
  /** Readings of one port start no more often than this, µs; five rounds a second unless given. */
  readonly poll_us?: number
  /** Readings are never taken seldom, also in hours in which nothing moves. */
  readonly brisk?: true
  /** Called once a second of virtual time with what a terminal would show; `stop` there is a person's stop. */
  readonly watch?: (seen: View, world: VirtualBench) => 'stop' | 'off now' | undefined
}
export interface Rehearsal {
  readonly ending: RunEnding
  readonly stored_charge: RunEnding['stored_charge']
  readonly virtual_s: number
  /** Identity each port answered with. */
  readonly identities: Readonly<Record<string, string>>
  /** Supplies and meters all answered; false = nothing was energised. */
  readonly reachable: boolean
  readonly faults: readonly string[]
  /** How each line did. */
  readonly lines: Readonly<Record<string, LineHealth>>
}

/** Time between ticks, µs. */
const tick_us = 50_000
const slowTick_us = 1_000_000
/** Readings of one port start no more often than this, µs: five rounds a second, as a line of ordinary speed gives. */
const poll_us = 200_000
/** As a live run waits for its ports. */
const start_within_us = 12_000_000
/** Reopening a connection takes this long, µs (common practice, no source). */
const reopen_us = 200_000
/** From an alarm to a hand on the knob, µs (common practice, no source). */
const hearing_us = 3_000_000
/** A run that has not ended this long after its own time budget never will: a fault of ours. */
const overtime_us = 4 * 3600 * 1e6

/**
 * A whole run in virtual time: the same line machines and the same sequencer as a live run, joined by the same loop,
 * before a virtual bench. The same seed gives the same run.
 */
export function rehearse(
  plan: Plan,
  equipment: Equipment,
  bench: Bench,
  options: RehearseOptions,
): Rehearsal {
  return new Run(plan, equipment, bench, options).go()
}

/** Something that will happen at a time of its own. */
interface Due {
  readonly at_us: number
  readonly feed: LoopInput | (() => void)
}

/** A port, and when its line wants of the clock: the same as long as its state is the same. */
interface WatchedPort {
  readonly port: string
  wake_us: number
  /** What came since the last whole line. */
  partial: string
  /** Given up, and not opened afresh yet. */
  closed: boolean
}

/** CR or LF, where the gate before a real port cuts too. */
const ends = (code: number): boolean => code === 0x0a || code === 0x0d

class Run {
  private t_us = 0
  private loop
  private readonly world: VirtualBench
  private readonly configs: readonly LineConfig[]
  private readonly ids
  private readonly ports: readonly WatchedPort[]
  private readonly portNamed: ReadonlyMap<string, WatchedPort>
  private due: Due[] = []
  private ending: RunEnding | null = null

  constructor(
    private readonly plan: Plan,
    private readonly equipment: Equipment,
    private readonly bench: Bench,
    private readonly options: RehearseOptions,
  ) {
    this.configs = lineConfigsOf(bench).map((config) => ({
      ...config,
      poll_us: options.poll_us ?? poll_us,
    }))
    this.loop = { ...createLoop(plan, this.configs), ...(options.brisk === true && { brisk: true as const }) }
    this.ports = Object.entries(this.loop.lines).map(([port, line]) => ({
      port,
      wake_us: lineWakeAt(line) ?? Infinity,
      partial: '',
      closed: false,
    }))
    this.portNamed = new Map(this.ports.map((each) => [each.port, each]))
    this.ids = streamIds(streamsOf(plan))
    const behind = options.behind ?? equipment
    this.world = createVirtualBench(behind, options.real ?? bench, {
      seed: options.seed,
      faults: options.faults,
      mode: plan.steps[0]?.mode ?? Object.keys(behind.modes)[0] ?? '',
      ...(options.drawn !== undefined && { drawn: options.drawn }),
    })
  }

  go(): Rehearsal {
    for (const { port } of this.configs) {
      this.later(0, () => {
        this.line(port, { kind: 'opened', t_us: this.t_us })
      })
    }
    const reachable = this.comeUp()
    const identities = Object.fromEntries(
      Object.values(this.loop.lines).map(({ config, identity }) => [config.port, identity ?? '']),
    )
    if (reachable) {
      this.event({ kind: 'begin', word: 'rehearsal', channel: 'rehearsal', hooked_up_as_in: null })
      const most_us = this.t_us + this.plan.time_budget_s * 1e6 + overtime_us
      while (this.ending === null && this.t_us < most_us) this.next()
    }
    const ending = this.ending ?? this.noEnding(reachable)
    return {
      ending,
      stored_charge: ending.stored_charge,
      virtual_s: this.t_us / 1e6,
      identities,
      reachable,
      faults: this.world.faults(),
      lines: this.health(),
    }
  }

  private health(): Readonly<Record<string, LineHealth>> {
    const lines = Object.entries(this.loop.lines)
    return Object.fromEntries(lines.map(([port, line]) => [port, healthOf(line)]))
  }

  /** Until every port has answered, as a live run waits before it begins. */
  private comeUp(): boolean {
    const ready = (): boolean => Object.values(this.loop.lines).every(({ link }) => link === 'ready')
    while (!ready() && this.t_us < start_within_us) this.next()
    return ready()
  }

  /** One tick: everything that falls due before it happens at its own time. */
  private next(): void {
    // In hours in which nothing moves quickly the clock of the loop ticks as seldom as it reads.
    const end_us = this.t_us + (this.loop.slow ? slowTick_us : tick_us)
    for (;;) {
      const reply_us = this.world.next_us() ?? Infinity
      const at_us = Math.max(this.t_us, Math.min(reply_us, this.soonest()))
      if (at_us > end_us) break
      this.t_us = at_us
      this.happen(reply_us)
      if (this.ending !== null) return
    }
    this.t_us = end_us
    this.world.advance(end_us)
    this.feed({ kind: 'event', event: { kind: 'tick', t_us: end_us, late_us: 0, slept_us: 0 } })
    const step = this.plan.steps[this.loop.sequencer.step]
    if (step !== undefined) this.world.step(step.index)
    if (end_us % 1_000_000 < (this.loop.slow ? slowTick_us : tick_us)) this.look()
  }

  private look(): void {
    const said = this.options.watch?.(view(this.loop.sequencer), this.world)
    if (said === 'stop') this.event({ kind: 'stop', how: 'run down', by: 'rehearsal' })
    if (said === 'off now') this.event({ kind: 'stop', how: 'off now', by: 'rehearsal' })
  }

  /** Of what lines and people want. */
  private soonest(): number {
    let first = Infinity
    for (const { wake_us } of this.ports) if (wake_us < first) first = wake_us
    for (const { at_us } of this.due) if (at_us < first) first = at_us
    return first
  }

  /** All that is due now: replies first, then what lines want of the clock, then people. */
  private happen(reply_us: number): void {
    if (reply_us <= this.t_us) for (const port of this.world.due(this.t_us)) this.hear(port)
    // As nearly always after a reply.
    if (this.soonest() > this.t_us) return
    const woken = this.ports.filter(({ wake_us }) => wake_us <= this.t_us)
    for (const { port } of woken) this.line(port, { kind: 'time', t_us: this.t_us })
    if (this.due.length === 0) return
    const now = this.due.filter(({ at_us }) => at_us <= this.t_us)
    this.due = this.due.filter(({ at_us }) => at_us > this.t_us)
    for (const { feed } of now) {
      if (typeof feed === 'function') feed()
      else this.feed(feed)
    }
  }

  /** Reply text, line by line. */
  private hear(port: string): void {
    const said = this.world.take(port, this.t_us)
    const each = this.portNamed.get(port)
    if (said === '' || each === undefined || each.closed) return
    const text = each.partial + said
    let whole = text.length
    while (whole > 0 && !ends(text.charCodeAt(whole - 1))) whole--
    each.partial = text.slice(whole)
    let from = 0
    for (let at = 0; at < whole; at++) {
      if (!ends(text.charCodeAt(at))) continue
      if (at > from) this.line(port, { kind: 'text', t_us: this.t_us, text: text.slice(from, at) })
      from = at + 1
    }
  }

  private line(port: string, line: LineInput): void {
    this.feed({ kind: 'port', port, line })
  }
  private event(body: EventBody): void {
    this.feed({ kind: 'event', event: { ...body, t_us: this.t_us } })
  }

  private feed(input: LoopInput): void {
    if (this.ending !== null) return
    const { loop, outputs, moved } = loopStep(this.loop, input, undefined, true)
    this.loop = loop
    for (const port of moved) {
      const each = this.portNamed.get(port)
      const line = loop.lines[port]
      if (each !== undefined && line !== undefined) each.wake_us = lineWakeAt(line) ?? Infinity
    }
    for (const output of outputs)
      if (output.kind === 'write' && this.portNamed.get(output.port)?.closed !== true)
        this.world.receive(output.port, output.text, this.t_us)
    for (const output of outputs) this.carry(output)
  }

  private carry(output: LoopOutput): void {
    switch (output.kind) {
      case 'write':
        return
      case 'health':
      case 'rung':
        this.options.record(toldOfLine(output, output.t_us))
        return
      case 'reopen':
        this.reopen(output.port, output.text)
        return
      case 'fed':
        this.options.record(toldOfEvent(output.event, this.ids, 'rehearsal'))
        return
      case 'command':
        this.obey(output.command, output.t_us)
        return
    }
  }

  /** A connection is used once: closed, and a fresh one a moment later. */
  private reopen(port: string, text: string): void {
    const each = this.portNamed.get(port)
    if (each === undefined) return
    each.closed = true
    each.partial = ''
    this.later(0, { kind: 'port', port, line: { kind: 'closed', t_us: this.t_us, text } })
    this.later(reopen_us, () => {
      each.closed = false
      this.line(port, { kind: 'opened', t_us: this.t_us })
    })
  }

  private later(after_us: number, feed: Due['feed']): void {
    this.due.push({ at_us: this.t_us + after_us, feed })
  }

  private obey(command: Command, t_us: number): void {
    switch (command.kind) {
      case 'line':
      case 'urgent off':
        this.options.record(toldOfRequest(command, t_us, 'rehearsal'))
        return
      case 'record': {
        this.options.record(toldOfRecord(command.entry, t_us, 'rehearsal'))
        const { intent } = command.entry
        if (command.entry.what === 'intent' && intent !== null) {
          this.later(0, () => {
            this.event({ kind: 'recorded', intent })
          })
        }
        return
      }
      case 'prompt':
        this.answer(command)
        return
      case 'alarm':
        if (command.turn_down !== undefined) this.turnDown(command.turn_down, command.text)
        return
      case 'notice':
      case 'hands clear':
      case 'prompt closed':
        return
      case 'end': {
        const charge = storedCharge(this.plan, this.loop.sequencer)
        this.ending = runEnding(command.ending, charge, t_us / 1e6, lastTyped(this.plan, this.loop.sequencer))
        for (const [port, health] of Object.entries(this.health()))
          this.options.record(toldOfLine({ kind: 'health', port, health }, t_us))
        this.options.record({ entry: 'ending', t_us, ending: this.ending })
        return
      }
    }
  }

  private answer({ prompt, ask }: Extract<Command, { kind: 'prompt' }>): void {
    const step = this.plan.steps[this.loop.sequencer.step] ?? null
    const { plan, equipment, bench, world } = this
    const said = (this.options.operator ?? willing)(ask, { plan, equipment, bench, world, step })
    if (said === null) return
    const { after_s, value } = said
    this.later(Math.round(after_s * 1e6), () => {
      this.world.advance(this.t_us)
      const heard = typeof value === 'function' ? value() : value
      this.event({ kind: 'answer', prompt, value: heard, by: 'rehearsal' })
    })
  }

  /** The person hears an alarm that names a knob, and turns it down as one who is asked to would. */
  private turnDown(rail: string, text: string): void {
    const step = this.plan.steps[this.loop.sequencer.step] ?? null
    const { plan, equipment, bench, world } = this
    const about = `hand off ${rail}`
    const ask: Ask = { text, wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about }
    this.later(hearing_us, () => {
      ;(this.options.operator ?? willing)(ask, { plan, equipment, bench, world, step })
    })
  }

  /** No port answered, so that nothing was energised; or a run that would not end, which is our own fault. */
  private noEnding(reachable: boolean): RunEnding {
    const silent = Object.values(this.loop.lines).flatMap(({ link, config }) =>
      link === 'ready' ? [] : [config.port],
    )
    const text = reachable
      ? 'The run did not end by itself long after its time budget: a fault of slowglow. Take every output as on.'
      : `${silent.join(', ')} did not answer within ${start_within_us / 1e6} s. Nothing was energised. Check line, baud rate and identity.`
    const ending: RunEnding = {
      outcome: 'failed',
      outputs_off: 'not confirmed',
      reason: {
        code: reachable ? 'no-ending' : 'not-reachable',
        rail: null,
        step: null,
        measured: null,
        limit: null,
        unit: '',
        text,
      },
      stored_charge: storedCharge(this.plan, this.loop.sequencer),
      hand_rails: {},
      warnings: [],
      steps_done: 0,
      duration_s: this.t_us / 1e6,
      details: {},
    }
    this.options.record({ entry: 'ending', t_us: this.t_us, ending })
    return ending
  }
}
