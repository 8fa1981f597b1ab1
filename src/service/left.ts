import { cameToItsEnd, leftBehind, readBenchState, stillRuns } from '../controller/index.js'
import { runNameOf } from '../record/index.js'
import type { NotBegun, Ran, Start } from '../session/index.js'
import { type Message, Refused } from './api/index.js'
import { offOf } from './ended.js'

/* What runs left on: that of this service, and what lies there of others. */

/** A bench on which an output may be on after its run. */
export type Left = Pick<Start, 'prepared' | 'whole' | 'state_path'>

/** What may be on after this; null: nothing, as far as was measured. */
export function leftOn(over: Ran | NotBegun, start: Left): Left | null {
  const open =
    over.kind === 'ran' ? offOf(over.ending) === 'not confirmed' : over.why === 'outputs not confirmed off'
  return open ? start : null
}

/** The run that left it so, by its name; null: not known. */
export function leftBy({ state_path }: Pick<Left, 'state_path'>): string | null {
  const state = readBenchState(state_path)
  return state === null || state === 'unreadable' ? null : runNameOf(state.run_file)
}

/** Why nothing may begin on this bench: the alarm of another, and its OFF AGAIN, are not given up for it. */
export function leftElsewhere(left: Left | null, state_path: string): Refused | null {
  if (left === null || left.state_path === state_path || !isStillLeft(left)) return null
  const where = left.prepared.bench_path
  return new Refused(
    409,
    'outputs not confirmed off',
    'The last run left outputs on another bench that were not confirmed off: nothing begins here before they are.',
    {
      where,
      remedy: `Send OFF again with the stop, or slowglow safe-off --bench ${where}. Where its supplies are cut from the mains and stay so, end this service and begin it anew: it tells of that bench then.`,
    },
  )
}

/** Nobody else has seen to it since: safe-off takes its state away, and a run of another process writes its own. */
function isStillLeft({ state_path }: Left): boolean {
  const state = readBenchState(state_path)
  if (state === null || state === 'unreadable') return state !== null
  return state.supervisor.pid === process.pid || !stillRuns(state.supervisor)
}

/** What lies there of runs that nobody supervises any more, but for the bench with this state. */
export function leftWords(
  env: Readonly<Record<string, string | undefined>>,
  except: string | null,
): Pick<Message, 'kind' | 'text'>[] {
  const after =
    'Cut the mains of the HT sources (not of the bias), or slowglow safe-off --bench FILE. The next start on that bench reads its outputs back and makes them safe first.'
  return leftBehind(env).flatMap(({ path, state }) => {
    if (path === except) return []
    if (state === 'unreadable') {
      const text = `A run was left without its end, and what it left in ${path} cannot be read: OUTPUTS OF A BENCH MAY BE ON. ${after}`
      return [{ kind: 'alarm', text }]
    }
    const virtual = state.bench_kind === 'virtual'
    const what = cameToItsEnd(state)
      ? 'A run ended with outputs that were not confirmed off'
      : 'A run was left without its end'
    const text = `${what} (${state.run_file}): OUTPUTS OF ${state.bench} MAY BE ON${virtual ? ', a virtual bench' : ''}. ${after}`
    return [{ kind: virtual ? 'notice' : 'alarm', text }]
  })
}
