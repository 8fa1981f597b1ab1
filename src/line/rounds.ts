import type { Bits } from '../bench/index.js'
import type { Protection } from '../exchange/index.js'
import { expiredQuestion } from './dead-man.js'
import { ask, type Move } from './moves.js'
import type { Draft } from './state.js'
import type { LineConfig } from './types.js'

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
