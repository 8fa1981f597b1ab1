import type { VirtualBench } from '../../src/virtual/index.js'
import { garbled, type Mischief } from './nemesis.js'

/** One line between computer and supply or meter: text takes its time, and the nemesis lies in wait on both ways. */
export class Wire {
  private readonly out: { readonly at_us: number; readonly text: string }[] = []
  private readonly back: { readonly at_us: number; readonly text: string }[] = []
  private partial = ''
  private asked = ''
  /** Let pass by the one that comes after it. */
  private overtaken = ''
  down_until_us = 0

  constructor(
    readonly port: string,
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
    /** Told what arrives at the supply. */
    private readonly arrives: (text: string, t_us: number) => void,
  ) {}

  /** From the computer. */
  write(text: string, t_us: number): void {
    if (t_us < this.down_until_us || this.nemesis.hits('drop to supply', t_us, text)) return
    const said = this.nemesis.hits('garble to supply', t_us, text) ? garbled(text, this.nemesis) : text
    const late = this.nemesis.hits('delay to supply', t_us)
      ? this.nemesis.between('delay', 20_000, 3_000_000)
      : 0
    const at_us = Math.max(t_us + late, this.out.at(-1)?.at_us ?? 0)
    this.out.push({ at_us, text: said })
    if (this.nemesis.hits('twice to supply', t_us)) this.out.push({ at_us, text: said })
  }

  /** The supply hears what has arrived, and its replies set out. */
  carry(t_us: number): void {
    for (let next = this.out[0]; next !== undefined && next.at_us <= t_us; next = this.out[0]) {
      this.out.shift()
      this.world.receive(this.port, next.text, t_us)
      this.arrives(next.text, t_us)
      if (next.text.includes('?')) this.asked = next.text.trim()
    }
    const reply = this.world.take(this.port, t_us)
    if (reply === '' || t_us < this.down_until_us) return
    if (this.nemesis.hits('drop to controller', t_us, reply)) return
    const made = this.nemesis.answers?.(this.port, this.asked, reply, t_us)
    if (made === null) return
    const text = made?.text ?? reply
    const said = this.nemesis.hits('garble to controller', t_us, text) ? garbled(text, this.nemesis) : text
    const late = this.nemesis.hits('delay to controller', t_us, text)
      ? this.nemesis.between('delay', 20_000, 3_000_000)
      : (made?.late_us ?? 0)
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
