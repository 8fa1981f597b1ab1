import type { Channel, Supply } from '../bench/index.js'
import type { RailLimits, Reason, TakenOutput } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { setDown } from './limits.js'
import { idleRail } from './setup.js'
import type { Order } from './types.js'

/* Outputs beside the one under test: on at a few volts, with nothing connected, while the dead-man is proved. */

const ours = "slowglow's own choice, no published source"
/** Below what counts as off: such an output needs nothing to discharge it. */
const few_V = 4
/** So many steps of the read-back must lie in it, or nobody sees whether it goes. */
const steps = 20

export interface Beside {
  readonly channel: string
  readonly rail: string
  readonly spec: Channel
  readonly V: number
  readonly stated: TakenOutput['stated']
}

/** Which outputs can be watched, and why another cannot. */
export function besideOf(
  { channels, dialect }: Supply,
  order: Order,
): { readonly beside: readonly Beside[]; readonly unseen: readonly string[] } {
  const beside: Beside[] = []
  const unseen: string[] = []
  const port = order.channel.slice(0, order.channel.lastIndexOf('.'))
  if (dialect.dead_man === null) return { beside, unseen }
  const stated = dialect.dead_man.per === 'supply' ? 'goes' : 'stays'
  for (const [name, spec] of Object.entries(channels)) {
    const channel = `${port}.${name}`
    if (channel === order.channel) continue
    const V = setDown(few_V, spec.set_digits_V)
    const why =
      V < spec.min_V
        ? `it gives no less than ${formatShort(spec.min_V, 'V')}`
        : V < steps * spec.resolution_V
          ? `it reads back in steps of ${formatShort(spec.resolution_V, 'V')}`
          : null
    if (why === null) beside.push({ channel, rail: idleRail(channel), spec, V, stated })
    else unseen.push(`whether the dead-man takes ${channel}: ${why}, so it stays off`)
  }
  return { beside, unseen }
}

/** Limits of an output with nothing on it, or no more than its bleeder. `rising`: its own capacitor is charged. */
export function besideLimits({ spec, V }: Beside, rising: boolean): RailLimits {
  const bled_A = spec.bleeder_ohm === null ? 0 : V / spec.bleeder_ohm
  const upper_A = 1.2 * bled_A + spec.accuracy_A.plus + 2 * spec.resolution_A
  const trip_A = 1.5 * upper_A + 3 * spec.resolution_A
  const supply_limit_A = Math.min(spec.max_A, Math.max(2 * trip_A, 0.05 * spec.max_A, spec.min_A))
  const over_V = spec.over_voltage
    ? Math.min(spec.max_V, V + Math.max(spec.over_voltage_margin_V, 0.1 * V, 3 * spec.resolution_V))
    : 0
  const reason = (limit: Reason['limit'], value: number, why: string): Reason => ({
    limit,
    value,
    unit: 'A',
    text: `${limit} ${formatShort(value, 'A')}: ${why}`,
    source: ours,
  })
  return {
    at_V: V,
    expected_A: 0,
    lower_A: 0,
    upper_A,
    ask_A: 0,
    trip_A,
    ceiling_A: 1.2 * trip_A,
    charge_A: rising ? supply_limit_A : 0,
    supply_limit_A,
    over_voltage_V: over_V,
    because: [
      reason('expected', 0, 'nothing is connected'),
      reason('band', upper_A, "the read-back's errors, and its bleeder where one is clipped on"),
      reason('trip', trip_A, 'half as much again'),
      reason('supply limit', supply_limit_A, 'what charges its own output capacitor'),
    ],
    sees: null,
  }
}
