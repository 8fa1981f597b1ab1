import type { Dialect, Meter } from '../bench/index.js'
import type { Decimal } from '../exchange/index.js'
import { answerTo } from './moves.js'
import { answerIn, parseNumber, parseSwitch } from './numbers.js'
import type { LineMeter } from './types.js'

/** What a meter said, in its unit; a contact is 1 closed, 0 open, whichever way it answers. Null = no such answer can be. */
export function meterValue(
  meter: Pick<LineMeter, 'measures' | 'closed_is'>,
  text: string,
  unit_in_reply: boolean,
): Decimal | null {
  if (meter.measures !== 'contact') {
    const unit = meter.measures === '°C' ? 'C' : meter.measures
    return parseNumber(text, unit_in_reply ? unit : null)
  }
  const on = parseSwitch(text)
  return on === null ? null : { n: on === ((meter.closed_is ?? 1) === 1) ? 1 : 0, k: 0 }
}

/** The same from the whole reply, outside of a line. */
export function parseMeter(dialect: Dialect, meter: Meter, reply: string): Decimal | null {
  const words = meter.measures === 'A' ? dialect.measure_amps : dialect.measure_volts
  const text = meter.ask === null ? answerTo(dialect, words, reply) : answerIn(reply, meter.answer)
  return text === null ? null : meterValue(meter, text, dialect.unit_in_reply)
}
