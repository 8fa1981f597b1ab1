import { chance } from '../../src/chance/index.js'
import type { SafeOffResult } from '../../src/controller/safe-off.js'
import type { SuperviseResult } from '../../src/controller/supervise.js'
import { lineConfigsOf, type LineInput } from '../../src/line/index.js'
import type { Ask } from '../../src/plan/index.js'
import { happened, type RunEnding, type RunEntry, streamIds, streamsOf } from '../../src/story/index.js'
import { createVirtualBench } from '../../src/virtual/index.js'
import { Controller, type Outside, tick_us } from './controller.js'
import { Invariants } from './invariants.js'
import { leaveOn } from './left-on.js'
import { Lines } from './lines.js'
import { type Hands, MakingSafe } from './making-safe.js'
import { type Mischief, Nemesis, type NemesisKind } from './nemesis.js'
import { Observer } from './observer.js'
import { drawFaults } from './own-faults.js'
import { drawKind, type KindOfRun, type Part, type Parts } from './parts.js'
import { type Charge, Overseer } from './overseer.js'
import { answerTo } from './person.js'
import { Recording, Teller } from './recording.js'
import { storyOf } from './story.js'
import { appoint, type Struck } from './strikes.js'

const poll_us = 200_000
/** What somebody left on stands by then. */
const settles_us = 1_000_000
/** More things than this in one tick, and something is due again and again. */
const most_in_tick = 20_000
export interface Simulated {
  readonly of: KindOfRun
  readonly seed: number
  readonly virtual_s: number
  readonly how: string
  /** Code of what ended it, as its own record says; null where it ran through or was taken over. */
  readonly reason: string | null
  /** When everything was first put off, s. */
  readonly off_s: number | null
  readonly faults: ReadonlyMap<string, number>
  /** OFFs that went out at first look. */
  readonly first_looks: number
  readonly broken: readonly { readonly invariant: string; readonly t_s: number; readonly text: string }[]
  readonly story: readonly string[]
  /** Its record, as it was told. */
  readonly entries: readonly RunEntry[]
}

/** Controller, supervisor, recorder, person, lines, supplies and set under one clock that the seed drives. */
export function simulate(
  parts: Parts,
  seed: number,
  without: ReadonlySet<string> = new Set(),
  goesOn = true,
): Simulated {
  const source = chance(seed)
  const part = parts.kind(drawKind(source))
  return simulateWith(part, seed, new Nemesis(source, without, part.stretch), goesOn)
}

/** The same with somebody else doing things to it. `goesOn`: to its end, whatever breaks on the way. */
export function simulateWith(parts: Part, seed: number, nemesis: Mischief, goesOn = true): Simulated {
  return new Simulation(parts, seed, nemesis).run(goesOn)
}

class Simulation implements Struck, Outside, Charge, Hands {
  private t_us = 0
  private readonly world
  private readonly lines: Lines
  private readonly configs
  private readonly entries: RunEntry[] = []
  private readonly observer
  private readonly checks
  private due: { readonly at_us: number; readonly act: () => void }[] = []

  private readonly controller: Controller
  private readonly supervisor: Overseer
  readonly recording
  private readonly own
  private readonly theirs
  /** What strikes when HT stands high, and how long after. */
  private high: { readonly after_us: number; readonly act: () => void }[] = []
  /** Everybody who answers questions takes this part of an ordinary person's time: most runs are short ones. */
  private readonly pace
  private readonly safe: MakingSafe
  private how: string | null = null

  constructor(
    private readonly parts: Part,
    private readonly seed: number,
    readonly nemesis: Mischief,
  ) {
    const { plan, bench } = parts
    this.configs = lineConfigsOf(bench).map((config) => ({ ...config, poll_us }))
    this.world = createVirtualBench(parts.behind, bench, {
      seed,
      faults: drawFaults(this.nemesis, parts),
      mode: plan.steps[0]?.mode ?? '',
    })
    this.observer = new Observer(plan, bench, this.world, this.nemesis, (invariant, t_us, text) => {
      this.checks.broke(invariant, t_us, text)
    })
    this.checks = new Invariants(plan, bench, this.world, this.nemesis, this.observer)
    this.lines = new Lines(parts, this.configs, this.world, this.nemesis, this.checks, this.observer, this)
    this.supervisor = new Overseer(plan.off, this)
    this.safe = new MakingSafe(plan.off, this.configs, this)
    this.pace = this.nemesis.dice('pace') < 0.9 ? 0.05 : 1
    const channel = this.nemesis.dice('start') < 0.15 ? 'terminal' : 'rehearsal'
    const streams = streamsOf(plan)
    this.controller = new Controller(plan, this.configs, streamIds(streams), this, this.checks, channel)
    this.recording = new Recording(this.nemesis)
    this.own = this.recording.join(
      new Teller('controller', {
        recorded: (intent) => {
          this.controller.event({ kind: 'recorded', intent })
        },
        trouble: (text) => {
          this.controller.event({ kind: 'recorder lost', text })
        },
      }),
    )
    this.theirs = this.recording.join(
      new Teller('supervisor', { recorded: () => undefined, trouble: () => undefined }),
    )
    this.entries.push(...streams.map((stream): RunEntry => ({ entry: 'stream', stream })))
    this.recording.append(this.theirs, this.entries, 0)
  }

  tell(entry: RunEntry): void {
    this.entries.push(entry)
    this.recording.append(this.own, [entry], this.t_us)
  }

  run(goesOn: boolean): Simulated {
    const after_us = leaveOn(this.parts.bench, this.world, this.nemesis) ? settles_us : 0
    for (const [i, { port }] of this.configs.entries())
      this.later(after_us + 20_000 * (i + 1), () => {
        this.controller.hear({ kind: 'port', port, line: { kind: 'opened', t_us: this.t_us } })
      })
    appoint(this)
    const most_us = this.nemesis.calm_us + (this.parts.plan.time_budget_s + 2000) * 1e6
    try {
      const ends = (): boolean => this.how !== null || (!goesOn && this.checks.broken.length > 0)
      while (!ends() && this.t_us < most_us) this.tick()
      if (this.how === null) this.checks.broke('ends in bounded time', this.t_us, 'it did not end')
      this.checks.atEnd(this.t_us, this.controller.ending, this.how ?? '', this.entries)
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
    const { ending } = this.controller
    return {
      of: this.parts.of,
      seed: this.seed,
      virtual_s: this.t_us / 1e6,
      how: this.how ?? 'did not end',
      reason: ending?.outcome === 'completed' ? null : (ending?.reason?.code ?? null),
      off_s: this.checks.offAt_us === null ? null : this.checks.offAt_us / 1e6,
      faults: this.nemesis.injected,
      broken: this.checks.broken,
      first_looks: this.checks.first_looks,
      story: this.checks.broken.length === 0 ? [] : storyOf(this.nemesis, this.entries),
      entries: this.entries,
    }
  }

  // What befalls it once.

  get ports(): readonly string[] {
    return this.lines.ports
  }
  get supplies(): readonly string[] {
    return this.lines.supplies
  }
  /** Whoever makes safe opens what it can, however often it must. */
  get insists(): boolean {
    return this.safe.atWork
  }

  get now_us(): number {
    return this.t_us
  }
  strikes(kind: NemesisKind): boolean {
    if (this.how !== null) return false
    this.nemesis.did(kind, this.t_us)
    return true
  }
  onceHigh(after_us: number, act: () => void): void {
    this.high.push({ after_us, act })
  }
  controllerStalls(for_us: number): void {
    this.controller.stalls(for_us)
  }
  controllerHangs(): void {
    this.controller.hang()
  }
  powerCut(): void {
    this.recording.powerCut(this.t_us)
    this.supervisor.dies()
    this.controllerDies('the computer lost its power')
    this.stopsMakingSafe()
  }
  mainsDip(dark_us: number): void {
    this.lines.mainsDip(dark_us)
  }
  supplyResets(port: string, dark_us: number): void {
    this.lines.supplyResets(port, dark_us)
  }
  clockJumps(by_us: number): void {
    this.controller.clockJumps(by_us)
    // What it was to say again is due that much later.
    for (const port of this.ports) this.checks.disturbed(port, this.t_us + Math.max(0, -by_us))
  }
  sleeps(for_us: number): void {
    this.due = this.due.map(({ at_us, act }) => ({ at_us: at_us + for_us, act }))
    this.recording.slept(for_us)
    const until_us = this.t_us + for_us
    this.controller.slept(for_us)
    // Supplies and set do not sleep: what runs out there runs out at its time.
    for (; this.t_us < until_us; this.t_us = Math.min(until_us, this.t_us + tick_us))
      this.world.advance(this.t_us)
    this.world.advance(this.t_us)
    for (const port of this.ports) this.checks.disturbed(port, this.t_us)
  }
  unplugged(port: string, for_us: number): void {
    this.lines.unplugged(port, for_us)
  }

  parentDies(): void {
    const itself = this.supervisor.lives
    this.supervisor.dies()
    // Whoever starts next makes safe in a process of its own.
    if (itself) this.stopsMakingSafe()
    this.recording.dies(this.theirs, this.t_us)
    this.later(1000, () => {
      this.controller.parentLost('its end of the connection closed')
    })
  }

  /** Who was making safe is gone with its connections: what it has not done by now the next start does. */
  private stopsMakingSafe(): void {
    if (!this.safe.atWork) return
    this.safe.dies()
    this.lines.fresh()
    this.nextStart()
  }

  flashes(): void {
    this.lines.flashes()
  }
  stop(): void {
    this.supervisor.take({ kind: 'stop', by: 'Ctrl-C', now: false })
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
    this.controller.tick()
    this.supervisorTick()
    this.safe.hear({ kind: 'tick', t_us: this.t_us })
    this.recording.tick(this.t_us)
    const { sequencer, awake } = this.controller
    const ht_V = Math.abs(this.world.truth().rails['HT']?.volts ?? 0)
    this.checks.atTick(this.t_us, sequencer, { awake, watched: this.supervisor.lives, ht_V })
    this.observer.atTick(this.t_us, ht_V)
    if (this.high.length > 0 && ht_V > this.parts.high_V) {
      for (const { after_us, act } of this.high) this.later(after_us, act)
      this.high = []
    }
    this.nemesis.looks?.(sequencer, this.t_us, this.world.truth().outputs)
    const step = this.parts.plan.steps[sequencer.step]
    if (step !== undefined) this.world.step(step.index)
  }

  private soonest(): number {
    let first = Math.min(this.world.next_us() ?? Infinity, this.lines.next_us())
    if (this.holdsPorts()) first = Math.min(first, this.controller.next_us())
    first = Math.min(first, this.recording.next_us())
    for (const { at_us } of this.due) first = Math.min(first, at_us)
    return first
  }

  /** The controller can act, and the ports are its own. */
  private holdsPorts(): boolean {
    return !this.safe.atWork && this.controller.drives
  }

  private happen(): void {
    this.lines.carry()
    if (this.holdsPorts()) this.controller.wake()
    this.recording.run(this.t_us)
    if (!this.due.some(({ at_us }) => at_us <= this.t_us)) return
    const now = this.due.filter(({ at_us }) => at_us <= this.t_us)
    this.due = this.due.filter(({ at_us }) => at_us > this.t_us)
    for (const { act } of now) act()
  }

  /** To whoever holds the ports. */
  line(port: string, line: LineInput): void {
    if (this.safe.atWork) this.safe.hear({ kind: 'port', port, line })
    else this.controller.hear({ kind: 'port', port, line })
  }

  write(port: string, text: string): void {
    this.lines.write(port, text)
  }

  turnDown(rail: string): void {
    this.world.turn(rail, 0)
  }

  asks(prompt: number, ask: Ask): void {
    this.observer.asks(ask.about)
    // Whoever leaves it alone has said that hands are clear, and answers nothing from there on.
    if (this.parts.plan.unattended !== undefined && this.checks.risen) return
    const { plan, equipment, bench } = this.parts
    const step = plan.steps[this.controller.sequencer.step] ?? null
    const at = { plan, equipment, bench, world: this.world, step }
    const given = answerTo(ask, at, this.nemesis, this.t_us, this.pace)
    if (given === null) return
    for (const after_us of given.after_us)
      this.later(after_us, () => {
        this.world.advance(this.t_us)
        const value = given.said()
        this.observer.answers(value, this.t_us)
        this.controller.event({ kind: 'answer', prompt, value, by: 'terminal' })
      })
  }

  reopen(port: string): void {
    this.lines.reopen(port)
  }
  open(port: string, after_us: number): void {
    this.lines.open(port, after_us)
  }

  // What the controller's process says, and who watches it.

  foundOn(): void {
    this.supervisor.take({ kind: 'found on' })
  }
  ready(identities: Readonly<Record<string, string>>): boolean {
    if (this.supervisor.lives) this.safe.knows(identities)
    this.supervisor.take({ kind: 'ready' })
    this.supervisor.take({ kind: 'begun' })
    return this.supervisor.lives
  }
  notReachable(text: string, on: readonly string[]): void {
    if (this.supervisor.lives) this.supervisor.take({ kind: 'not reachable', text, on })
    else this.controllerDies(text)
  }
  beats(): void {
    this.supervisor.take({ kind: 'beat' })
  }
  leaves(how: string): void {
    this.controllerDies(how)
  }
  ended(ending: RunEnding): void {
    this.recording.close(this.own)
    this.later(1000, () => {
      if (this.supervisor.lives) {
        this.supervisor.take({ kind: 'ended', ending })
        this.supervisor.take({ kind: 'exited', how: 'code 0' })
      } else this.how ??= `ended by the controller: ${ending.outcome}`
    })
  }

  controllerDies(how: string): void {
    if (!this.controller.dies()) return
    this.recording.dies(this.own, this.t_us)
    this.later(2000, () => {
      if (this.supervisor.lives) this.supervisor.take({ kind: 'exited', how })
      else this.nextStart()
    })
  }

  /** Nobody is left: the outputs stay as they are until somebody starts again, whose first act is to make safe. */
  private nextStart(): void {
    if (this.safe.atWork || this.how !== null) return
    if (this.controller.ending !== null) return
    this.later(5_000_000, () => {
      if (!this.safe.atWork) this.beginSafe(true)
    })
  }

  private supervisorTick(): void {
    if (this.supervisor.lives) this.supervisor.take({ kind: 'tick' })
    else if (this.controller.hangs) this.controllerDies('found hanging at the next start')
  }
  beatsToController(): void {
    this.controller.parentBeats()
  }
  stopsController(how: 'run down' | 'off now', by: string): void {
    this.controller.event({ kind: 'stop', how, by })
  }
  records(what: string, text: string): void {
    this.recording.append(this.theirs, [happened(this.t_us, 'supervisor', what, text)], this.t_us)
  }
  finished(result: SuperviseResult): void {
    this.how ??= result.kind === 'ended' ? `ended: ${result.ending.outcome}` : result.kind
    if (result.kind === 'taken over') this.checks.takenOver(result.confirmed)
  }

  makeSafe(): void {
    this.beginSafe(false)
  }
  private beginSafe(look_first: boolean): void {
    this.lines.fresh()
    this.safe.begin(this.t_us, look_first)
  }
  alarmed(): void {
    this.checks.alarmed()
  }
  made({ outputs_off, rails, text }: SafeOffResult): void {
    const confirmed = outputs_off === 'confirmed'
    this.checks.madeSafe(rails)
    if (this.supervisor.lives) this.supervisor.take({ kind: 'made safe', confirmed, text })
    else {
      this.checks.takenOver(confirmed)
      this.how ??= 'made safe at the next start'
    }
  }

  later(after_us: number, act: () => void): void {
    this.due.push({ at_us: Math.round(this.t_us + after_us), act })
  }
}
