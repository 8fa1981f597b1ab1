import type { Bench } from '../../src/bench/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'
import type { Mischief } from './nemesis.js'

/** In so many runs somebody, or the run before, left outputs on. */
const part = 0.06
/** Below the highest step of any plan here, so that what stands there afterwards is always the run's own doing. */
const most_V = { HT: 95, heater: 6.3, bias: 20 } as const

/** Some outputs are switched on by hand before anything begins; true where they are. */
export function leaveOn(bench: Bench, world: VirtualBench, nemesis: Mischief): boolean {
  if (nemesis.without.has('left on') || nemesis.dice('left on') >= part) return false
  const outputs = Object.entries(bench.supplies).flatMap(([port, { dialect, channels }]) =>
    Object.values(channels).map(({ number, role }) => ({ port, dialect, number, role })),
  )
  // HT alone, without it, or any of them.
  const which = nemesis.dice('left on')
  const on = outputs.filter(({ role }) =>
    which < 0.4 ? role === 'HT' : which < 0.6 ? role !== 'HT' : nemesis.dice('left on') < 0.7,
  )
  for (const { port, dialect, number, role } of on) {
    const most = role === 'HT' || role === 'heater' || role === 'bias' ? most_V[role] : 0
    const volts = (most * (role === 'HT' ? nemesis.dice('left on') : 1)).toFixed(1)
    for (const words of [dialect.set_volts, dialect.on]) {
      const said = `${dialect.select ?? ''}${words}`
        .replaceAll('{n}', String(number))
        .replaceAll('{v}', volts)
      world.receive(port, said + dialect.terminator, 0)
    }
  }
  if (on.length > 0) nemesis.did('left on', 0)
  return on.length > 0
}
