import { existsSync, mkdirSync, renameSync } from 'node:fs'
import { basename, dirname, join } from 'node:path'
import { standsAs } from './chain.js'
import { archiveName, listRuns, offPlanFile, type RunLine, unlistedIn } from './find.js'
import { openDatabase } from './open.js'

/** What an archiving did with each run that was old enough; nothing is ever deleted. */
export interface Archived {
  readonly moved: readonly { readonly from: string; readonly to: string; readonly bytes: number }[]
  /** Old enough, and left where it lies: why. */
  readonly left: readonly { readonly file: string; readonly why: string }[]
}

/**
 * Moves runs that began before `before` into the archive beside them. Left where they lie: the newest of each set, since the
 * next run is held against it; what has no ending; what cannot be read; what has an unfinished part or is `busy`; what left its
 * outputs open, since `safe-off` may want the off plan that lies beside it. Of all others that plan goes with the run.
 */
export function archiveRuns(folder: string, before: Date, busy: (file: string) => boolean): Archived {
  const runs = listRuns(folder)
  // Oldest first, so the last of a set is its newest.
  const newest = new Map(
    runs.map(({ equipment, command, file }) => [`${command ?? ''} ${equipment ?? ''}`, file]),
  )
  const moved: Archived['moved'][number][] = []
  const left: Archived['left'][number][] = unlistedIn(folder).map(({ file, trouble }) => ({
    file,
    why: trouble,
  }))
  for (const run of runs) {
    if (run.archived || !isBefore(run, before)) continue
    const to = join(dirname(run.file), archiveName, basename(run.file))
    const why = whyLeft(run, newest.get(`${run.command ?? ''} ${run.equipment ?? ''}`) === run.file, busy, to)
    if (why !== null) {
      left.push({ file: run.file, why })
      continue
    }
    try {
      mkdirSync(dirname(to), { recursive: true })
      // Its plan first: a run that cannot follow it stays whole where it lies.
      const planned = existsSync(offPlanFile(run.file))
      if (planned) renameSync(offPlanFile(run.file), offPlanFile(to))
      try {
        renameSync(run.file, to)
      } catch (error) {
        if (planned) renameSync(offPlanFile(to), offPlanFile(run.file))
        throw error
      }
      moved.push({ from: run.file, to, bytes: run.bytes })
    } catch (error) {
      left.push({
        file: run.file,
        why: `it could not be moved (${error instanceof Error ? error.message : String(error)})`,
      })
    }
  }
  return { moved, left }
}

function isBefore({ started }: RunLine, before: Date): boolean {
  return started === null || new Date(started).getTime() < before.getTime()
}

function whyLeft(
  run: RunLine,
  isNewest: boolean,
  busy: (file: string) => boolean,
  to: string,
): string | null {
  if (run.trouble !== null) return run.trouble
  if (run.damage.length > 0) return `it is damaged (${run.damage.join('; ')})`
  if (busy(run.file)) return 'it is under way'
  if (run.outcome === 'interrupted') return 'it has no ending'
  if (run.outputs_off !== 'confirmed' && !run.nothing_to_confirm) return 'its outputs were not confirmed off'
  if (isNewest) return 'it is the newest of its set'
  const opened = openDatabase(run.file)
  if ('trouble' in opened) return opened.trouble
  const standing = standsAs(opened)
  opened.db.close()
  if (standing !== 'whole') return 'its newest part lies beside it in a -wal'
  return existsSync(to) ? `${to} exists already` : null
}
