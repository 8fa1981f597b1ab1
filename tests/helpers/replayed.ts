import type { Plan } from '../../src/plan/index.js'
import type { RunReader } from '../../src/record/index.js'
import { rehearse as rehearsal, type Rehearsal } from '../../src/rehearse/index.js'
import { replayExactly } from '../../src/replay/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'

/* Every run made by a test is replayed as part of it: what was fed must give what was decided, to the last digit. */

/** The program's own `rehearse`, followed at its end. In a benchmark it is that alone, so that a figure is of the run. */
export function rehearse(...[plan, equipment, bench, options]: Parameters<typeof rehearsal>): Rehearsal {
  if (process.env['VITEST'] === undefined) return rehearsal(plan, equipment, bench, options)
  const entries: RunEntry[] = []
  const done = rehearsal(plan, equipment, bench, {
    ...options,
    record: (entry) => {
      entries.push(entry)
      options.record(entry)
    },
  })
  follows(plan, entries)
  return done
}

/** Entries of a rehearsal, replayed as its record would be. */
function follows(plan: Plan, entries: readonly RunEntry[]): void {
  const known: RunEntry[] = streamsOf(plan).map((stream) => ({ entry: 'stream', stream }))
  const kept = JSON.parse(JSON.stringify([...known, ...entries])) as RunEntry[]
  const { difference, gap } = replayExactly(plan, kept, 'rehearsal')
  if (difference !== null || gap !== null) throw new Error(JSON.stringify({ difference, gap }))
}

/**
 * Why the record of a live run does not give what it says was decided when it is fed again; null where it does. One that knows
 * nothing, or that cannot be followed, is no record that agrees; who was killed may end early, and what was dropped is told there.
 */
export function goesAnotherWay(reader: RunReader): string | null {
  const known = reader.known()
  const events = reader.events()
  if (known === null)
    return events.some(({ from }) => from === 'controller')
      ? 'the record does not say which plan was run, and tells of a controller'
      : null
  // Asked before the entries: where a slow machine's run is still ending, its end may come in between.
  const ended = reader.ending() !== null
  const { difference, gap, ends_early } = replayExactly(known.plan, reader.entries(), 'controller')
  if (difference !== null) return JSON.stringify(difference)
  if (gap === null || events.some(({ what }) => what === 'dropped')) return null
  return ends_early !== null && !ended ? null : gap
}
