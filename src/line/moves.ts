import { channelMessage, type Dialect, type Question } from '../bench/index.js'
import { decimalValue, type LineRequestBody, type Protection } from '../exchange/index.js'
import { answerIn, fixedPoint, parseNumber } from './numbers.js'
import type { LineChannel, LineConfig, LineMeter } from './types.js'

/** What a reply must be, and what is done with it. */
export type Want =
  | { readonly is: 'reading'; readonly quantity: 'V' | 'A' }
  | { readonly is: 'meter'; readonly meter: LineMeter }
  /** A setting read back: within `within` of `sent`. */
  | {
      readonly is: 'setting'
      readonly which: Setting
      readonly sent: number
      readonly within: number
      /** `check`: it was set earlier and must still be so. */
      readonly check: boolean
    }
  /** Whether a protection is switched on, as it must be. `check`: it was switched on earlier. */
  | { readonly is: 'guard'; readonly which: 'over_V' | 'over_A'; readonly check: boolean }
  /** `on`: what it must be; null = whatever it is. */
  | { readonly is: 'output'; readonly on: boolean | null }
  | { readonly is: 'regulation'; readonly mask: number; readonly cv_mask: number | null }
  /** `mask`: bits of a register; null = 1 or 0. */
  | { readonly is: 'tripped'; readonly which: Protection; readonly mask: number | null }
  | { readonly is: 'armed'; readonly armed: boolean }
  | { readonly is: 'dead-man time'; readonly sent_s: number }
  | { readonly is: 'errors' }
  | { readonly is: 'acknowledgement' }
  | { readonly is: 'identity' }
  /** The answer no longer matters. */
  | { readonly is: 'anything' }

export type Setting = 'set_V' | 'limit_A' | 'over_V' | 'over_A'

/** One act on the line. `channel` is an index into the configuration's channels. */
export type Move =
  | { readonly kind: 'tell'; readonly text: string; readonly channel: number; readonly slow_us: number }
  | {
      readonly kind: 'ask'
      readonly text: string
      readonly channel: number
      readonly want: Want
      readonly slow_us: number
      /** What stands around the answer, `{x}` being the answer; null = nothing. */
      readonly around: string | null
    }

export function tell(config: LineConfig, channel: number, words: string, number = ''): Move {
  return {
    kind: 'tell',
    channel,
    slow_us: slowOf(config.dialect, words),
    text: channelMessage(config.dialect, numberOf(config, channel), words, number),
  }
}

export function ask(config: LineConfig, channel: number, words: string, want: Want): Move {
  return {
    kind: 'ask',
    channel,
    want,
    slow_us: slowOf(config.dialect, words),
    around: around(config.dialect, words),
    text: channelMessage(config.dialect, numberOf(config, channel), words),
  }
}

/** How much longer these words may take, µs; 0 = no longer than the rest. */
export function slowOf(dialect: Dialect, words: string): number {
  let most = 0
  for (const [key, seconds] of Object.entries(dialect.slow_s)) {
    if (wordsAt(dialect, key as Question) === words) most = Math.max(most, seconds * 1_000_000)
  }
  return most
}

function around(dialect: Dialect, words: string): string | null {
  for (const [key, template] of Object.entries(dialect.answers)) {
    if (wordsAt(dialect, key as Question) === words) return template
  }
  return null
}

/** The answer itself, out of what this supply says around it; null when that is not there. */
export function answerTo(dialect: Dialect, words: string, text: string): string | null {
  return answerIn(text, around(dialect, words))
}

function wordsAt(dialect: Dialect, key: Question): string | null {
  const words = dialect[key]
  return typeof words === 'string' || words === null ? words : words.query
}

function numberOf(config: LineConfig, channel: number): number {
  return config.channels[channel]?.number ?? 1
}

export const quantities = { set_V: 'V', limit_A: 'A', over_V: 'V', over_A: 'A' } as const

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
  over_A: { set: 'set_over_amps', ask: 'ask_over_amps' },
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
  // A protection's level may lie above the rated figure, as it does on most supplies.
  const ceiling = which === 'over_V' || which === 'over_A' ? 1.2 * most : most
  if (text === null || value > ceiling * (1 + 1e-9)) {
    return { ok: false, why: `${value} ${unit} is outside 0 … ${ceiling} ${unit} of this channel` }
  }
  const said = config.dialect[words[which].set]
  if (said === null)
    return {
      ok: false,
      why: `its dialect has no words for an ${which === 'over_A' ? 'over-current' : 'over-voltage'} level`,
    }
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
  readonly over_A: number | null
}

/** Questions that settle whether what was set is still set. */
export function settingsStill(config: LineConfig, index: number, known: Settings): readonly Move[] {
  const channel = config.channels[index]
  if (channel === undefined) return []
  const moves: Move[] = []
  for (const which of ['set_V', 'limit_A', 'over_V', 'over_A'] as const) {
    const sent = known[which]
    const query = config.dialect[words[which].ask]
    if (sent === null || query === null) continue
    moves.push(
      ask(config, index, query, { is: 'setting', which, sent, within: within(channel, which), check: true }),
    )
  }
  for (const which of ['over_V', 'over_A'] as const)
    if (known[which] !== null) moves.push(...guardMoves(config, index, which, true))
  return moves
}

/** Whether this protection is switched on, where the supply can be asked. */
function guardMoves(
  config: LineConfig,
  index: number,
  which: 'over_V' | 'over_A',
  check: boolean,
): readonly Move[] {
  const { ask_over_volts_on, ask_over_amps_on } = config.dialect
  const query = which === 'over_V' ? ask_over_volts_on : ask_over_amps_on
  return query === null ? [] : [ask(config, index, query, { is: 'guard', which, check })]
}

/** What bounds an output when everything else has failed: its limit and levels, and not its set-point, which its volts show. */
export function guardsStill(config: LineConfig, index: number, known: Settings): readonly Move[] {
  return settingsStill(config, index, { ...known, set_V: null })
}

/** A question whether what was set earlier is still so. */
export const isStill = (move: Move): boolean =>
  move.kind === 'ask' && (move.want.is === 'setting' || move.want.is === 'guard') && move.want.check

/**
 * The error question, slow on many supplies. After limits and ON a refusal shows here even where the read-back happens to
 * agree; set-points of a ramp, OFF and zero go by their read-back, and the question is only asked for the reason when that differs.
 */
export function errorMoves(config: LineConfig, index: number): readonly Move[] {
  const query = config.dialect.error_query
  return query === null ? [] : [plainAsk(config, index, query, { is: 'errors' })]
}

/** A question to the whole instrument, without choosing a channel. */
export function plainAsk(
  config: LineConfig,
  channel: number,
  query: string,
  want: Want,
): Extract<Move, { kind: 'ask' }> {
  return {
    kind: 'ask',
    channel,
    want,
    slow_us: slowOf(config.dialect, query),
    around: around(config.dialect, query),
    text: query + config.dialect.terminator,
  }
}

/** A command to the whole instrument. */
export function plainTell(config: LineConfig, command: string): Move {
  return { kind: 'tell', channel: 0, slow_us: 0, text: command + config.dialect.terminator }
}

/** What a request to one channel is made of. */
export function movesFor(
  config: LineConfig,
  index: number,
  body: Exclude<LineRequestBody, { do: 'disarm' }>,
  known: Settings,
): Built {
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
      const parts =
        body.over_current_A === undefined
          ? overCurrent(config, index, body.limit_A, known.over_A, limit)
          : [limit, setting(config, index, 'over_A', body.over_current_A), overCurrentOn(config, index)]
      if (body.over_voltage_V === null) return all(...parts)
      const switched = [
        ...(dialect.over_volts_on === null ? [] : [tell(config, index, dialect.over_volts_on)]),
        ...guardMoves(config, index, 'over_V', false),
      ]
      return all(...parts, setting(config, index, 'over_V', body.over_voltage_V), {
        ok: true,
        moves: switched,
      })
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
    case 'starve':
      return config.dialect.dead_man === null
        ? { ok: false, why: 'its dialect has no words for a dead-man' }
        : { ok: true, moves: [] }
    case 'panel': {
      const said = body.to === 'computer' ? dialect.remote : dialect.local
      return { ok: true, moves: said === null ? [] : [plainTell(config, said)] }
    }
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

/** Over-current latches this far above the current limit, so that a planned charge at the limit does not trip it (rule of thumb, no source). */
const over_amps = 1.1

/**
 * The current limit with the over-current level around it, where there is one: a level below the limit is refused or trips at
 * once, so the level goes up before the limit and comes down after it. Where it is not known it goes to its highest first.
 */
function overCurrent(
  config: LineConfig,
  index: number,
  limit_A: number,
  was_A: number | null,
  limit: Built,
): readonly Built[] {
  const { dialect } = config
  const channel = config.channels[index]
  if (dialect.set_over_amps === null || channel === undefined) return [limit]
  const most_A = 1.2 * channel.max_A
  const level_A = Math.min(over_amps * limit_A + 2 * channel.resolution_A, most_A)
  const level = (value: number): Built => setting(config, index, 'over_A', value)
  const armed = overCurrentOn(config, index)
  if (was_A === null) return [level(most_A), limit, level(level_A), armed]
  return level_A > was_A ? [level(level_A), limit, armed] : [limit, level(level_A), armed]
}

function overCurrentOn(config: LineConfig, index: number): Built {
  const { over_amps_on } = config.dialect
  const told = over_amps_on === null ? [] : [tell(config, index, over_amps_on)]
  return { ok: true, moves: [...told, ...guardMoves(config, index, 'over_A', false)] }
}

/**
 * Who is there, asked after every OFF and before any answer that says "off" is believed: a plug that was moved leads to an
 * instrument at rest, which reads as off in all innocence while the one that was left goes on.
 */
export function whoMove(config: LineConfig): Move {
  return plainAsk(config, 0, config.dialect.identify, { is: 'identity' })
}

export function offMoves(config: LineConfig, index: number): readonly Move[] {
  const { dialect } = config
  return [
    tell(config, index, dialect.off),
    whoMove(config),
    ask(config, index, dialect.ask_output, { is: 'output', on: false }),
  ]
}
