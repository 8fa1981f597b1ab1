import { moment_ms, offFirst } from '../../src/controller/off-first.js'
import { beat_lost_us, beat_us } from '../../src/controller/supervise.js'
import { type LineConfig, lineWakeAt } from '../../src/line/index.js'
import {
  createLoop,
  firstLook,
  type Given,
  type Loop,
  type LoopInput,
  type LoopOutput,
  loopStep,
} from '../../src/loop/index.js'
import type { Ask, Plan } from '../../src/plan/index.js'
import type { Command, EventBody, State } from '../../src/sequencer/index.js'
import {
  lastTyped,
  runEnding,
  type RunEnding,
  type RunEntry,
  storedCharge,
  type StreamIds,
  toldOfEvent,
  toldOfRecord,
  toldOfRequest,
} from '../../src/story/index.js'
import type { Invariants } from './invariants.js'

export const tick_us = 50_000
const start_within_us = 12_000_000

/** What stands around the controller's process. */
export interface Outside {
  readonly now_us: number
  write(port: string, text: string): void
  /** Does this so long from now. */
  later(after_us: number, act: () => void): void
  reopen(port: string): void
  /** Into the record. */
  tell(entry: RunEntry): void
  asks(prompt: number, ask: Ask): void
  /** A person hears an alarm that names a knob. */
  turnDown(rail: string): void
  /** An output reads back as on that this run has not switched. */
  foundOn(): void
  /** Every port has answered, and as what; true where whoever watches lets it begin. */
  ready(identities: Readonly<Record<string, string>>): boolean
  /** It gives up, and leaves; `on`: channels that read back as on when they were last heard. */
  notReachable(text: string, on: readonly string[]): void
  /** Its last words, then its exit. */
  ended(ending: RunEnding): void
  beats(): void
  /** It leaves, since its parent went before anything was begun. */
  leaves(how: string): void
}

/** The controller as its process has it (controller.process.ts): the real loop, its clock, its heartbeat, and what can become of it. */
export class Controller {
  private loop: Loop
  /** When each port's line wants of the clock: the same as long as its state is the same. */
  private readonly ports: readonly { readonly port: string; wake_us: number }[]
  private is: 'well' | 'hung' | 'dead' = 'well'
  private busy_until_us = 0
  private inbox: LoopInput[] = []
  /** An OFF has the machine for itself since a first look; what its input comes to is `held` where the moment ends in a stall. */
  private waits = false
  private held: (() => void) | null = null
  private readonly feed: (input: LoopInput) => void
  private slept_us = 0
  /** Its clock, as far as it has gone from the true one. */
  private clock_us = 0
  private jumped_us = 0
  private up = false
  private begun = false
  private found_on = false
  private gave_up = false
  private parent_lost = false
  private parent_beat_us = 0
  private own_beat_us = 0
  private last_tick_us = 0
  ending: RunEnding | null = null

  constructor(
    private readonly plan: Plan,
    configs: readonly LineConfig[],
    private readonly ids: StreamIds,
    private readonly outside: Outside,
    private readonly checks: Invariants,
    private readonly channel: 'terminal' | 'rehearsal',
  ) {
    this.loop = createLoop(plan, configs)
    this.ports = configs.map(({ port }) => ({ port, wake_us: this.wakeOf(port) }))
    const write = (port: string, text: string): void => {
      this.outside.write(port, text)
    }
    this.feed = offFirst(
      (input: LoopInput) => this.looksFirst(input, write),
      (input, given) => {
        this.take(input, given, write)
      },
      (act) => {
        this.waits = true
        this.outside.later(1000 * moment_ms, () => {
          this.held = act
          if (!this.busy) this.goesOn()
        })
      },
    )
  }

  get sequencer(): State {
    return this.loop.sequencer
  }
  get hangs(): boolean {
    return this.is === 'hung'
  }
  /** It can act. */
  get awake(): boolean {
    return this.is === 'well' && !this.busy
  }
  /** It can act, and the run is its own still. */
  get drives(): boolean {
    return this.awake && this.ending === null && !this.gave_up
  }
  private get busy(): boolean {
    return this.outside.now_us < this.busy_until_us
  }

  stalls(for_us: number): void {
    this.busy_until_us = this.outside.now_us + for_us
  }
  hang(): void {
    if (this.is === 'well') this.is = 'hung'
  }
  /** False where it was dead before. */
  dies(): boolean {
    const before = this.is
    this.is = 'dead'
    return before !== 'dead'
  }
  clockJumps(by_us: number): void {
    this.clock_us += by_us
    if (by_us > 0) this.jumped_us += by_us
  }
  /** The clock that it goes by stands still in a sleep. */
  slept(for_us: number): void {
    this.slept_us = for_us
    this.clock_us -= for_us
  }
  parentBeats(): void {
    this.parent_beat_us = this.outside.now_us
  }

  /** When one of its lines wants of the clock. */
  next_us(): number {
    if (this.waits) return Infinity
    let first = Infinity
    for (const { wake_us } of this.ports) if (wake_us < first) first = wake_us
    return first - this.clock_us
  }
  /** To the lines whose time has come. */
  wake(): void {
    const now_us = this.outside.now_us + this.clock_us
    if (!this.ports.some(({ wake_us }) => wake_us <= now_us)) return
    for (const { port } of this.ports.filter(({ wake_us }) => wake_us <= now_us))
      this.hear({ kind: 'port', port, line: { kind: 'time', t_us: this.outside.now_us } })
  }
  private wakeOf(port: string): number {
    const line = this.loop.lines[port]
    return line === undefined ? Infinity : (lineWakeAt(line) ?? Infinity)
  }

  event(body: EventBody): void {
    this.hear({ kind: 'event', event: { ...body, t_us: this.outside.now_us } })
  }
  hear(input: LoopInput): void {
    if (this.is !== 'well' || this.ending !== null || this.gave_up) return
    if (this.busy) {
      this.inbox.push(input)
      return
    }
    const now_us = this.outside.now_us + this.clock_us
    this.feed(this.clock_us === 0 ? input : stamped(input, Math.max(0, now_us)))
  }

  /** What it wrote at first look, and had no time to judge. */
  private looksFirst(input: LoopInput, write: Give): Given | null {
    const given = firstLook(this.loop, input, write)
    if (given !== null) this.checks.lookedFirst()
    return given
  }
  /** The moment of an OFF is over, and it can act: what the first look saw is judged. */
  private goesOn(): void {
    const act = this.held
    this.held = null
    if (this.is !== 'well' || act === null) return
    this.waits = false
    act()
  }

  private take(input: LoopInput, given: Given | null, write: Give): void {
    if (this.ending !== null || this.gave_up) return
    const { loop, outputs, moved } = loopStep(this.loop, input, write, true, given)
    this.loop = loop
    for (const each of this.ports) if (moved.includes(each.port)) each.wake_us = this.wakeOf(each.port)
    if (given !== null) this.checks.judgedBehind(loop.sequencer, this.outside.now_us)
    // Said behind its OFF, and before anything else is.
    if (!this.begun && !this.found_on && loop.sequencer.found_on.length > 0) {
      this.found_on = true
      this.outside.foundOn()
    }
    for (const output of outputs) this.carry(output)
  }

  private carry(output: LoopOutput): void {
    switch (output.kind) {
      case 'write':
      case 'health':
      case 'rung':
        return
      case 'reopen':
        this.outside.reopen(output.port)
        return
      case 'fed':
        this.checks.fed(output.event, this.outside.now_us)
        if (output.event.kind === 'line lost' && !this.begun && !this.found_on) this.giveUp(output.event.text)
        this.outside.tell(toldOfEvent(output.event, this.ids, 'controller'))
        return
      case 'command':
        this.obey(output.command, output.t_us)
        return
    }
  }

  private obey(command: Command, t_us: number): void {
    this.checks.command(command, this.outside.now_us, this.loop.sequencer)
    switch (command.kind) {
      case 'line':
      case 'urgent off':
        this.outside.tell(toldOfRequest(command, t_us, 'controller'))
        return
      case 'record':
        this.outside.tell(toldOfRecord(command.entry, t_us, 'controller'))
        return
      case 'prompt':
        this.outside.asks(command.prompt, command.ask)
        return
      case 'alarm':
        if (command.turn_down !== undefined) this.outside.turnDown(command.turn_down)
        return
      case 'notice':
      case 'prompt closed':
      case 'hands clear':
        return
      case 'end': {
        const { plan } = this
        const charge = storedCharge(plan, this.loop.sequencer)
        const typed = lastTyped(plan, this.loop.sequencer)
        this.ending = runEnding(command.ending, charge, t_us / 1e6, typed)
        this.outside.tell({ entry: 'ending', t_us, ending: this.ending })
        this.outside.ended(this.ending)
        return
      }
    }
  }

  tick(): void {
    if (!this.drives) return
    const t_us = this.outside.now_us
    const gap_us = t_us - this.last_tick_us
    const stood_us = this.busy_until_us === 0 ? 0 : Math.max(0, gap_us - tick_us)
    const late_us = stood_us + this.jumped_us
    this.jumped_us = 0
    this.goesOn()
    const held = this.inbox
    this.inbox = []
    for (const input of held) this.hear(stamped(input, t_us))
    const slept_us = this.slept_us
    this.slept_us = 0
    const body = { kind: 'tick', late_us: slept_us > 0 ? 0 : late_us, slept_us } as const
    this.checks.ticked(body, t_us, this.loop.sequencer)
    this.event(body)
    this.last_tick_us = t_us
    this.parent_beat_us = Math.min(t_us, this.parent_beat_us + Math.max(0, gap_us - beat_us))
    if (t_us - this.parent_beat_us > beat_lost_us) this.parentLost('no heartbeat')
    if (!this.up) this.comeUp()
    if (t_us - this.own_beat_us < beat_us) return
    this.own_beat_us = t_us
    this.outside.beats()
  }

  private comeUp(): void {
    const lines = Object.values(this.loop.lines)
    // What was found on is being put off, whoever else answers.
    if (lines.every(({ link }) => link === 'ready') || this.found_on) {
      this.up = true
      if (
        !this.outside.ready(
          Object.fromEntries(lines.map(({ config, identity }) => [config.port, identity ?? ''])),
        )
      )
        return
      this.begun = true
      this.event({ kind: 'begin', word: 'lantern', channel: this.channel, hooked_up_as_in: null })
    } else if (this.outside.now_us > start_within_us) this.giveUp('not ready in time')
  }

  private giveUp(text: string): void {
    if (this.gave_up || this.ending !== null) return
    this.gave_up = true
    const channels = Object.entries(this.loop.sequencer.channels)
    this.outside.notReachable(
      text,
      channels.flatMap(([channel, { output }]) => (output === 'on' ? [channel] : [])),
    )
  }

  parentLost(text: string): void {
    if (this.parent_lost) return
    this.parent_lost = true
    if (this.begun || this.found_on) this.event({ kind: 'parent lost', text })
    else this.outside.leaves('its parent went before anything was begun')
  }
}

type Give = (port: string, text: string) => void

/** What waited while it stood still is heard when it goes on. */
function stamped(input: LoopInput, t_us: number): LoopInput {
  return input.kind === 'event'
    ? { kind: 'event', event: { ...input.event, t_us } }
    : { kind: 'port', port: input.port, line: { ...input.line, t_us } }
}
