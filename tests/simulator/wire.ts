import type { VirtualBench } from '../../src/virtual/index.js'
import { garbled, type Mischief, type NemesisKind } from './nemesis.js'

/** Told what becomes of what is said over a line. */
export interface Watcher {
  /** At the supply. */
  arrives(port: string, text: string, t_us: number): void
  /** It did not get there as it was said, nor at its time: until then. */
  disturbed(port: string, until_us: number): void
}
/** What one reading too high says, between these: above every ceiling of the simulator's sets, within what its supplies can give, µA. */
const too_high_uA = [60_000, 200_000] as const

/** One line between computer and supply or meter: text takes its time, and the nemesis lies in wait on both ways. */
export class Wire {
  private readonly out: { readonly at_us: number; readonly text: string }[] = []
  private readonly back: { readonly at_us: number; readonly text: string }[] = []
  private partial = ''
  private asked = ''
  /** Let pass by the one that comes after it. */
  private overtaken = ''
  private too_high_A: number | null = null
  down_until_us = 0

  constructor(
    readonly port: string,
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
    private readonly watcher: Watcher,
    /** The question for the current of HT; null on every other line. */
    private readonly asks_A: string | null,
  ) {}

  /** From the computer. */
  write(text: string, t_us: number): void {
    if (t_us < this.down_until_us) return
    if (this.hits('drop to supply', t_us, text)) return
    const said = this.hits('garble to supply', t_us, text) ? garbled(text, this.nemesis) : text
    const late = this.hits('delay to supply', t_us) ? this.late_us(t_us) : 0
    const at_us = Math.max(t_us + late, this.out.at(-1)?.at_us ?? 0)
    this.out.push({ at_us, text: said })
    if (this.nemesis.hits('twice to supply', t_us)) this.out.push({ at_us, text: said })
  }

  /** The supply hears what has arrived, and its replies set out. */
  carry(t_us: number): void {
    for (let next = this.out[0]; next !== undefined && next.at_us <= t_us; next = this.out[0]) {
      this.out.shift()
      this.world.receive(this.port, next.text, t_us)
      this.watcher.arrives(this.port, next.text, t_us)
      if (next.text.includes('?')) this.asked = next.text.trim()
    }
    const reply = this.world.take(this.port, t_us)
    if (reply === '' || t_us < this.down_until_us) return
    if (this.hits('drop to controller', t_us, reply)) return
    const told = this.seen(reply)
    const made = this.nemesis.answers?.(this.port, this.asked, told, t_us)
    if (made === null) return
    const text = made?.text ?? told
    const said = this.hits('garble to controller', t_us, text) ? garbled(text, this.nemesis) : text
    const late = this.hits('delay to controller', t_us, text) ? this.late_us(t_us) : (made?.late_us ?? 0)
    const at_us = Math.max(t_us + late, this.back.at(-1)?.at_us ?? 0)
    const before = this.overtaken
    this.overtaken = ''
    if (before === '' && this.nemesis.hits('reordered to controller', t_us, text)) {
      this.overtaken = said
      return
    }
    this.back.push({ at_us, text: said + before })
    if (this.nemesis.hits('twice to controller', t_us)) this.back.push({ at_us, text: said })
  }

  /** The next current that HT is asked for is one that no ceiling allows: something flashed over in that moment. */
  flashes(): void {
    this.too_high_A = this.nemesis.between('too high', ...too_high_uA) / 1e6
  }
  private seen(reply: string): string {
    if (this.too_high_A === null || this.asks_A === null || !this.asked.endsWith(this.asks_A)) return reply
    const told = reply.replace(/[+-]?\d+(\.\d+)?(E[+-]?\d+)?/i, this.too_high_A.toFixed(5))
    this.too_high_A = null
    return told
  }

  private hits(kind: NemesisKind, t_us: number, what?: string): boolean {
    if (!this.nemesis.hits(kind, t_us, what)) return false
    this.watcher.disturbed(this.port, t_us)
    return true
  }
  private late_us(t_us: number): number {
    const late_us = this.nemesis.between('delay', 20_000, 3_000_000)
    this.watcher.disturbed(this.port, t_us + late_us)
    return late_us
  }

  /** Whole lines that have arrived at the computer. */
  lines(t_us: number): string[] {
    if ((this.back[0]?.at_us ?? Infinity) > t_us) return []
    let text = this.partial
    for (let next = this.back[0]; next !== undefined && next.at_us <= t_us; next = this.back[0]) {
      this.back.shift()
      text += next.text
    }
    const pieces = text.split(/[\r\n]/)
    this.partial = pieces.pop() ?? ''
    // The gate before a real port lets no line pass that is longer (supply/gate.ts).
    return pieces.filter((piece) => piece.length <= 256)
  }

  next_us(): number {
    return Math.min(this.out[0]?.at_us ?? Infinity, this.back[0]?.at_us ?? Infinity)
  }

  /** A new connection meets nothing of the old one. */
  fresh(): void {
    this.partial = ''
    this.overtaken = ''
    this.back.length = 0
  }
}
