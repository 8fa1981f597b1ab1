import type { Channel, Dialect } from '../../src/bench/index.js'
import { type LineConfig, lineConfigOf, openLine } from '../../src/line/index.js'
import { draftOf } from '../../src/line/draft.js'
import type { Move } from '../../src/line/moves.js'
import type { ChannelState, Draft } from '../../src/line/state.js'
import { channelOf, fullDialect, supplyOf } from './line-world.js'

/* A line at one moment, for what one of its parts decides there: nothing is played before. */

/** Of an HT supply with a bias beside it, in these words and with these changes to its configuration. */
export function configWith(
  words: Partial<Dialect> = {},
  change: Partial<LineConfig> = {},
  plate: Partial<Channel> = {},
): LineConfig {
  const channels = { plate: channelOf(1, plate), bias: channelOf(2, { role: 'bias', max_V: 60, max_A: 0.1 }) }
  return { ...lineConfigOf('BENCH', supplyOf({ ...fullDialect, ...words }, channels)), ...change }
}

/** Ready and idle at 100 s, but for what is said of it and, in their order, of its channels. */
export function lineAt(
  config: LineConfig,
  more: Partial<Draft> = {},
  ...channels: readonly Partial<ChannelState>[]
): Draft {
  const line = openLine(config)
  const known = line.channels.map((channel, index) => ({ ...channel, ...channels[index] }))
  const ready = { link: 'ready', t_us: 100e6, fresh: false, been_ready: true, unarmed: false } as const
  return draftOf({ ...line, ...ready, channels: known, ...more })
}

/** What these moves put on the wire, without its ends. */
export const textsOf = (moves: readonly (Move | null)[]): readonly string[] =>
  moves.flatMap((move) => (move === null ? [] : [move.text.trim()]))

/** What was written since. */
export const writtenOf = ({ outputs }: Pick<Draft, 'outputs'>): readonly string[] =>
  outputs.flatMap((output) => (output.kind === 'write' ? [output.text.trim()] : []))
