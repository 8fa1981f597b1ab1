import { parseQuantity } from '../quantities/index.js'
import type { WrittenBench } from './shape.js'
import { toDialect } from './to-dialect.js'
import { toLine } from './to-line.js'
import type { InputLimit, Measures, Meter } from './types.js'

type WrittenMeter = WrittenBench['meters'][string]
type WrittenLimit = WrittenMeter['limits'][number]

/** A thermometer and a contact change slowly, and share a line with what must not wait (our choice). */
const every_s = { V: 0, A: 0, '°C': 2, contact: 0.2 } as const
/** On another instrument's line volts and amps are asked in their own slower turn too. */
const shared_s = 1

export function toMeter(meter: WrittenMeter): Meter {
  const volts = meter.measures === 'V'
  const limits = meter.limits.flatMap((written) => toLimit(written, meter.measures) ?? [])
  const shares = meter.on !== undefined
  return {
    line: meter.line === undefined ? null : toLine(meter.line),
    on: meter.on ?? null,
    // The MEASure subsystem of SCPI-1999, as far as it is remembered; a contact has no common words.
    ask: meter.ask ?? (meter.measures === '°C' ? 'MEAS:TEMP?' : null),
    answer: meter.answer ?? null,
    every_s: meter.every ?? (shares ? Math.max(shared_s, every_s[meter.measures]) : every_s[meter.measures]),
    closed_is: meter.closed_is === 0 ? 0 : 1,
    // What can trip must be there to trip.
    required: meter.required ?? limits.some(({ act }) => act === 'trip'),
    limits,
    identity: meter.identity ?? null,
    dialect: meter.line === undefined ? null : toDialect(meter.dialect ?? 'plain SCPI'),
    measures: meter.measures,
    at: meter.at ?? null,
    against: meter.against ?? null,
    rail: meter.rail ?? null,
    // 10 MΩ and 0.1 Ω: ordinary digital meters (common practice, no source).
    ohm: meter.resistance ?? (volts ? 10e6 : 0.1),
    resolution: resolutionOf(meter),
    accuracy: (volts ? meter.accuracy_volts : meter.accuracy_amps) ?? { of_reading: 0, plus: 0 },
    isolation_V: meter.isolation ?? 0,
    interface_isolated: meter.interface_isolated ?? null,
  }
}

function resolutionOf(meter: WrittenMeter): number {
  switch (meter.measures) {
    case 'V':
      return meter.resolution_volts ?? 0
    case 'A':
      return meter.resolution_amps ?? 0
    case '°C':
      return meter.resolution_temperature ?? 0.1
    case 'contact':
      return 1
  }
}

/** `above 70 °C`, `below 5 V`, `open`, `closed`; null where it says neither. */
export function toLimit(written: WrittenLimit, measures: Measures): InputLimit | null {
  const [act, text] =
    written.trip !== undefined ? (['trip', written.trip] as const) : (['warn', written.warn ?? ''] as const)
  const { because } = written
  const word = text.trim().toLowerCase()
  if (measures === 'contact')
    return word === 'open' || word === 'closed' ? { act, when: word, at: null, because } : null
  const [, when, value = ''] = /^(above|below)\s+(.+)$/i.exec(text.trim()) ?? []
  const side = when?.toLowerCase()
  const read = parseQuantity(value, measures)
  if ((side !== 'above' && side !== 'below') || !read.ok) return null
  return { act, when: side, at: read.value, because }
}
