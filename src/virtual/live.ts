import type { Element } from '../network/index.js'
import type { Parts } from './parts.js'
import { emission } from './warmth.js'

/** Volts of the network's nodes as they stand; a node that it does not know stands at 0. */
export interface Volts {
  volt(node: string): number
}

/** An element whose value follows the state of its part. */
export interface Live {
  readonly name: string
  /** What its value depends on now; it is put into the network again when this moves by more than a little. */
  key(volts: Volts): number
  element(volts: Volts): Element
  last: number
  /** Moves smaller than this in `key` do not matter. */
  readonly floor: number
}

/** Volts from `a` to `b`. */
export function across(volts: Volts, a: string, b: string): number {
  return volts.volt(a) - volts.volt(b)
}

/** Share of its hot emission that a tube has now: heat, spread, fault, and the slow rise of a cathode long asleep. */
export function vigour(parts: Parts, tube: string): number {
  const heater = parts.heaters.get(tube)
  const strength = parts.strength.get(tube) ?? 1
  if (heater === undefined || !parts.heatedHere.has(tube)) return parts.tube(tube) * strength
  const awake = 1 - parts.asleep(tube) * Math.exp(-heater.active_s / 900)
  return parts.tube(tube) * strength * emission(heater) * awake
}
