import { type Bits, channelMessage, type Channel, type Dialect, type Meter } from '../../bench/index.js'
import { decimalValue, type LineHealth } from '../../exchange/index.js'
import {
  answerTo,
  modeOf,
  parseMeter,
  parseNumber,
  parseRegister,
  parseSwitch,
  slowOf,
} from '../../line/index.js'
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
        /** The level at which over-current latches, where it has one apart from the limit. */
        readonly over_A: number | null
        readonly regulation: 'voltage' | 'current' | 'unknown' | null
        /** Protections that say they fired, and those that say they are switched off. */
        readonly fired: readonly string[]
        readonly guards_off: readonly string[]
        /** Its dead-man in words; null = it has none, or says nothing of it. */
        readonly dead_man: string | null
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
  const ask = async (text: string, words: string): Promise<string | null> =>
    (await talk.ask(text, Math.max(supply.reply_s, slowOf(dialect, words) / 1e6))).text
  const identity = await ask(dialect.identify + dialect.terminator, dialect.identify)
  const channels: Record<string, Told['channels'][string]> = {}
  for (const [name, channel] of Object.entries(supply.channels)) {
    const query = async (words: string | null): Promise<string | null> => {
      if (words === null || identity === null) return null
      const text = await ask(channelMessage(dialect, channel.number, words), words)
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
    const bitsOf = async (bits: Bits): Promise<number | null> =>
      parseRegister((await query(bits.query)) ?? '')
    const regulation = async (): Promise<ReturnType<typeof modeOf> | null> => {
      const bits = dialect.ask_cc === null ? null : await bitsOf(dialect.ask_cc)
      return dialect.ask_cc === null || bits === null ? null : modeOf(bits, dialect.ask_cc)
    }
    /** Words answer 1 or 0; bits stand in a register. */
    const says = async (words: string | Bits | null): Promise<boolean | null> => {
      if (words === null || typeof words === 'string') return parseSwitch((await query(words)) ?? '')
      const bits = await bitsOf(words)
      return bits === null ? null : (bits & words.mask) !== 0
    }
    const which = async (
      of: Readonly<Record<string, string | Bits | null>>,
      wanted: boolean,
    ): Promise<string[]> => {
      const found: string[] = []
      for (const [name, words] of Object.entries(of)) if ((await says(words)) === wanted) found.push(name)
      return found
    }
    channels[name] = {
      output: on === null ? null : on ? 'on' : 'off',
      set_V: await number(dialect.ask_set_volts, 'V'),
      limit_A: await number(dialect.ask_set_amps, 'A'),
      over_V: await number(dialect.ask_over_volts, 'V'),
      over_A: await number(dialect.ask_over_amps, 'A'),
      volts: await number(dialect.measure_volts, 'V'),
      amps: await number(dialect.measure_amps, 'A'),
      regulation: await regulation(),
      fired: await which(
        {
          'over-voltage': dialect.ask_over_volts_tripped,
          'over-current': dialect.ask_over_amps_tripped,
          'over-temperature': dialect.ask_over_heat_tripped,
          'dead-man': dialect.dead_man?.ask_expired ?? null,
        },
        true,
      ),
      guards_off: await which(
        { 'over-voltage': dialect.ask_over_volts_on, 'over-current': dialect.ask_over_amps_on },
        false,
      ),
      dead_man: await deadMan(dialect, query),
    }
  }
  const inputs: Record<string, string | null> = {}
  for (const [name, meter] of Object.entries(supply.inputs)) {
    const words = meter.ask ?? (meter.measures === 'A' ? dialect.measure_amps : dialect.measure_volts)
    const text =
      identity === null
        ? null
        : await ask(
            meter.ask === null ? channelMessage(dialect, 1, words) : words + dialect.terminator,
            words,
          )
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

async function deadMan(
  { dead_man }: Dialect,
  query: (words: string | null) => Promise<string | null>,
): Promise<string | null> {
  if (dead_man === null) return null
  const armed = parseSwitch((await query(dead_man.ask_armed)) ?? '')
  const time = parseNumber((await query(dead_man.ask_time ?? null)) ?? '')
  if (armed === null && time === null) return null
  const is = armed === null ? 'not told whether armed' : armed ? 'armed' : 'not armed'
  return time === null ? is : `${is}, ${decimalValue(time)} s`
}
