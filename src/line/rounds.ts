import type { Bits } from '../bench/index.js'
import type { Protection } from '../exchange/index.js'
import { expiredQuestion } from './dead-man.js'
import { ask, guardsStill, plainAsk, type Move } from './moves.js'
import type { Draft, LineState } from './state.js'
import type { LineConfig, LineMeter } from './types.js'

/** Volts and amps of every channel, or what a meter shows: asked in every round. */
export function fastMoves(config: LineConfig): readonly Move[] {
  const { dialect, meter } = config
  if (meter !== null) return [meterMove(config, meter)]
  return config.channels.flatMap((_, index) => [
    ask(config, index, dialect.measure_volts, { is: 'reading', quantity: 'V' }),
    ask(config, index, dialect.measure_amps, { is: 'reading', quantity: 'A' }),
  ])
}

/** The question to a meter; one of its own words goes to the whole instrument. */
function meterMove(config: LineConfig, meter: LineMeter): Move {
  const { dialect } = config
  const want = { is: 'meter', meter } as const
  if (meter.ask == null)
    return ask(config, 0, meter.measures === 'A' ? dialect.measure_amps : dialect.measure_volts, want)
  const move = plainAsk(config, 0, meter.ask, want)
  return meter.answer == null ? move : { ...move, around: meter.answer }
}

export const inputMoves = (config: LineConfig): readonly Move[] =>
  (config.inputs ?? []).map((input) => meterMove(config, input))

/** An input that gives no answer is asked this many times less often at most, so that it costs the rails little. */
const rarest = 16

/** Of its time, in questions, so long a cut-off relay is held to be closed: the last quarter is for a question's way there. */
const fedWithin = 3

/**
 * Whether the question that keeps a cut-off relay closed may be asked. A relay that may have opened meanwhile is not closed again
 * from here: what stands behind it may be on, and would come back in one jump. Only the loop has it closed anew.
 */
export function mayFeedRelay(
  { config, starves, relay_fed_us, t_us }: Pick<LineState, 'config' | 'starves' | 'relay_fed_us' | 't_us'>,
  every_us = 0,
): boolean {
  if (starves || config.only_off === true) return false
  return relay_fed_us === null || t_us - relay_fed_us <= fedWithin * every_us
}

/** When each input is due, by when it was asked and how often in a row it gave no answer; null = none. */
export function nextInput(
  state: Pick<LineState, 'config' | 'inputs' | 'starves' | 'relay_fed_us' | 't_us'>,
): { readonly index: number; readonly at_us: number } | null {
  const { inputs } = state.config
  if (inputs === undefined || inputs.length === 0) return null
  let first: { index: number; at_us: number } | null = null
  for (const [index, { every_us = 0, feeds }] of inputs.entries()) {
    if (feeds === true && !mayFeedRelay(state, every_us)) continue
    const known = state.inputs[index]
    const times = feeds === true ? 1 : Math.min(rarest, 1 << Math.min(5, known?.missed ?? 0))
    const at_us = known?.asked_us == null ? 0 : known.asked_us + every_us * times
    if (first === null || at_us < first.at_us) first = { index, at_us }
  }
  return first
}

/** The read-only channel whose turn it is; it takes the place of a status question, never that of a rail's reading. */
export function dueInput(d: Draft): Move | null {
  const next = nextInput(d)
  if (next === null || d.t_us < next.at_us) return null
  const known = d.inputs[next.index] ?? { asked_us: null, missed: 0 }
  d.inputs = d.inputs.with(next.index, { ...known, asked_us: d.t_us })
  return inputMoves(d.config)[next.index] ?? null
}

/** It answered, or it did not. */
export function inputHeard(d: Draft, name: string, answered: boolean): void {
  const index = (d.config.inputs ?? []).findIndex((input) => input.name === name)
  const known = d.inputs[index]
  if (answered && d.config.inputs?.[index]?.feeds === true) d.relay_fed_us = known?.asked_us ?? null
  if (known === undefined || (answered && known.missed === 0)) return
  d.inputs = d.inputs.with(index, { ...known, missed: answered ? 0 : known.missed + 1 })
}

/** Asked again no sooner than this. */
const doubt_every_us = 100_000

/**
 * A supply may limit for a millisecond as a reservoir is charged a step further; caught in that, it would pass for limiting
 * until its turn comes again. Where the measured current does not bear it out it is asked again soon.
 */
export function doubtedQuestion(d: Draft): Move | null {
  if (d.config.dialect.ask_cc === null || d.t_us - d.doubted_us < doubt_every_us) return null
  const index = d.channels.findIndex(
    ({ regulation, amps, limit_A }) =>
      regulation === 'current' && amps !== null && limit_A !== null && amps < 0.9 * limit_A,
  )
  if (index < 0) return null
  d.doubted_us = d.t_us
  return regulationQuestion(d.config, index)
}

/** Somebody at the panel, or a supply that forgets, is found out within some of these: our choice, no source. */
const still_every_us = 5_000_000

/**
 * Limits and levels of what is on, one after another, in the place of a status question: once all of those have had their turn, and
 * seldom, so that it costs no rail a reading. What a whole night rests on is not only remembered.
 */
export function stillQuestion(d: Draft): Move | null {
  const { turn, asked_us, count } = d.still
  if (d.made_safe || d.slow_at === turn || d.slow_at % Math.max(1, d.slow.length) !== 0) return null
  if (d.t_us - asked_us < still_every_us) return null
  const moves = d.channels.flatMap((known, index) =>
    known.output === true ? guardsStill(d.config, index, known) : [],
  )
  if (moves.length === 0) return null
  d.still = { turn: d.slow_at, asked_us: d.t_us, count: count + 1 }
  return moves[count % moves.length] ?? null
}

/** Its place in the round came after a request that set something else, or switched off. */
export function isOutdated(d: Draft, move: Move): boolean {
  if (move.kind !== 'ask' || (move.want.is !== 'setting' && move.want.is !== 'guard')) return false
  const known = d.channels[move.channel]
  if (known?.output !== true) return true
  const now = known[move.want.which]
  return move.want.is === 'guard' ? now === null : now !== move.want.sent
}

function regulationQuestion(config: LineConfig, index: number): Move | null {
  const { ask_cc } = config.dialect
  if (ask_cc === null) return null
  return ask(config, index, ask_cc.query, {
    is: 'regulation',
    mask: ask_cc.mask,
    cv_mask: ask_cc.cv_mask,
  })
}

/** What changes seldom: one of these after every round. Status questions are slow on many supplies. */
export function slowMoves(config: LineConfig): readonly Move[] {
  if (config.meter !== null) return []
  const { dialect } = config
  const tripped = (index: number, which: Protection, words: string | Bits | null): Move | null =>
    words === null
      ? null
      : typeof words === 'string'
        ? ask(config, index, words, { is: 'tripped', which, mask: null })
        : ask(config, index, words.query, { is: 'tripped', which, mask: words.mask })
  const of = (index: number): (Move | null)[] => [
    regulationQuestion(config, index),
    ask(config, index, dialect.ask_output, { is: 'output', on: null }),
    tripped(index, 'over-voltage', dialect.ask_over_volts_tripped),
    tripped(index, 'over-current', dialect.ask_over_amps_tripped),
    tripped(index, 'over-temperature', dialect.ask_over_heat_tripped),
    expiredQuestion(config, index),
  ]
  const each = config.channels.map((_, index) => of(index))
  // Kind by kind, so that no channel waits for all the questions of another.
  return [0, 1, 2, 3, 4, 5]
    .flatMap((kind) => each.map((moves) => moves[kind] ?? null))
    .filter((move) => move !== null)
}
