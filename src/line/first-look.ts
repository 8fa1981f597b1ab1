import { decimalValue } from '../exchange/index.js'
import { believed } from './judge.js'
import type { LineState } from './state.js'

/**
 * The current that this text tells, where it can be nothing else than the answer to the question in flight; null for whatever else.
 * For whoever must know before the line has made anything of it: `lineHear` judges the same text behind, and says the same of it.
 */
export function ampsIn(state: LineState, text: string): { channel: string; amps: number } | null {
  const move = state.flight?.move
  if (state.link !== 'ready' || move?.kind !== 'ask') return null
  // An answer in words of ours might be their echo: that is for the whole judgement.
  if (move.want.is !== 'reading' || move.want.quantity !== 'A' || move.around !== null) return null
  const channel = state.config.channels[move.channel]?.channel
  const value = believed(state.config, text, 'A', move.channel)
  if (channel === undefined || value === null) return null
  return { channel, amps: decimalValue(value) }
}
