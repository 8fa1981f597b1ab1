import type { LineConfig, LineInput } from '../../src/line/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'
import type { Invariants } from './invariants.js'
import type { Mischief } from './nemesis.js'
import type { Observer } from './observer.js'
import { type Part, relay_feed } from './parts.js'
import { reset } from './resets.js'
import { Wire } from './wire.js'

const reopen_us = 200_000
/** Whoever insists tries a port again so much later. */
const insist_us = 100_000

/** What the lines have of the run around them. */
interface Around {
  readonly now_us: number
  /** Whoever holds the ports opens what it can, however often it must (make-safe.ts). */
  readonly insists: boolean
  later(after_us: number, act: () => void): void
  /** To whoever holds the ports. */
  line(port: string, line: LineInput): void
}

/** All lines between computer and bench: what is written and heard over them, how they are opened, and what befalls them. */
export class Lines {
  private readonly wires: readonly Wire[]
  private readonly wireOf: ReadonlyMap<string, Wire>
  readonly ports: readonly string[]
  /** Of the ports those with outputs. */
  readonly supplies: readonly string[]

  constructor(
    private readonly parts: Part,
    configs: readonly LineConfig[],
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
    private readonly checks: Invariants,
    private readonly observer: Observer,
    private readonly around: Around,
  ) {
    const hot = parts.plan.rails['HT']?.channels.map(({ port }) => port) ?? []
    this.wires = configs.map(({ port, dialect }) => {
      const asks_A = hot.includes(port) ? dialect.measure_amps : null
      return new Wire(port, world, nemesis, checks, asks_A)
    })
    this.wireOf = new Map(this.wires.map((wire) => [wire.port, wire]))
    this.ports = this.wires.map(({ port }) => port)
    this.supplies = this.ports.filter((port) => port in parts.bench.supplies)
  }

  next_us(): number {
    let first = Infinity
    for (const wire of this.wires) first = Math.min(first, wire.next_us())
    return first
  }

  /** What has arrived by now, at either end. */
  carry(): void {
    const t_us = this.around.now_us
    const talks = this.world.due(t_us)
    for (const wire of this.wires) {
      if (wire.next_us() > t_us && !talks.includes(wire.port)) continue
      wire.carry(t_us)
      for (const text of wire.lines(t_us)) {
        this.observer.hears(wire.port, text)
        this.around.line(wire.port, { kind: 'text', t_us, text })
      }
    }
  }

  /** A write that the port refuses is the end of the connection, as with a real one. */
  write(port: string, text: string): void {
    const t_us = this.around.now_us
    if (text.includes(relay_feed)) this.checks.feedsRelay(t_us)
    this.observer.writes(port, text, t_us)
    if (!this.nemesis.hits('port refuses', t_us, text)) {
      this.wireOf.get(port)?.write(text, t_us)
      return
    }
    this.checks.disturbed(port, t_us)
    this.closes(port, 'the port refused what was written')
  }

  reopen(port: string): void {
    this.wireOf.get(port)?.fresh()
    this.closes(port, 'closed to make a fresh connection')
    this.open(port, reopen_us)
  }
  private closes(port: string, text: string): void {
    this.around.later(0, () => {
      this.around.line(port, { kind: 'closed', t_us: this.around.now_us, text })
    })
  }

  open(port: string, after_us: number): void {
    this.around.later(after_us, () => {
      this.opened(port)
    })
  }
  private opened(port: string): void {
    const wire = this.wireOf.get(port)
    if (wire === undefined) return
    const t_us = this.around.now_us
    const down = t_us < wire.down_until_us || this.nemesis.hits('port refuses', t_us, 'open')
    if (down) this.checks.disturbed(port, t_us)
    if (down) this.around.line(port, { kind: 'closed', t_us, text: 'No such file or directory' })
    else this.around.line(port, { kind: 'opened', t_us })
    if (down && this.around.insists) this.open(port, insist_us)
  }

  /** Whoever holds them now has heard nothing of what was said before. */
  fresh(): void {
    for (const wire of this.wires) wire.fresh()
  }
  flashes(): void {
    for (const wire of this.wires) wire.flashes()
  }

  mainsDip(dark_us: number): void {
    for (const name of Object.keys(this.world.truth().outputs)) this.world.clear(name)
    for (const { port } of this.wires) this.falls(port, dark_us)
  }
  supplyResets(port: string, dark_us: number): void {
    this.world.advance(this.around.now_us)
    reset(this.parts.bench, this.world, port, this.around.now_us)
    this.falls(port, dark_us)
  }
  unplugged(port: string, for_us: number): void {
    this.falls(port, for_us)
    this.around.line(port, { kind: 'closed', t_us: this.around.now_us, text: 'the device is gone' })
  }
  /** Nothing goes over it for so long. */
  private falls(port: string, for_us: number): void {
    const wire = this.wireOf.get(port)
    if (wire === undefined) return
    wire.down_until_us = this.around.now_us + for_us
    this.checks.pulled(port, wire.down_until_us)
    wire.fresh()
  }
}
