import { execFile } from 'node:child_process'
import { readFileSync } from 'node:fs'

/**
 * Processors by number that this process may run on, as the system says (`Cpus_allowed_list` of proc(5): `0-3,6`); none where it says
 * nothing of the kind.
 */
export function processors(status = '/proc/self/status'): readonly number[] {
  let told: string
  try {
    told = /^Cpus_allowed_list:\s*(\S+)/m.exec(readFileSync(status, 'utf8'))?.[1] ?? ''
  } catch {
    return []
  }
  return told.split(',').flatMap((range) => {
    const [first = NaN, last = first] = range.split('-').map(Number)
    return Number.isInteger(first) && Number.isInteger(last)
      ? Array.from({ length: last - first + 1 }, (_, n) => first + n)
      : []
  })
}

/** By `taskset` of util-linux, where it is; a process that has gone needs no processor. True where it was done. */
const keepTo = (pid: number, list: readonly number[]): Promise<boolean> =>
  new Promise((resolve) => {
    execFile('taskset', ['-a', '-c', '-p', list.join(','), String(pid)], (error) => {
      resolve(error === null)
    })
  })

/**
 * Leaves one processor, the first, to a run: these processes keep to the others until `goBack`. Any program loses its 99th percentile of
 * a wake-up to busy neighbours, whatever their priority (a slice is run to its end, and a line is several programs and the system's own),
 * and a page's viewers and reviews are the busy neighbours that are ours. Where there is one processor only, or the system knows no such
 * thing, nothing is done. What they start meanwhile keeps to the others, too.
 */
export function standAside(pids: () => readonly number[]): {
  readonly aside: Promise<boolean>
  readonly goBack: () => Promise<boolean>
} {
  const all = processors()
  const keep = async (list: readonly number[]): Promise<boolean> => {
    if (all.length < 2) return false
    const done = await Promise.all(pids().map((pid) => keepTo(pid, list)))
    return done.every((each) => each)
  }
  const aside = keep(all.slice(1))
  // In turn: a run that is over at once must not be set aside after it was set back.
  const goBack = async (): Promise<boolean> => {
    await aside
    return keep(all)
  }
  return { aside, goBack }
}
