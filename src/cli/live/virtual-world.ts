import type { VirtualBench } from '../../virtual/index.js'
import type { VirtualPorts } from './virtual-ports.js'

/** Keeps a virtual bench at the pace of a real clock (× speed) and carries its bytes to and from its ports. */
export interface VirtualWorld {
  received(port: string, text: string): void
  /** Time of the world now, µs. */
  now_us(): number
  stop(): void
}

/** Long enough to leave a core free, short enough that charge and heat move smoothly between two questions. */
const advance_every_ms = 10

export function runWorld(bench: VirtualBench, speed: number, ports: () => VirtualPorts | null): VirtualWorld {
  const began = process.hrtime.bigint()
  const now_us = (): number => Math.round((Number(process.hrtime.bigint() - began) / 1000) * speed)
  let due: ReturnType<typeof setTimeout> | null = null

  const serve = (): void => {
    const t_us = now_us()
    bench.advance(t_us)
    const open = ports()
    if (open !== null) {
      for (const port of bench.ports()) {
        const text = bench.take(port, t_us)
        if (text !== '') open.write(port, text)
      }
    }
    plan()
  }
  /** A reply goes out when it is due, not at the next regular turn: the supply's answering time is part of the line. */
  const plan = (): void => {
    if (due !== null) clearTimeout(due)
    due = null
    const next_us = bench.next_us()
    if (next_us === null) return
    const wait_ms = (next_us - now_us()) / 1000 / speed
    if (wait_ms < 0.5) due = setTimeout(serve, 0)
    else due = setTimeout(serve, wait_ms)
  }
  const regular = setInterval(serve, advance_every_ms)
  return {
    received(port, text) {
      bench.receive(port, text, now_us())
      plan()
    },
    now_us,
    stop() {
      clearInterval(regular)
      if (due !== null) clearTimeout(due)
    },
  }
}
