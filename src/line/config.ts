import { type Bench, type Line, type Meter, type Supply, wire_s } from '../bench/index.js'
import type { LineChannel, LineConfig, LineMeter } from './types.js'

function byteOn(line: Line): Pick<LineConfig, 'byte_us'> {
  const byte_us = wire_s(line, 1) * 1e6
  return byte_us > 0 ? { byte_us } : {}
}

/** What the line of one supply needs to know; channels are named `SUPPLY.CHANNEL`. */
export function lineConfigOf(port: string, supply: Supply): LineConfig {
  return {
    port,
    identity: supply.identity,
    dialect: supply.dialect,
    reply_us: Math.round(supply.reply_s * 1_000_000),
    ...byteOn(supply.line),
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
        unguarded: c.unguarded === true || c.role === 'heater' || c.role === 'bias',
      }),
    ),
  }
}

/** Beyond these no meter of a bench shows anything (rule of thumb, no source). */
const most = { V: 2000, A: 20, '°C': 400, contact: 1 } as const

function lineMeterOf(name: string, meter: Meter): LineMeter {
  return {
    name,
    measures: meter.measures,
    limit: most[meter.measures],
    ask: meter.ask,
    answer: meter.answer,
    ...(meter.every_s > 0 && { every_us: Math.round(meter.every_s * 1_000_000) }),
    closed_is: meter.closed_is,
    ...(meter.feeds === true && { feeds: true as const }),
  }
}

/** One line per supply and one per meter with a line of its own, named as in the bench file; other meters share a supply's. */
export function lineConfigsOf(bench: Bench): readonly LineConfig[] {
  const meters = Object.entries(bench.meters)
  const supplies = Object.entries(bench.supplies).map(([name, supply]): LineConfig => {
    const inputs = meters.flatMap(([each, meter]) => (meter.on === name ? [lineMeterOf(each, meter)] : []))
    return { ...lineConfigOf(name, supply), ...(inputs.length > 0 && { inputs }) }
  })
  const own = meters.flatMap(([name, meter]): LineConfig[] => {
    if (meter.line === null || meter.dialect === null) return []
    const only = lineMeterOf(name, meter)
    const slow = only.every_us !== undefined
    return [
      {
        port: name,
        identity: meter.identity,
        dialect: meter.dialect,
        reply_us: 1_000_000,
        ...byteOn(meter.line),
        channels: [],
        meter: slow ? null : only,
        ...(slow && { inputs: [only] }),
      },
    ]
  })
  return [...supplies, ...own]
}
