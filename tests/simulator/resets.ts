import { type Bench, channelMessage } from '../../src/bench/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'

/**
 * A supply comes back from a blink of its own mains as it left its factory: outputs off, nothing latched, set-points at nothing, current
 * limits and over-voltage levels at their most and switched off, no dead-man armed. Said in its own words, as at its panel, since
 * nothing else about a virtual supply can be told from outside.
 */
export function reset(bench: Bench, world: VirtualBench, port: string, t_us: number): void {
  const supply = bench.supplies[port]
  if (supply === undefined) return
  const { dialect, channels } = supply
  for (const [name, { number, min_V, max_V, max_A, over_voltage }] of Object.entries(channels)) {
    world.clear(`${port}.${name}`)
    const say = (words: string | null, value = ''): void => {
      if (words !== null) world.receive(port, channelMessage(dialect, number, words, value), t_us)
    }
    say(dialect.off)
    say(dialect.set_volts, min_V.toFixed(2))
    say(dialect.set_amps, max_A.toFixed(3))
    if (!over_voltage) continue
    say(dialect.set_over_volts, (1.1 * max_V).toFixed(1))
    say(dialect.over_volts_on?.replace(/\bON$/, 'OFF') ?? null)
  }
  for (const words of dialect.dead_man?.disarm ?? []) world.receive(port, words + dialect.terminator, t_us)
}
