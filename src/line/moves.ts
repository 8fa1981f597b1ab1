import { channelMessage } from '../bench/index.js'
import { decimalValue, type LineRequestBody } from '../exchange/index.js'
import { fixedPoint, parseNumber } from './numbers.js'
import type { LineChannel, LineConfig } from './types.js'

/** What a reply must be, and what is done with it. */
export type Want =
  | { readonly is: 'reading'; readonly quantity: 'V' | 'A' }
  | { readonly is: 'meter' }
  /** A setting read back: within `within` of `sent`. */
  | {
      readonly is: 'setting'
      readonly which: Setting
      readonly sent: number
      readonly within: number
      /** `check`: it was set earlier and must still be so. */
      readonly check: boolean
    }
  /** `on`: what it must be; null = whatever it is. */
  | { readonly is: 'output'; readonly on: boolean | null }
  | { readonly is: 'regulation'; readonly mask: number }
  | { readonly is: 'tripped'; readonly which: 'over-voltage' | 'over-current' }
  | { readonly is: 'errors' }
  /** Volts of an output found on at the first connection, until they are low. */
  | { readonly is: 'fallen'; readonly below_V: number; readonly by_us: number }
  | { readonly is: 'acknowledgement' }
  | { readonly is: 'identity' }
  /** The answer no longer matters. */
  | { readonly is: 'anything' }

export type Setting = 'set_V' | 'limit_A' | 'over_V'

/** One act on the line. `channel` is an index into the configuration's channels. */
export type Move =
  | { readonly kind: 'tell'; readonly text: string; readonly channel: number }
  | { readonly kind: 'ask'; readonly text: string; readonly channel: number; readonly want: Want }

export function tell(config: LineConfig, channel: number, words: string, number = ''): Move {
  return {
    kind: 'tell',
    channel,
    text: channelMessage(config.dialect, numberOf(config, channel), words, number),
  }
}

export function ask(config: LineConfig, channel: number, words: string, want: Want): Move {
  return {
    kind: 'ask',
    channel,
    want,
    text: channelMessage(config.dialect, numberOf(config, channel), words),
  }
}

function numberOf(config: LineConfig, channel: number): number {
  return config.channels[channel]?.number ?? 1
}

export const quantities = { set_V: 'V', limit_A: 'A', over_V: 'V' } as const

/** Half a resolution of the supply and half a digit of what was sent. */
function within(channel: LineChannel, which: Setting): number {
  const volts = quantities[which] === 'V'
  const resolution = volts ? channel.resolution_V : channel.resolution_A
  let digit = 1
  for (let i = volts ? channel.set_digits_V : channel.set_digits_A; i > 0; i--) digit /= 10
  return (resolution + digit) / 2 + 1e-9
}

const words = {
  set_V: { set: 'set_volts', ask: 'ask_set_volts' },
  limit_A: { set: 'set_amps', ask: 'ask_set_amps' },
  over_V: { set: 'set_over_volts', ask: 'ask_over_volts' },
} as const

type Built =
  | { readonly ok: true; readonly moves: readonly Move[] }
  | { readonly ok: false; readonly why: string }

/** Set, then ask. */
function setting(config: LineConfig, index: number, which: Setting, value: number): Built {
  const channel = config.channels[index]
  if (channel === undefined) return { ok: false, why: 'there is no such channel' }
  const unit = quantities[which]
  const most = unit === 'V' ? channel.max_V : channel.max_A
  const digits = unit === 'V' ? channel.set_digits_V : channel.set_digits_A
  const text = fixedPoint(value, digits)
  // An over-voltage level may lie above the rated volts, as it does on most supplies.
  const ceiling = which === 'over_V' ? 1.2 * most : most
  if (text === null || value > ceiling * (1 + 1e-9)) {
    return { ok: false, why: `${value} ${unit} is outside 0 … ${ceiling} ${unit} of this channel` }
  }
  const said = config.dialect[words[which].set]
  if (said === null) return { ok: false, why: 'its dialect has no words for an over-voltage level' }
  const sent = parseNumber(text)
  const moves: Move[] = [tell(config, index, said, text)]
  const query = config.dialect[words[which].ask]
  if (query !== null && sent !== null) {
    const want = {
      is: 'setting',
      which,
      sent: decimalValue(sent),
      within: within(channel, which),
      check: false,
    } as const
    moves.push(ask(config, index, query, want))
  }
  return { ok: true, moves }
}

/** Settings as last read back on this connection; null = not known. */
export interface Settings {
  readonly set_V: number | null
  readonly limit_A: number | null
  readonly over_V: number | null
}

/** Questions that settle whether what was set is still set. */
export function settingsStill(config: LineConfig, index: number, known: Settings): readonly Move[] {
  const channel = config.channels[index]
  if (channel === undefined) return []
  const moves: Move[] = []
  for (const which of ['set_V', 'limit_A', 'over_V'] as const) {
    const sent = known[which]
    const query = config.dialect[words[which].ask]
    if (sent === null || query === null) continue
    moves.push(
      ask(config, index, query, { is: 'setting', which, sent, within: within(channel, which), check: true }),
    )
  }
  return moves
}

/**
 * The error question, slow on many supplies. After limits and ON a refusal shows here even where the read-back happens to
 * agree; set-points of a ramp, OFF and zero go by their read-back, and the question is only asked for the reason when that differs.
 */
export function errorMoves(config: LineConfig, index: number): readonly Move[] {
  const query = config.dialect.error_query
  return query === null ? [] : [plainAsk(config, index, query, { is: 'errors' })]
}

/** A question to the whole instrument, without choosing a channel. */
export function plainAsk(config: LineConfig, channel: number, query: string, want: Want): Move {
  return { kind: 'ask', channel, want, text: query + config.dialect.terminator }
}

/** A command to the whole instrument. */
export function plainTell(config: LineConfig, command: string): Move {
  return { kind: 'tell', channel: 0, text: command + config.dialect.terminator }
}

/** What a request is made of. */
export function movesFor(config: LineConfig, index: number, body: LineRequestBody, known: Settings): Built {
  const channel = config.channels[index]
  if (channel === undefined) return { ok: false, why: 'there is no such channel' }
  const { dialect } = config
  const all = (...parts: Built[]): Built => {
    const moves: Move[] = []
    for (const part of parts) {
      if (!part.ok) return part
      moves.push(...part.moves)
    }
    return { ok: true, moves: [...moves, ...errorMoves(config, index)] }
  }
  switch (body.do) {
    case 'limits': {
      const limit = setting(config, index, 'limit_A', body.limit_A)
      if (body.over_voltage_V === null) return all(limit)
      const switched = dialect.over_volts_on === null ? [] : [tell(config, index, dialect.over_volts_on)]
      return all(limit, setting(config, index, 'over_V', body.over_voltage_V), { ok: true, moves: switched })
    }
    case 'set':
      return setting(config, index, 'set_V', body.volts)
    case 'on': {
      if (known.set_V === null || known.limit_A === null) {
        return {
          ok: false,
          why: 'its set-point and current limit have not been set and read back on this connection',
        }
      }
      const output = ask(config, index, dialect.ask_output, { is: 'output', on: true })
      return all({
        ok: true,
        moves: [...settingsStill(config, index, known), tell(config, index, dialect.on), output],
      })
    }
    case 'off':
      return { ok: true, moves: offMoves(config, index) }
    case 'zero': {
      const volts = setting(config, index, 'set_V', channel.min_V ?? 0)
      const amps = setting(config, index, 'limit_A', channel.min_A ?? 0)
      return volts.ok && amps.ok
        ? { ok: true, moves: [...volts.moves, ...amps.moves] }
        : volts.ok
          ? amps
          : volts
    }
  }
}

export function offMoves(config: LineConfig, index: number): readonly Move[] {
  const { dialect } = config
  return [
    tell(config, index, dialect.off),
    ask(config, index, dialect.ask_output, { is: 'output', on: false }),
  ]
}

/** Volts and amps of every channel, or what a meter shows: asked in every round. */
export function fastMoves(config: LineConfig): readonly Move[] {
  const { dialect, meter } = config
  if (meter !== null) {
    const query = meter.measures === 'V' ? dialect.measure_volts : dialect.measure_amps
    return [ask(config, 0, query, { is: 'meter' })]
  }
  return config.channels.flatMap((_, index) => [
    ask(config, index, dialect.measure_volts, { is: 'reading', quantity: 'V' }),
    ask(config, index, dialect.measure_amps, { is: 'reading', quantity: 'A' }),
  ])
}

/** What changes seldom: one of these after every round. Status questions are slow on many supplies. */
export function slowMoves(config: LineConfig): readonly Move[] {
  if (config.meter !== null) return []
  const { dialect } = config
  const of = (index: number): (Move | null)[] => [
    dialect.ask_cc &&
      ask(config, index, dialect.ask_cc.query, { is: 'regulation', mask: dialect.ask_cc.mask }),
    ask(config, index, dialect.ask_output, { is: 'output', on: null }),
    dialect.ask_over_volts_tripped === null
      ? null
      : ask(config, index, dialect.ask_over_volts_tripped, { is: 'tripped', which: 'over-voltage' }),
    dialect.ask_over_amps_tripped === null
      ? null
      : ask(config, index, dialect.ask_over_amps_tripped, { is: 'tripped', which: 'over-current' }),
  ]
  const each = config.channels.map((_, index) => of(index))
  // Kind by kind, so that no channel waits for all the questions of another.
  return [0, 1, 2, 3]
    .flatMap((kind) => each.map((moves) => moves[kind] ?? null))
    .filter((move) => move !== null)
}
