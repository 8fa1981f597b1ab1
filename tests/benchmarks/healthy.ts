import { appendFileSync, existsSync, readFileSync } from 'node:fs'
import { type HealthyRun, healthySets } from '../helpers/healthy-sets.js'
import type { Figure } from './figures.js'

/** The first of the seeds; none of them is used by a plan or a test. */
const firstSeed = 50_001
const profiles = ['receive', 'transmit'] as const

type Kept = HealthyRun & { readonly profile: string; readonly seed: number }

/**
 * Healthy sets, each through one whole bring-up, receiver and transmitter in turn: how many are stopped, how many are asked
 * "go on, or stop?". A thousand take most of an hour of one processor, so that what was done is kept in the file `keep` and
 * not done again.
 */
export function healthyFigures(sets: number, keep: string | undefined): Figure[] {
  const known: Kept[] =
    keep === undefined || !existsSync(keep)
      ? []
      : readFileSync(keep, 'utf8')
          .split('\n')
          .filter((line) => line !== '')
          .map((line) => JSON.parse(line) as Kept)
  const done = new Map(known.map((run) => [`${run.profile} ${run.seed}`, run]))
  const trials = {
    receive: healthySets('profiles/tern-rock/receive.yaml'),
    transmit: healthySets('profiles/tern-rock/transmit.yaml'),
  }
  const runs = Array.from({ length: sets }, (_, n): Kept => {
    const seed = firstSeed + n
    const profile = profiles[n % 2 === 0 ? 0 : 1]
    const before = done.get(`${profile} ${seed}`)
    if (before !== undefined) return before
    const made = { profile, seed, ...trials[profile](seed) }
    if (keep !== undefined) appendFileSync(keep, `${JSON.stringify(made)}\n`)
    return made
  })
  return [
    counted(
      'healthy sets stopped in a whole bring-up (receiver and transmitter in turn)',
      sets,
      runs,
      (run) => (run.stopped === null ? [] : [run.stopped.replace(/[:;].*/s, '')]),
    ),
    counted('healthy sets asked whether to go on', sets, runs, ({ asked }) =>
      asked.map((text) => text.replace(/^(\S+) (draws|has not settled).*/s, '$1 $2')),
    ),
  ]
}

function counted(
  what: string,
  sets: number,
  runs: readonly Kept[],
  told: (run: Kept) => readonly string[],
): Figure {
  const struck = runs.filter((run) => told(run).length > 0)
  const hit = new Set(struck.map(({ seed }) => seed)).size
  const causes = new Map<string, number>()
  for (const run of struck)
    for (const cause of new Set(told(run).map((text) => `${run.profile}: ${text}`)))
      causes.set(cause, (causes.get(cause) ?? 0) + 1)
  const list = [...causes].sort(([, a], [, b]) => b - a).map(([cause, n]) => `${n} × ${cause}`)
  return {
    what,
    value: (1000 * hit) / sets,
    unit: 'in 1000',
    yardstick: `${hit} of ${sets} sets${list.length === 0 ? '' : ` (${list.join('; ')})`}`,
    ratio: null,
    target: 'at most 10 in 1000',
    met: hit <= sets / 100,
  }
}
