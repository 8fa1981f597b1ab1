import type { Plan } from '../plan/index.js'
import { begin, type State } from '../sequencer/index.js'
import { fedOf, type RunEnding, type RunEntry, type Stream } from '../story/index.js'
import { earlyEnd } from './early-end.js'
import { decides, inWords, stepOf, timeOf, toldBy } from './told.js'

/** A recorded run judged by another plan: where it would first have gone another way. */
export interface WithLimits {
  readonly fed: number
  /** Null: every recorded reading is judged the same, and the run would have gone the same way. */
  readonly difference: {
    readonly t_us: number
    readonly step: number | null
    /** What the recorded run did there; null: it went on. */
    readonly recorded: string | null
    /** What would have been done; null: it would have gone on. */
    readonly now: string | null
    /** Why it would have stopped, where it would. */
    readonly reason: RunEnding['reason']
  } | null
  /** Why it could not be followed to its end; null where it could. */
  readonly gap: string | null
  /** Where the record ends before the run did: how many decisions are missing of what it was last fed; null where it does not. */
  readonly ends_early: number | null
}

/**
 * Feeds the recorded readings and answers to a run with other limits until the first decision that differs. Beyond it nothing
 * is known: the set would have been at other volts than those recorded. Figures of limits sent to the supply, and wording,
 * are no difference; set-points, outputs, questions, steps, trips and endings are.
 */
export function replayWith(plan: Plan, entries: Iterable<RunEntry>): WithLimits {
  const streams = new Map<number, Stream>()
  let state: State = begin(plan)
  let waiting: readonly RunEntry[] = []
  let fed = 0
  let step: number | null = null
  let ended = false
  const until = (difference: WithLimits['difference'], gap: string | null = null): WithLimits => ({
    fed,
    difference,
    gap,
    ends_early: null,
  })
  const reason = (): RunEnding['reason'] => state.off?.reason ?? null

  for (const entry of entries) {
    if (entry.entry === 'stream') streams.set(entry.stream.id, entry.stream)
    if (entry.entry === 'event' && entry.event.what === 'dropped') return until(null, entry.event.text)
    const event = fedOf(entry, streams)
    if (event === 'not understood')
      return until(null, 'Something the run was fed is written in a way that this version does not read.')
    if (event !== null) {
      const [next] = waiting
      if (next !== undefined) {
        const t_us = timeOf(next) ?? state.t_us
        return until({
          t_us,
          step: stepOf(next) ?? step,
          recorded: null,
          now: inWords(next),
          reason: reason(),
        })
      }
      const after = toldBy(state, event, 'controller')
      state = after.state
      waiting = after.told.filter((told) => decision(told) !== null)
      fed++
      continue
    }
    const recorded = decision(entry)
    if (recorded === null || (entry.entry === 'event' && !decides(entry.event.from))) continue
    ended ||= entry.entry === 'ending'
    if (entry.entry === 'ending' && waiting.length === 0 && state.phase !== 'ended') break
    const [next, ...rest] = waiting
    if (next === undefined || decision(next) !== recorded) {
      const t_us = timeOf(entry) ?? state.t_us
      const now = next === undefined ? null : inWords(next)
      return until({
        t_us,
        step: stepOf(entry) ?? step,
        recorded: inWords(entry),
        now,
        reason: now === null ? null : reason(),
      })
    }
    waiting = rest
    step = stepOf(entry) ?? step
  }
  const early = earlyEnd(ended, waiting)
  return early === null ? until(null) : { ...until(null), ...early }
}

/** What of an entry is a way the run goes, as one text to compare; null where it is only told beside it. */
function decision(entry: RunEntry): string | null {
  if (entry.entry === 'ending') return `ending ${entry.ending.outcome} ${entry.ending.reason?.code ?? ''}`
  if (entry.entry !== 'event') return null
  const { what, rail, step, data } = entry.event
  switch (what) {
    case 'asked':
      return JSON.stringify([
        'asked',
        data['kind'],
        data['do'],
        data['channel'],
        data['volts'],
        data['channels'],
      ])
    case 'step':
    case 'prompt':
    case 'off':
      return JSON.stringify([what, rail, step])
    case 'trip':
      return JSON.stringify([what, rail, step, data['code']])
    default:
      return null
  }
}
