import type { LineFault, LineHealth, Rung } from '../exchange/index.js'
import type { Draft, LineState } from './state.js'

/* Copies for people and for the record: nothing here is ever asked by what the line does next. */

/** Counts, and what of them has been told. */
export interface Kept {
  readonly faults: Readonly<Partial<Record<LineFault, number>>>
  readonly discarded_bytes: number
  /** Changed since it was last told. */
  readonly untold: boolean
  readonly told_us: number | null
  /** When each rung was last told. */
  readonly rungs_us: Readonly<Partial<Record<Rung, number>>>
  /** A rung above asking again was told, and no recovery since. */
  readonly climbed: boolean
}
export const nothingKept: Kept = {
  faults: {},
  discarded_bytes: 0,
  untold: false,
  told_us: null,
  rungs_us: {},
  climbed: false,
}

/** A line that fails at every question must not fill the record: our choices, no source. */
const health_every_us = 1_000_000
const rung_every_us = 10_000_000

export function count(d: Draft, fault: LineFault): void {
  const faults = { ...d.kept.faults, [fault]: (d.kept.faults[fault] ?? 0) + 1 }
  d.kept = { ...d.kept, faults, untold: true }
}

/** What is wrong now, for the sentence that tells it. */
export function blame(d: Draft, fault: LineFault, text: string): void {
  d.trouble_fault = fault
  d.trouble_text = text
}

export function countBytes(d: Draft, bytes: number): void {
  d.kept = { ...d.kept, discarded_bytes: d.kept.discarded_bytes + bytes, untold: true }
}

/** A rung climbed: told at once, and the same one not again for ten seconds. */
export function climb(d: Draft, rung: Rung, text: string): void {
  const last_us = d.kept.rungs_us[rung]
  const climbed = rung === 'answers again' ? false : d.kept.climbed || rung !== 'ask again'
  if (last_us !== undefined && d.t_us - last_us < rung_every_us) {
    d.kept = { ...d.kept, climbed }
    return
  }
  d.kept = { ...d.kept, climbed, rungs_us: { ...d.kept.rungs_us, [rung]: d.t_us } }
  d.outputs.push({ kind: 'rung', rung, text: `port ${d.config.port}: ${text}` })
}

export function wellAgain(d: Draft): void {
  if (d.kept.climbed) climb(d, 'answers again', 'it answers again')
}

export function replied(d: Draft, asked_us: number): void {
  d.replies += 1
  const took_us = d.t_us - asked_us
  if (took_us > d.worst_reply_us) d.worst_reply_us = took_us
}

/** Where counts changed and a second has passed since they were last told. */
export function tellHealth(d: Draft): void {
  const { untold, told_us } = d.kept
  if (!untold || (told_us !== null && d.t_us - told_us < health_every_us)) return
  d.kept = { ...d.kept, untold: false, told_us: d.t_us }
  d.outputs.push({ kind: 'health', health: healthOf(d) })
}

/** As it stands now: also what has not been told yet. */
export function healthOf(
  state: Pick<LineState, 'kept' | 'replies' | 'worst_reply_us' | 'rounds' | 'rounds_us'>,
): LineHealth {
  const { kept, replies, worst_reply_us, rounds, rounds_us } = state
  return {
    faults: kept.faults,
    discarded_bytes: kept.discarded_bytes,
    replies,
    worst_reply_s: replies === 0 ? null : worst_reply_us / 1e6,
    polled_Hz: rounds_us === 0 ? null : (rounds * 1e6) / rounds_us,
  }
}

/** What came, short and printable, for a sentence. */
export function shown(text: string): string {
  const clean = text.trim().replaceAll(/[^\x20-\x7e]/g, '?')
  return clean.length <= 40 ? clean : `${clean.slice(0, 39)}…`
}
