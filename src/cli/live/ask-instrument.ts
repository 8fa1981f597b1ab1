import { channelMessage, type Channel, type Dialect, type Meter } from '../../bench/index.js'
import { decimalValue, type LineHealth } from '../../exchange/index.js'
import { answerTo, parseMeter, parseNumber, parseSwitch } from '../../line/index.js'
import { inputValue } from '../../sequencer/index.js'
import type { PortLine } from '../../supply/index.js'
import { openTalk } from './talk.js'

/** What a supply says of itself; null where it said nothing that could be read. SI units. */
export interface Told {
  readonly trouble: string | null
  readonly identity: string | null
  readonly channels: Readonly<
    Record<
      string,
      {
        readonly output: 'on' | 'off' | null
        readonly set_V: number | null
        readonly limit_A: number | null
        readonly over_V: number | null
        readonly volts: number | null
        readonly amps: number | null
      }
    >
  >
  /** Meters on this line: what each shows, in words. */
  readonly inputs: Readonly<Record<string, string | null>>
  /** How the line did while it was asked. */
  readonly line: LineHealth
}
/** An instrument as far as it can be asked: a supply, or a meter with a line of its own. */
export interface Askable {
  readonly dialect: Dialect
  readonly reply_s: number
  readonly channels: Readonly<Record<string, Channel>>
  readonly inputs: Readonly<Record<string, Meter>>
}

/** Questions only, one after another, each with its deadline: nothing is set, cleared or switched. */
export async function askInstrument(place: PortLine, supply: Askable): Promise<Told> {
  const { dialect } = supply
  const talk = await openTalk(place, dialect)
  const ask = async (text: string): Promise<string | null> => (await talk.ask(text, supply.reply_s)).text
  const identity = await ask(dialect.identify + dialect.terminator)
  const channels: Record<string, Told['channels'][string]> = {}
  for (const [name, channel] of Object.entries(supply.channels)) {
    const query = async (words: string | null): Promise<string | null> => {
      if (words === null || identity === null) return null
      const text = await ask(channelMessage(dialect, channel.number, words))
      return text === null ? null : answerTo(dialect, words, text)
    }
    const number = async (words: string | null, unit: 'V' | 'A'): Promise<number | null> => {
      const text = await query(words)
      if (text === null) return null
      const parsed = parseNumber(text, dialect.unit_in_reply ? unit : null)
      if (parsed === null) talk.count('unparsable')
      return parsed === null ? null : decimalValue(parsed)
    }
    const on = parseSwitch((await query(dialect.ask_output)) ?? '')
    channels[name] = {
      output: on === null ? null : on ? 'on' : 'off',
      set_V: await number(dialect.ask_set_volts, 'V'),
      limit_A: await number(dialect.ask_set_amps, 'A'),
      over_V: await number(dialect.ask_over_volts, 'V'),
      volts: await number(dialect.measure_volts, 'V'),
      amps: await number(dialect.measure_amps, 'A'),
    }
  }
  const inputs: Record<string, string | null> = {}
  for (const [name, meter] of Object.entries(supply.inputs)) {
    const words = meter.ask ?? (meter.measures === 'A' ? dialect.measure_amps : dialect.measure_volts)
    const text =
      identity === null
        ? null
        : await ask(meter.ask === null ? channelMessage(dialect, 1, words) : words + dialect.terminator)
    const value = text === null ? null : parseMeter(dialect, meter, text)
    inputs[name] = value === null ? null : inputValue(meter.measures, decimalValue(value))
  }
  await talk.close()
  return {
    trouble: talk.trouble() ?? (identity === null ? 'nobody answers' : null),
    identity,
    channels,
    inputs,
    line: talk.line(),
  }
}
