import { readBenchState, removeBenchState } from '../controller/index.js'
import {
  type Cleared,
  clearFormerRun,
  offSaid,
  openHandLines,
  railLines,
  virtualAs,
} from '../session/index.js'
import type { Ended, Snapshot } from './api/index.js'
import type { Left } from './left.js'

type Done = NonNullable<Snapshot['stop']>['done']

/** What OFF sent again came to; `cleared`: what was measured off, where all that slowglow switches was. */
export interface Again {
  readonly done: Done
  readonly cleared: Cleared | null
}

/**
 * OFF once more, and measured: as the next start on that bench would do it before anything else. `ended`: what the run itself had to
 * say, a person's word about knobs with it. Never throws.
 */
export async function offAgain(
  { prepared, whole, state_path }: Left,
  ended: Ended | null,
  told: (text: string) => void,
): Promise<Again> {
  try {
    if (readBenchState(state_path) === null) {
      told(
        'ALARM: What this run left on is no longer known here, so OFF was not sent again. In a terminal of the bench machine: slowglow safe-off --bench FILE.',
      )
      return { done: 'not confirmed', cleared: null }
    }
    const bench = whole ?? prepared.bench
    const left = await clearFormerRun({ ...prepared, bench }, state_path, told)
    if (left === null)
      return { done: virtualAs(bench) === null ? 'confirmed' : 'nothing to confirm', cleared: null }
    if (left.kind === 'cleared') {
      const open = openLines(ended, left)
      for (const line of open) told(`ALARM: ${line}`)
      if (open.length > 0) return { done: 'not confirmed', cleared: left }
      removeBenchState(state_path)
      return { done: 'confirmed', cleared: left }
    }
    told(`ALARM: ${left.what} ${left.remedy ?? ''}`)
  } catch (error) {
    told(
      `ALARM: OFF could not be sent again: ${error instanceof Error ? error.message : String(error)} Cut the mains of the HT sources now (not of the bias).`,
    )
  }
  return { done: 'not confirmed', cleared: null }
}

/** Rails on a person's own knob that nobody said are off: nobody is asked when OFF is sent again, so what was said in the run stands. */
function openLines(ended: Ended | null, { hand_rails }: Cleared): string[] {
  return openHandLines(ended === null ? { hand_rails, hand_last_V: {} } : offSaid(ended.ending))
}

const ours = 'what slowglow switches was confirmed off, measured at the supplies'

/** The ending stays what it was; what was measured since stands in place of its alarm and of its rails. */
export function endedSince(ended: Ended | null, { done, cleared }: Again): Ended | null {
  if (ended === null || (cleared === null && (done === 'not confirmed' || done === 'asked'))) return ended
  const since = 'When the run ended its outputs were not confirmed off. OFF was sent again since then: '
  if (cleared === null)
    return {
      ...ended,
      alarm: false,
      outputs: `${since}${done === 'confirmed' ? 'outputs confirmed off, measured at the supplies.' : 'its virtual bench is gone, and nothing real is on.'}`,
      rails: [],
      open_hand_rails: [],
    }
  const open = openLines(ended, cleared)
  return {
    ...ended,
    alarm: open.length > 0,
    outputs: `${since}${open.length > 0 ? `${ours}, and what stands on your own knob was not: take it as on. Switch its mains off now.` : 'outputs confirmed off, measured at the supplies.'}`,
    rails: railLines({ ...offSaid(ended.ending), off: cleared.rails }).map((line) => line.trim()),
    open_hand_rails: open,
  }
}

export function refusedSince(refused: Snapshot['refused'], { done, cleared }: Again): Snapshot['refused'] {
  if (refused === null || (cleared === null && (done === 'not confirmed' || done === 'asked'))) return refused
  const since = 'An earlier run had left outputs that were not confirmed off. OFF was sent again since then'
  const open = cleared === null ? [] : openLines(null, cleared)
  if (open.length > 0)
    return { ...refused, what: `${since}: ${ours}. ${open.join(' ')}`, remedy: 'Measure before touching.' }
  return {
    ...refused,
    code: 'nothing under way',
    what: `${since}, and ${done === 'confirmed' ? 'they were measured off at the supplies' : 'its virtual bench is gone: nothing real is on'}.`,
    remedy: 'Start again. The set’s charge was not measured: take it as charged.',
  }
}
