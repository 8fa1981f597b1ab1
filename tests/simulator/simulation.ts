import { chance } from '../../src/chance/index.js'
import { atOnce } from '../../src/controller/off-at-once.js'
import {
  safeOffBegin,
  type SafeOffInput,
  type SafeOffOutput,
  type SafeOffState,
  safeOffStep,
} from '../../src/controller/safe-off.js'
import {
  beat_lost_us,
  beat_us,
  superviseBegin,
  type SuperviseAct,
  type SuperviseInput,
  superviseStep,
} from '../../src/controller/supervise.js'
import { lineConfigsOf, type LineInput, type LineState, lineWakeAt } from '../../src/line/index.js'
import { createLoop, type LoopInput, type LoopOutput, loopStep } from '../../src/loop/index.js'
import type { Ask } from '../../src/plan/index.js'
import { willing } from '../../src/rehearse/operator.js'
import type { Command, EventBody } from '../../src/sequencer/index.js'
import {
  happened,
  lastTyped,
  runEnding,
  type RunEnding,
  type RunEntry,
  storedCharge,
  streamIds,
  streamsOf,
  toldOfEvent,
  toldOfRecord,
  toldOfRequest,
} from '../../src/story/index.js'
import { createVirtualBench } from '../../src/virtual/index.js'
import { Invariants } from './invariants.js'
import { type Mischief, Nemesis } from './nemesis.js'
import { drawFaults, type Part, type Parts, relay_feed } from './parts.js'
import { Recording, Teller } from './recording.js'
import { Wire } from './wire.js'

const tick_us = 50_000
const poll_us = 200_000
const reopen_us = 200_000
const start_within_us = 12_000_000
/** More things than this in one tick, and something is due again and again. */
const most_in_tick = 20_000
/** So many runs have a cut-off relay. */
const relayed_part = 0.5
/** HT that counts as high for what is to strike then. */
const high_V = 100

export interface Simulated {
  readonly seed: number
  readonly virtual_s: number
  readonly how: string
  /** Code of what ended it, as its own record says; null where it ran through or was taken over. */
  readonly reason: string | null
  /** When everything was first put off, s. */
  readonly off_s: number | null
  readonly faults: ReadonlyMap<string, number>
  readonly broken: readonly { readonly invariant: string; readonly t_s: number; readonly text: string }[]
  readonly story: readonly string[]
}

/** Controller, supervisor, recorder, person, lines, supplies and set under one clock that the seed drives. */
export function simulate(
  parts: Parts,
  seed: number,
  without: ReadonlySet<string> = new Set(),
  goesOn = true,
): Simulated {
  const nemesis = new Nemesis(chance(seed), without)
  const relayed = nemesis.dice('relay') < relayed_part
  return simulateWith(relayed ? parts.relayed : parts, seed, nemesis, goesOn)
}

/** The same with somebody else doing things to it. `goesOn`: to its end, whatever breaks on the way. */
export function simulateWith(parts: Part, seed: number, nemesis: Mischief, goesOn = true): Simulated {
  return new Simulation(parts, seed, nemesis).run(goesOn)
}

const wakeOf = (line: LineState): number => lineWakeAt(line) ?? Infinity

class Simulation {
  private t_us = 0
  private readonly world
  private readonly wires
  private readonly configs
  private readonly ids
  private readonly entries: RunEntry[] = []
  private readonly checks
  private due: { readonly at_us: number; readonly act: () => void }[] = []

  private loop
  /** When each port's line wants of the clock: the same as long as its state is the same. */
  private readonly wakes: Map<string, number>
  private controller: 'well' | 'hung' | 'dead' = 'well'
  private busy_until_us = 0
  private inbox: LoopInput[] = []
  private slept_us = 0
  private begun = false
  private ending: RunEnding | null = null
  private told_parent_lost = false
  private parent_beat_us = 0
  private own_beat_us = 0

  private supervisor: 'well' | 'dead' = 'well'
  private supervising = superviseBegin(0)
  private readonly recording
  private readonly own
  private readonly theirs
  /** What strikes when HT stands high, and how long after. */
  private high: { readonly after_us: number; readonly act: () => void }[] = []
  /** The controller's clock, as far as it has gone from the true one. */
  private clock_us = 0
  private jumped_us = 0
  /** Everybody who answers questions takes this part of an ordinary person's time: most runs are short ones. */
  private readonly pace
  private safe: SafeOffState | null = null
  private how: string | null = null

  constructor(
    private readonly parts: Part,
    private readonly seed: number,
    private readonly nemesis: Mischief,
  ) {
    const { plan, equipment, bench } = parts
    this.configs = lineConfigsOf(bench).map((config) => ({ ...config, poll_us }))
    this.loop = createLoop(plan, this.configs)
    this.wakes = new Map(Object.entries(this.loop.lines).map(([port, line]) => [port, wakeOf(line)]))
    this.ids = streamIds(streamsOf(plan))
    this.world = createVirtualBench(equipment, bench, {
      seed,
      faults: drawFaults(this.nemesis, plan.cut_off !== undefined),
      mode: plan.steps[0]?.mode ?? '',
    })
    this.wires = new Map(this.configs.map(({ port }) => [port, new Wire(port, this.world, this.nemesis)]))
    this.checks = new Invariants(plan, this.world, this.nemesis, bench.cut_off?.after_s ?? null)
    this.pace = this.nemesis.dice('pace') < 0.9 ? 0.05 : 1
    this.recording = new Recording(this.nemesis)
    this.own = this.recording.join(
      new Teller('controller', {
        recorded: (intent) => {
          this.event({ kind: 'recorded', intent })
        },
        trouble: (text) => {
          this.event({ kind: 'recorder lost', text })
        },
      }),
    )
    this.theirs = this.recording.join(
      new Teller('supervisor', { recorded: () => undefined, trouble: () => undefined }),
    )
    const streams = streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream }))
    this.recording.append(this.theirs, streams, 0)
    this.entries.push(...streams)
  }

  /** What the controller tells the record. */
  private tell(entry: RunEntry): void {
    this.entries.push(entry)
    this.recording.append(this.own, [entry], this.t_us)
  }

  run(goesOn: boolean): Simulated {
    for (const [i, { port }] of this.configs.entries())
      this.later(20_000 * (i + 1), () => {
        this.toLoop({ kind: 'port', port, line: { kind: 'opened', t_us: this.t_us } })
      })
    this.appoint()
    const most_us = this.nemesis.calm_us + (this.parts.plan.time_budget_s + 2000) * 1e6
    try {
      const ends = (): boolean => this.how !== null || (!goesOn && this.checks.broken.length > 0)
      while (!ends() && this.t_us < most_us) this.tick()
      if (this.how === null) this.checks.broke('ends in bounded time', this.t_us, 'it did not end')
      this.checks.atEnd(this.t_us, this.ending, this.how ?? '', this.entries)
      this.recording.finish(this.t_us)
      this.recording.check((invariant, text) => {
        this.checks.broke(invariant, this.t_us, text)
      })
    } catch (error) {
      this.checks.broke(
        'throws nothing',
        this.t_us,
        error instanceof Error ? (error.stack ?? '') : String(error),
      )
    }
    return {
      seed: this.seed,
      virtual_s: this.t_us / 1e6,
      how: this.how ?? 'did not end',
      reason: this.ending?.outcome === 'completed' ? null : (this.ending?.reason?.code ?? null),
      off_s: this.checks.offAt_us === null ? null : this.checks.offAt_us / 1e6,
      faults: this.nemesis.injected,
      broken: this.checks.broken,
      story: this.checks.broken.length === 0 ? [] : this.story(),
    }
  }

  /** Things that happen once, at their moment. */
  private appoint(): void {
    const at = (kind: Parameters<Nemesis['moment']>[0], act: () => void): void => {
      const strike = (): void => {
        if (this.how !== null) return
        this.nemesis.did(kind, this.t_us)
        act()
      }
      const moment = this.nemesis.moment(kind)
      const after_us = this.nemesis.high(kind)
      if (moment !== null) this.later(moment, strike)
      if (after_us !== null) this.high.push({ after_us, act: strike })
    }
    at('controller stalls', () => {
      this.busy_until_us = this.t_us + this.nemesis.between('stall', 10_000, 10_000_000)
    })
    at('controller hangs', () => {
      if (this.controller === 'well') this.controller = 'hung'
    })
    at('controller killed', () => {
      this.controllerDies('killed')
    })
    at('parent killed', () => {
      this.parentDies()
    })
    at('power cut', () => {
      this.recording.powerCut(this.t_us)
      this.supervisor = 'dead'
      this.controllerDies('the computer lost its power')
      this.stopsMakingSafe()
    })
    at('mains dip', () => {
      for (const name of Object.keys(this.world.truth().outputs)) this.world.clear(name)
      const dark_us = this.nemesis.between('dip', 50_000, 3_000_000)
      for (const wire of this.wires.values()) {
        wire.down_until_us = this.t_us + dark_us
        wire.fresh()
      }
    })
    at('clock jumps', () => {
      const by_us = this.nemesis.between('jump', 10_000, 10_000_000)
      const ahead = this.nemesis.dice('jump') < 0.5
      this.clock_us += ahead ? by_us : -by_us
      if (ahead) this.jumped_us += by_us
    })
    at('machine sleeps', () => {
      this.slept_us = this.nemesis.between('sleep', 1_000_000, 60_000_000)
      this.due = this.due.map(({ at_us, act }) => ({ at_us: at_us + this.slept_us, act }))
      this.recording.slept(this.slept_us)
      this.t_us += this.slept_us
      // The clock that the controller goes by stands still in a sleep.
      this.clock_us -= this.slept_us
      this.world.advance(this.t_us)
    })
    at('recorder lost', () => {
      this.recording.kill(this.t_us)
    })
    at('recorder hangs', () => {
      this.recording.hang(this.nemesis.between('hang', 100_000, 30_000_000))
    })
    at('disk stalls', () => {
      this.recording.stall(this.nemesis.between('stall of the disk', 1_000_000, 30_000_000))
    })
    at('unplugged line', () => {
      const wire = this.wires.get(this.nemesis.pick('unplug', [...this.wires.keys()]) ?? '')
      if (wire === undefined) return
      wire.down_until_us = this.t_us + this.nemesis.between('unplug', 100_000, 30_000_000)
      wire.fresh()
      this.line(wire.port, { kind: 'closed', t_us: this.t_us, text: 'the device is gone' })
    })
    at('stop', () => {
      this.stop()
    })
    at('stop twice', () => {
      this.stop()
      this.later(this.nemesis.between('stop', 1000, 5_000_000), () => {
        this.stop()
      })
    })
  }

  private parentDies(): void {
    const itself = this.supervisor === 'well'
    this.supervisor = 'dead'
    // Whoever starts next makes safe in a process of its own.
    if (itself) this.stopsMakingSafe()
    this.recording.dies(this.theirs, this.t_us)
    this.later(1000, () => {
      this.parentLost('its end of the connection closed')
    })
  }

  /** Who was making safe is gone with its connections: what it has not done by now the next start does. */
  private stopsMakingSafe(): void {
    if (this.safe === null) return
    this.safe = null
    for (const wire of this.wires.values()) wire.fresh()
    this.nextStart()
  }

  private stop(): void {
    if (this.supervisor === 'well') this.supervise({ kind: 'stop', by: 'Ctrl-C', now: false })
  }

  private tick(): void {
    const end_us = this.t_us + tick_us
    for (let n = 0; ; n++) {
      const at_us = Math.max(this.t_us, this.soonest())
      if (at_us > end_us) break
      if (n > most_in_tick) throw new Error('time stands still')
      this.t_us = at_us
      this.happen()
      if (this.how !== null) return
    }
    this.t_us = Math.max(this.t_us, end_us)
    this.world.advance(this.t_us)
    this.controllerTick()
    this.supervisorTick()
    if (this.safe !== null) this.toSafe({ kind: 'tick', t_us: this.t_us })
    this.recording.tick(this.t_us)
    this.checks.atTick(this.t_us, this.loop.sequencer, {
      awake: this.controller === 'well' && !this.busy,
      watched: this.supervisor === 'well',
    })
    if (this.high.length > 0 && Math.abs(this.world.truth().rails['HT']?.volts ?? 0) > high_V) {
      for (const { after_us, act } of this.high) this.later(after_us, act)
      this.high = []
    }
    this.nemesis.looks?.(this.loop.sequencer, this.t_us)
    const step = this.parts.plan.steps[this.loop.sequencer.step]
    if (step !== undefined) this.world.step(step.index)
  }

  private soonest(): number {
    let first = this.world.next_us() ?? Infinity
    for (const wire of this.wires.values()) first = Math.min(first, wire.next_us())
    if (this.safe === null && this.controller === 'well' && this.ending === null && !this.busy)
      for (const wake_us of this.wakes.values()) first = Math.min(first, wake_us - this.clock_us)
    first = Math.min(first, this.recording.next_us())
    for (const { at_us } of this.due) first = Math.min(first, at_us)
    return first
  }

  private happen(): void {
    for (const wire of this.wires.values()) {
      wire.carry(this.t_us)
      for (const text of wire.lines(this.t_us)) this.line(wire.port, { kind: 'text', t_us: this.t_us, text })
    }
    if (this.safe === null && this.controller === 'well' && this.ending === null && !this.busy)
      for (const [port, wake_us] of [...this.wakes])
        if (wake_us - this.clock_us <= this.t_us)
          this.toLoop({ kind: 'port', port, line: { kind: 'time', t_us: this.t_us } })
    this.recording.run(this.t_us)
    const now = this.due.filter(({ at_us }) => at_us <= this.t_us)
    if (now.length === 0) return
    this.due = this.due.filter(({ at_us }) => at_us > this.t_us)
    for (const { act } of now) act()
  }

  private get busy(): boolean {
    return this.t_us < this.busy_until_us
  }

  /** To whoever holds the ports. */
  private line(port: string, line: LineInput): void {
    if (this.safe !== null) this.toSafe({ kind: 'port', port, line })
    else this.toLoop({ kind: 'port', port, line })
  }
  private event(body: EventBody): void {
    this.toLoop({ kind: 'event', event: { ...body, t_us: this.t_us } })
  }

  private toLoop(input: LoopInput): void {
    if (this.controller !== 'well' || this.ending !== null) return
    if (this.busy) {
      this.inbox.push(input)
      return
    }
    const own = this.clock_us === 0 ? input : stamped(input, Math.max(0, this.t_us + this.clock_us))
    const { loop, outputs, moved } = loopStep(this.loop, own)
    this.loop = loop
    for (const port of moved) {
      const line = loop.lines[port]
      if (line !== undefined) this.wakes.set(port, wakeOf(line))
    }
    for (const output of outputs) if (output.kind === 'write') this.write(output.port, output.text)
    for (const output of outputs) this.carry(output)
  }

  /** A write that the port refuses is the end of the connection, as with a real one. */
  private write(port: string, text: string): void {
    if (text.includes(relay_feed)) this.checks.feedsRelay(this.t_us)
    if (!this.nemesis.hits('port refuses', this.t_us, text)) {
      this.wires.get(port)?.write(text, this.t_us)
      return
    }
    this.later(0, () => {
      this.line(port, { kind: 'closed', t_us: this.t_us, text: 'the port refused what was written' })
    })
  }

  private carry(output: LoopOutput): void {
    switch (output.kind) {
      case 'write':
      case 'health':
      case 'rung':
        return
      case 'reopen':
        this.reopen(output.port)
        return
      case 'fed':
        this.checks.fed(output.event, this.t_us)
        this.tell(toldOfEvent(output.event, this.ids, 'controller'))
        return
      case 'command':
        this.obey(output.command, output.t_us)
        return
    }
  }

  private obey(command: Command, t_us: number): void {
    this.checks.command(command, this.t_us, this.loop.sequencer)
    switch (command.kind) {
      case 'line':
      case 'urgent off':
        this.tell(toldOfRequest(command, t_us, 'controller'))
        return
      case 'record':
        this.tell(toldOfRecord(command.entry, t_us, 'controller'))
        return
      case 'prompt':
        this.ask(command.prompt, command.ask)
        return
      case 'alarm':
        if (command.turn_down !== undefined) this.world.turn(command.turn_down, 0)
        return
      case 'notice':
      case 'prompt closed':
      case 'hands clear':
        return
      case 'end': {
        const { plan } = this.parts
        const charge = storedCharge(plan, this.loop.sequencer)
        const ending = runEnding(command.ending, charge, t_us / 1e6, lastTyped(plan, this.loop.sequencer))
        this.ending = ending
        this.tell({ entry: 'ending', t_us, ending })
        this.recording.close(this.own)
        this.later(1000, () => {
          if (this.supervisor === 'well') {
            this.supervise({ kind: 'ended', ending })
            this.supervise({ kind: 'exited', how: 'code 0' })
          } else this.how ??= `ended by the controller: ${ending.outcome}`
        })
        return
      }
    }
  }

  private ask(prompt: number, ask: Ask): void {
    // Nothing is energised while wires are made, and a question there waits for an hour: a run has no end worth waiting for.
    const wires = ['wire', 'stored charge', 'nothing moved'].includes(ask.about)
    if (!wires && this.nemesis.hits('answer never', this.t_us)) return
    const { plan, equipment, bench } = this.parts
    const step = plan.steps[this.loop.sequencer.step] ?? null
    const said = willing(ask, { plan, equipment, bench, world: this.world, step })
    if (said === null) return
    const late_us = this.nemesis.hits('answer late', this.t_us)
      ? this.nemesis.between('answer', 5_000_000, 90_000_000)
      : 0
    const wrong = this.nemesis.hits('answer wrong', this.t_us)
    const twice = this.nemesis.hits('answer twice', this.t_us)
    const { value } = said
    const give = (): void => {
      this.world.advance(this.t_us)
      const right = typeof value === 'function' ? value() : value
      const heard = !wrong ? right : typeof right === 'number' ? -3 * right - 1 : 'no'
      this.event({ kind: 'answer', prompt, value: heard, by: 'terminal' })
    }
    const after_us = Math.round(said.after_s * this.pace * 1e6) + late_us
    this.later(after_us, give)
    if (twice) this.later(after_us + 50_000, give)
  }

  private reopen(port: string): void {
    const wire = this.wires.get(port)
    wire?.fresh()
    this.later(0, () => {
      this.line(port, { kind: 'closed', t_us: this.t_us, text: 'closed to make a fresh connection' })
    })
    this.later(reopen_us, () => {
      this.open(port)
    })
  }

  private open(port: string): void {
    const wire = this.wires.get(port)
    if (wire === undefined) return
    const down = this.t_us < wire.down_until_us || this.nemesis.hits('port refuses', this.t_us, 'open')
    if (down) this.line(port, { kind: 'closed', t_us: this.t_us, text: 'No such file or directory' })
    else this.line(port, { kind: 'opened', t_us: this.t_us })
    // Whoever makes safe opens what it can, however often it must (make-safe.ts).
    if (down && this.safe !== null)
      this.later(100_000, () => {
        this.open(port)
      })
  }

  private controllerTick(): void {
    if (this.controller !== 'well' || this.busy || this.ending !== null) return
    const stood_us = this.busy_until_us === 0 ? 0 : Math.max(0, this.t_us - this.last_tick_us - tick_us)
    const late_us = stood_us + this.jumped_us
    this.jumped_us = 0
    const held = this.inbox
    this.inbox = []
    for (const input of held) this.toLoop(stamped(input, this.t_us))
    const slept_us = this.slept_us
    this.slept_us = 0
    const body = { kind: 'tick', late_us: slept_us > 0 ? 0 : late_us, slept_us } as const
    this.checks.ticked(body, this.t_us, this.loop.sequencer)
    this.event(body)
    const gap_us = this.t_us - this.last_tick_us
    this.last_tick_us = this.t_us
    this.parent_beat_us = Math.min(this.t_us, this.parent_beat_us + Math.max(0, gap_us - beat_us))
    if (this.t_us - this.parent_beat_us > beat_lost_us) this.parentLost('no heartbeat')
    if (!this.begun) this.comeUp()
    if (this.t_us - this.own_beat_us >= beat_us && this.supervisor === 'well') {
      this.own_beat_us = this.t_us
      this.supervise({ kind: 'beat' })
    }
  }
  private last_tick_us = 0

  private comeUp(): void {
    const lines = Object.values(this.loop.lines)
    if (lines.every(({ link }) => link === 'ready')) {
      this.begun = true
      if (this.supervisor === 'dead') return
      this.supervise({ kind: 'ready' })
      this.supervise({ kind: 'begun' })
      const channel = this.nemesis.dice('start') < 0.15 ? 'terminal' : 'rehearsal'
      this.event({ kind: 'begin', word: 'lantern', channel, hooked_up_as_in: null })
    } else if (this.t_us > start_within_us) {
      this.how = 'not reachable'
    }
  }

  private parentLost(text: string): void {
    if (this.told_parent_lost) return
    this.told_parent_lost = true
    if (!this.begun) {
      this.controllerDies('its parent went before anything was begun')
      return
    }
    this.event({ kind: 'parent lost', text })
  }

  private controllerDies(how: string): void {
    if (this.controller === 'dead') return
    this.controller = 'dead'
    this.recording.dies(this.own, this.t_us)
    this.later(2000, () => {
      if (this.supervisor === 'well') this.supervise({ kind: 'exited', how })
      else this.nextStart()
    })
  }

  /** Nobody is left: the outputs stay as they are until somebody starts again, whose first act is to make safe. */
  private nextStart(): void {
    if (this.safe !== null || this.how !== null) return
    if (this.ending !== null) return
    this.later(5_000_000, () => {
      if (this.safe === null) this.makeSafe(true)
    })
  }

  private supervisorTick(): void {
    if (this.supervisor === 'dead') {
      if (this.controller === 'hung') this.controllerDies('found hanging at the next start')
      return
    }
    this.supervise({ kind: 'tick' })
  }

  private supervise(
    input: { [K in SuperviseInput as K['kind']]: Omit<K, 't_us'> }[SuperviseInput['kind']],
  ): void {
    const { state, acts } = superviseStep(this.supervising, { ...input, t_us: this.t_us })
    this.supervising = state
    for (const act of acts) this.act(act)
  }

  private act(act: SuperviseAct): void {
    switch (act.do) {
      case 'beat':
        this.parent_beat_us = this.t_us
        return
      case 'send stop':
        this.event({ kind: 'stop', how: act.how, by: act.by })
        return
      case 'off on spare':
        for (const channel of atOnce(this.parts.plan.off)) this.write(channel.port, channel.off_text)
        return
      case 'kill':
        this.controllerDies('killed by the supervisor')
        return
      case 'make safe':
        this.makeSafe(false)
        return
      case 'record': {
        const entry = happened(this.t_us, 'supervisor', act.what, act.text)
        this.recording.append(this.theirs, [entry], this.t_us)
        return
      }
      case 'notice':
        return
      case 'alarm':
        this.checks.alarmed()
        return
      case 'finish':
        this.how ??= act.result.kind === 'ended' ? `ended: ${act.result.ending.outcome}` : act.result.kind
        if (act.result.kind === 'taken over') this.checks.takenOver(act.result.confirmed)
        return
    }
  }

  private makeSafe(look_first: boolean): void {
    const begun = safeOffBegin(this.parts.plan.off, this.configs, this.t_us, look_first)
    this.safe = begun.state
    for (const wire of this.wires.values()) wire.fresh()
    this.heedSafe(begun.outputs)
    for (const port of Object.keys(begun.state.lines))
      this.later(100_000, () => {
        this.open(port)
      })
  }

  private toSafe(input: SafeOffInput): void {
    if (this.safe === null) return
    const { state, outputs } = safeOffStep(this.safe, input)
    this.safe = state
    this.heedSafe(outputs)
  }

  private heedSafe(outputs: readonly SafeOffOutput[]): void {
    for (const output of outputs) {
      switch (output.kind) {
        case 'write':
          this.write(output.port, output.text)
          break
        case 'reopen':
          this.reopen(output.port)
          break
        case 'record':
          break
        case 'alarm':
          this.checks.alarmed()
          break
        case 'end': {
          const { outputs_off, text } = output.result
          const confirmed = outputs_off === 'confirmed'
          if (this.supervisor === 'well') this.supervise({ kind: 'made safe', confirmed, text })
          else {
            this.checks.takenOver(confirmed)
            this.how ??= 'made safe at the next start'
          }
          break
        }
      }
    }
  }

  private later(after_us: number, act: () => void): void {
    this.due.push({ at_us: Math.round(this.t_us + after_us), act })
  }

  /** What was done to the run and what it decided, in one order. */
  private story(): string[] {
    const decided = this.entries.flatMap((entry) =>
      entry.entry === 'event' &&
      ['begin', 'step', 'prompt', 'trip', 'off', 'alarm', 'ending'].includes(entry.event.what)
        ? [{ t_us: entry.event.t_us, text: `${entry.event.what}: ${entry.event.text}` }]
        : [],
    )
    return [...this.nemesis.told.map(({ t_us, text }) => ({ t_us, text: `** ${text}` })), ...decided]
      .toSorted((a, b) => a.t_us - b.t_us)
      .map(({ t_us, text }) => `${(t_us / 1e6).toFixed(2).padStart(8)} s  ${text.slice(0, 160)}`)
  }
}

/** What waited while the controller stood still is heard when it goes on. */
function stamped(input: LoopInput, t_us: number): LoopInput {
  return input.kind === 'event'
    ? { kind: 'event', event: { ...input.event, t_us } }
    : { kind: 'port', port: input.port, line: { ...input.line, t_us } }
}
