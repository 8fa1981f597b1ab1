import type { Bench, Supply } from '../bench/index.js'
import type { LineChannel, LineConfig } from './types.js'

/** What the line of one supply needs to know; channels are named `SUPPLY.CHANNEL`. */
export function lineConfigOf(port: string, supply: Supply): LineConfig {
  return {
    port,
    identity: supply.identity,
    dialect: supply.dialect,
    reply_us: Math.round(supply.reply_s * 1_000_000),
    meter: null,
    channels: Object.entries(supply.channels).map(
      ([channel, c]): LineChannel => ({
        channel: `${port}.${channel}`,
        number: c.number,
        set_digits_V: c.set_digits_V,
        set_digits_A: c.set_digits_A,
        max_V: c.max_V,
        max_A: c.max_A,
        resolution_V: c.resolution_V,
        resolution_A: c.resolution_A,
        over_voltage: c.over_voltage,
        min_V: c.min_V,
        min_A: c.min_A,
        unguarded: c.role === 'heater' || c.role === 'bias',
      }),
    ),
  }
}

/** One line per supply and one per meter on a line, named as in the bench file. */
export function lineConfigsOf(bench: Bench): readonly LineConfig[] {
  const supplies = Object.entries(bench.supplies).map(([name, supply]) => lineConfigOf(name, supply))
  const meters = Object.entries(bench.meters).flatMap(([name, meter]): LineConfig[] => {
    if (meter.line === null || meter.dialect === null) return []
    return [
      {
        port: name,
        identity: meter.identity,
        dialect: meter.dialect,
        reply_us: 1_000_000,
        channels: [],
        // No meter of a bench shows more: 2 kV and 20 A (rule of thumb, no source).
        meter: { name, measures: meter.measures, limit: meter.measures === 'V' ? 2000 : 20 },
      },
    ]
  })
  return [...supplies, ...meters]
}
