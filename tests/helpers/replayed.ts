import { existsSync, readdirSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { Plan } from '../../src/plan/index.js'
import { openRunFile, type RunReader } from '../../src/record/index.js'
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

/** Replays every record that lies in a folder, as its makers leave it: runs of a terminal, of a service, rehearsals. Throws with what differs. */
export function replayAll(folder: string): void {
  const wrong = [folder, join(folder, 'archive')].flatMap((at) =>
    (existsSync(at) ? readdirSync(at) : [])
      .filter((name) => name.endsWith('.slowglow'))
      .flatMap((name) => {
        const differs = differsIn(join(at, name))
        return differs === null ? [] : [`${name}: ${differs}`]
      }),
  )
  if (wrong.length > 0) throw new Error(`Replayed, these runs go another way: ${wrong.join('\n')}`)
}

/** Why a run file, replayed, goes another way; null where it does not, or where its recorder died before it wrote anything. */
export function differsIn(path: string): string | null {
  if (statSync(path).size === 0) return null
  const opened = openRunFile(path)
  if ('trouble' in opened) return opened.trouble
  try {
    return goesAnotherWay(opened.reader)
  } finally {
    opened.reader.close()
  }
}

/**
 * Why the record of a run does not give what it says was decided when it is fed again; null where it does. One that knows
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
  const from = known.command === 'rehearse' ? 'rehearsal' : 'controller'
  const { difference, gap, ends_early } = replayExactly(known.plan, reader.entries(), from)
  if (difference !== null) return JSON.stringify(difference)
  if (gap === null || events.some(({ what }) => what === 'dropped')) return null
  return ends_early !== null && !ended ? null : gap
}
