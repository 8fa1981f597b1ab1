import type { Plan } from '../plan/index.js'
import { begin, type State } from '../sequencer/index.js'
import { fedOf, type RunEntry, type Stream } from '../story/index.js'
import { earlyEnd } from './early-end.js'
import { decides, inWords, stepOf, timeOf, toldBy } from './told.js'

/** A recorded run fed through today's sequencer with the plan it was made with. */
export interface Exactly {
  /** Events fed. */
  readonly fed: number
  /** Recorded decisions that came out the same: requests to a line, record entries, the ending. */
  readonly same: number
  /** The first place where they do not; null where all agree. */
  readonly difference: {
    readonly t_us: number
    readonly step: number | null
    readonly recorded: string | null
    readonly now: string | null
  } | null
  /** Why the comparison stopped before the record did; null where it did not. */
  readonly gap: string | null
  /** Where the record ends before the run did: how many decisions are missing of what it was last fed; null where it does not. */
  readonly ends_early: number | null
}

/**
 * Feeds everything the sequencer was fed, in the record's order, and holds every decision against the recorded one, to the
 * last digit. Total: a record that cannot be followed is said to be so in `gap`. `seen`: the state after each thing fed.
 */
export function replayExactly(
  plan: Plan,
  entries: Iterable<RunEntry>,
  from: 'controller' | 'rehearsal',
  seen?: (state: State) => void,
): Exactly {
  const streams = new Map<number, Stream>()
  let state: State = begin(plan)
  let waiting: readonly RunEntry[] = []
  let fed = 0
  let same = 0
  let step: number | null = null
  let ended = false
  const until = (difference: Exactly['difference'], gap: string | null = null): Exactly => ({
    fed,
    same,
    difference,
    gap,
    ends_early: null,
  })

  for (const entry of entries) {
    if (entry.entry === 'stream') streams.set(entry.stream.id, entry.stream)
    if (entry.entry === 'event' && entry.event.what === 'dropped')
      return until(null, `${entry.event.text} What came after cannot be followed.`)
    const event = fedOf(entry, streams)
    if (event === 'not understood')
      return until(null, 'Something the run was fed is written in a way that this version does not read.')
    if (event !== null) {
      const [next] = waiting
      if (next !== undefined)
        return until({ t_us: state.t_us, step: stepOf(next) ?? step, recorded: null, now: inWords(next) })
      const after = toldBy(state, event, from, seen === undefined)
      state = after.state
      waiting = after.told
      fed++
      seen?.(state)
      continue
    }
    if (!isDecision(entry)) continue
    // After the controller was lost its supervisor tells the ending; nothing was decided by the sequencer any more.
    ended ||= entry.entry === 'ending'
    if (entry.entry === 'ending' && waiting.length === 0 && state.phase !== 'ended') break
    const [next, ...rest] = waiting
    if (next === undefined || !alike(next, entry)) {
      const t_us = timeOf(entry) ?? state.t_us
      const now = next === undefined ? null : inWords(next)
      return until({ t_us, step: stepOf(entry) ?? step, recorded: inWords(entry), now })
    }
    waiting = rest
    step = stepOf(entry) ?? step
    same++
  }
  const early = earlyEnd(ended, waiting)
  return early === null ? until(null) : { ...until(null), ...early }
}

/** Entries that tell what the sequencer decided. */
function isDecision(entry: RunEntry): boolean {
  return entry.entry === 'ending' || (entry.entry === 'event' && decides(entry.event.from))
}

/** As JSON tells them: what the record cannot hold (an undefined, an infinity) is no difference. */
function alike(a: unknown, b: unknown): boolean {
  // Told by the same words of the program, as nearly all are, they are alike as they stand.
  return JSON.stringify(a) === JSON.stringify(b) || sorted(a) === sorted(b)
}
function sorted(value: unknown): string {
  return JSON.stringify(value, (_key, part: unknown) =>
    typeof part === 'object' && part !== null && !Array.isArray(part)
      ? Object.fromEntries(Object.entries(part).sort(([a], [b]) => (a < b ? -1 : 1)))
      : part,
  )
}
