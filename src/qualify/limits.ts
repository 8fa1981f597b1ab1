import type { Channel } from '../bench/index.js'
import { formatShort } from '../quantities/index.js'
import type { RailLimits, Reason } from '../plan/index.js'
import type { Order } from './types.js'

/* Limits of a resistor: volts over ohms, its tolerance and its rating. */

const ours = "slowglow's own choice, no published source"
const byOhm = "Ohm's law, and the load as you stated it"

/** Where read-back is compared: a tenth, a half and all of what was accepted. */
export function levelsOf(order: Order, channel: Channel): readonly number[] {
  return [0.1, 0.5, 1].map((part) => setDown(part * order.top_V, channel.set_digits_V))
}

/** Rounded down to what can be set. */
export function setDown(value: number, digits: number): number {
  let scale = 1
  for (let i = 0; i < digits; i++) scale *= 10
  return Math.floor(value * scale + 1e-6) / scale
}

export function parallel_ohm(a: number, b: number | null): number {
  return b === null ? a : 1 / (1 / a + 1 / b)
}

/** Band of the current, A: what the load and the read-back allow. */
function bandAt(order: Order, channel: Channel, V: number): { low: number; high: number; usual: number } {
  const usual = V / ohmOf(order, channel)
  const error = channel.accuracy_A.of_reading * usual + channel.accuracy_A.plus + 2 * channel.resolution_A
  // What is set is off by the supply's own error too, most at low volts.
  const volts =
    (channel.accuracy_V.of_reading * V + channel.accuracy_V.plus + channel.resolution_V) / Math.max(V, 1e-9)
  const part = order.load.tolerance + volts
  return { usual, low: Math.max(0, usual * (1 - part) - error), high: usual * (1 + part) + error }
}

/** The supply's own limit: what heats the load at most. */
export function limitOf(order: Order, channel: Channel, V: number): number {
  const trip_A = tripOf(order, channel, V)
  return Math.max(1.1 * trip_A + 2 * channel.resolution_A, channel.min_A)
}

function tripOf(order: Order, channel: Channel, V: number): number {
  return 1.05 * bandAt(order, channel, V).high + 3 * channel.resolution_A
}

/**
 * Limits at one set-point. `rising`: the output capacitor, which is not known yet, is charged as fast as the supply can, so that
 * its own limit is what bounds the current meanwhile.
 */
export function limitsAt(order: Order, channel: Channel, V: number, rising: boolean): RailLimits {
  const band = bandAt(order, channel, V)
  const trip_A = tripOf(order, channel, V)
  const supply_limit_A = Math.min(channel.max_A, limitOf(order, channel, V))
  const ceiling_A = 1.05 * trip_A
  const over_V = channel.over_voltage
    ? Math.min(channel.max_V, V + Math.max(channel.over_voltage_margin_V, 0.05 * V, 3 * channel.resolution_V))
    : 0
  const reason = (
    limit: Reason['limit'],
    value: number,
    unit: 'A' | 'V',
    why: string,
    source: string,
  ): Reason => ({
    limit,
    value,
    unit,
    text: `${limit} ${formatShort(value, unit)}: ${why}`,
    source,
  })
  const load = `${formatShort(V, 'V')} over ${formatShort(order.load.ohm, 'Ω')}${channel.bleeder_ohm === null ? '' : ` and the bleeder of ${formatShort(channel.bleeder_ohm, 'Ω')}`}`
  return {
    at_V: V,
    expected_A: band.usual,
    lower_A: band.low,
    upper_A: band.high,
    ask_A: Math.max(0, 0.9 * band.low - 3 * channel.resolution_A),
    trip_A,
    ceiling_A,
    charge_A: rising ? supply_limit_A : 0,
    supply_limit_A,
    over_voltage_V: over_V,
    because: [
      reason('expected', band.usual, 'A', load, byOhm),
      reason(
        'band',
        band.high,
        'A',
        `the load's tolerance of ${(100 * order.load.tolerance).toFixed(1)} %, and the read-back's errors`,
        byOhm,
      ),
      reason('trip', trip_A, 'A', '5 % above that band', ours),
      reason('ceiling', ceiling_A, 'A', '5 % above the trip', ours),
      reason(
        'supply limit',
        supply_limit_A,
        'A',
        `a tenth above the trip; the load is rated ${formatShort(order.load.rated_W, 'W')}`,
        ours,
      ),
      ...(over_V > 0
        ? [
            reason(
              'over-voltage',
              over_V,
              'V',
              'the room the supply needs above its set-point',
              'the bench file',
            ),
          ]
        : []),
    ],
    sees: null,
  }
}

export const ohmOf = (order: Order, channel: Channel): number => pathOf(order, channel).ohm

/** Everything across the terminals, and what it discharges. */
export function pathOf(order: Order, channel: Channel): { readonly ohm: number; readonly F: number } {
  return {
    ohm: parallel_ohm(order.load.ohm + channel.lead_ohm, channel.bleeder_ohm),
    F: Math.max(channel.output_F, 1e-9),
  }
}
