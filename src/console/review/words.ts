import { formatShort } from '../../quantities/index.js'
import type { ApiTrend, Replay, Runs } from '../../service/api/index.js'
import { inA, inV } from '../words/figures.js'

/* What the places of a review say of runs, apart from how it is drawn. */

type Line = Runs['runs'][number]

/** What of a closing or of an interrupted record must not be read past. */
export function closingClass(line: string, at: number): 'finding' | 'first' | '' {
  if (/NOT CONFIRMED|NOT confirmed|INTERRUPTED|every output as on|in memory only/.test(line)) return 'finding'
  return at === 0 ? 'first' : ''
}

/** How a run ended, in a list: one with warnings is not like one within its limits. */
export function endedAs({ outcome, warnings }: Pick<Line, 'outcome' | 'warnings'>): string {
  return `${outcome ?? 'not known'}${outcome === 'completed' && warnings > 0 ? ', with warnings' : ''}`
}

/**
 * How its outputs stand. What slowglow measured and what only a person can put off are two statements; a knob that was left open
 * is never behind "confirmed off".
 */
export function outputsOf({
  outputs_off,
  nothing_to_confirm,
  hands_open,
}: Pick<Line, 'outputs_off' | 'nothing_to_confirm' | 'hands_open'>): {
  readonly words: readonly string[]
  readonly open: boolean
} {
  const measured = nothing_to_confirm
    ? 'none here was slowglow’s to confirm'
    : outputs_off === 'confirmed'
      ? 'confirmed off'
      : outputs_off === 'not confirmed'
        ? 'NOT confirmed off'
        : 'not known to be off'
  return {
    words: [measured, ...hands_open.map((rail) => `${rail} NOT confirmed off by you`)],
    open: (outputs_off !== 'confirmed' && !nothing_to_confirm) || hands_open.length > 0,
  }
}

/** What a replay came to; where it could not follow the record it says nothing of the way that the run would have gone. */
export function replayedAs({ agrees, difference }: Pick<Replay, 'agrees' | 'difference'>): string {
  if (agrees) return '● The same decisions.'
  return difference === null ? '▲ It could not be followed to its end.' : '▲ It would have gone another way.'
}

/** A current with the volts that it was measured at: without them two are not to be held against each other. */
export const measuredAt = (amps: number | null, volts: number | null): string =>
  amps === null ? inA(null) : `${inA(amps)} at ${volts === null ? 'volts not read' : inV(volts)}`

type InRun = ApiTrend['capacitors'][number]

export const capacitorNames = (runs: readonly InRun[]): string[] => [
  ...new Set(runs.flatMap(({ leakage }) => (leakage === 'not judged' ? [] : Object.keys(leakage)))),
]

/** What a run tells of one part; empty where it tells nothing of it. */
export function capacitorCell({ leakage, capacitance }: InRun, part: string): string {
  const found = leakage === 'not judged' ? undefined : leakage[part]
  if (found === undefined) return ''
  const F = capacitance === 'not judged' ? null : (capacitance[part] ?? null)
  const leak = `${inA(found.amps)} at ${inV(found.volts)}`
  return `${found.verdict}: ${leak}, ${F === null ? 'capacitance not measured' : formatShort(F, 'F')}`
}

/** What each kind of file holds that is taken away. */
export const exports = [
  ['csv', 'Every reading as CSV, a row a moment'],
  ['parquet', 'Every reading as Parquet, a row a moment'],
  ['jsonl', 'Every entry, readings and events alike, as JSON Lines'],
] as const
