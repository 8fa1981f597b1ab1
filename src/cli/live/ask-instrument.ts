import { channelMessage, type Channel, type Dialect, type Meter } from '../../bench/index.js'
import { decimalValue, type LineFault, type LineHealth } from '../../exchange/index.js'
import { answerTo, parseMeter, parseNumber, parseSwitch } from '../../line/index.js'
import { inputValue } from '../../sequencer/index.js'
import { openPort, type PortLine } from '../../supply/index.js'

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
export const untried: LineHealth = {
  faults: {},
  discarded_bytes: 0,
  replies: 0,
  worst_reply_s: null,
  polled_Hz: null,
}

/** An instrument as far as it can be asked: a supply, or a meter with a line of its own. */
export interface Askable {
  readonly dialect: Dialect
  readonly reply_s: number
  readonly channels: Readonly<Record<string, Channel>>
  readonly inputs: Readonly<Record<string, Meter>>
}

const settle_ms = 150

/** Questions only, one after another, each with its deadline: nothing is set, cleared or switched. */
export async function askInstrument(place: PortLine, supply: Askable): Promise<Told> {
  const { dialect } = supply
  let waiting: ((text: string | null) => void) | null = null
  const found: { trouble: string | null; line: LineHealth } = { trouble: null, line: untried }
  const count = (fault: LineFault): void => {
    const { faults } = found.line
    found.line = { ...found.line, faults: { ...faults, [fault]: (faults[fault] ?? 0) + 1 } }
  }
  const hear = (text: string | null): void => {
    const answer = waiting
    waiting = null
    answer?.(text)
  }
  let opened: () => void = () => undefined
  const open = new Promise<void>((resolve) => {
    opened = resolve
  })
  const connection = openPort(place, {
    opened: () => {
      opened()
    },
    text: (text) => {
      if (text.trim() === '' || text.trim() === dialect.acknowledges) return
      if (waiting === null) count('late_reply')
      else hear(text.trim())
    },
    discarded: (bytes, why) => {
      count(why.startsWith('a line longer') ? 'overlong_line' : 'line_noise')
      found.line = { ...found.line, discarded_bytes: found.line.discarded_bytes + bytes }
    },
    closed: (why) => {
      found.trouble = why.text
      count(why.kind === 'stuck' ? 'write_failed' : 'connection_lost')
      hear(null)
      opened()
    },
  })
  await open
  const ask = (text: string): Promise<string | null> =>
    new Promise((resolve) => {
      const asked_ms = performance.now()
      const late = setTimeout(() => {
        count('no_reply')
        waiting = null
        // What still comes belongs to this question: the next one waits until it would be here.
        setTimeout(() => {
          resolve(null)
        }, settle_ms)
      }, supply.reply_s * 1000)
      waiting = (answer) => {
        clearTimeout(late)
        if (answer !== null) {
          const { replies, worst_reply_s } = found.line
          const took_s = (performance.now() - asked_ms) / 1000
          found.line = {
            ...found.line,
            replies: replies + 1,
            worst_reply_s: Math.max(worst_reply_s ?? 0, took_s),
          }
        }
        resolve(answer)
      }
      if (!connection.write(text)) hear(null)
    })
  connection.write(dialect.terminator)
  await new Promise((resolve) => setTimeout(resolve, settle_ms))
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
      if (parsed === null) count('unparsable')
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
  await connection.close()
  return {
    trouble: found.trouble ?? (identity === null ? 'nobody answers' : null),
    identity,
    channels,
    inputs,
    line: found.line,
  }
}
