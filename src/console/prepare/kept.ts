import type { View } from '../../sequencer/index.js'
import type { LimitPoint } from '../charts/limits.js'
import { inForce } from '../../service/api/index.js'

/** A moment of a rehearsal, and when it was, in seconds from the begin. */
export interface Seen {
  readonly t_s: number
  readonly view: View
}

/** A chart is some hundred columns wide, a night has tens of thousands of seconds: more are neither seen nor held. */
export const most_kept = 4000

/**
 * What is kept once these have come. Beyond the bound every second moment goes, again and again, but never one in which something changed: the first of
 * each step, the one in which it was put off, and the last.
 */
export function keptWith(before: readonly Seen[], more: readonly Seen[], most = most_kept): readonly Seen[] {
  let all = [...before, ...more]
  const last_s = lastOf_s(all)
  for (let every_s = 2; all.length > most && every_s < last_s; every_s *= 2) {
    const from = all
    all = from.filter(({ t_s }, i) => t_s % every_s === 0 || changes(from, i))
  }
  return all
}

function changes(all: readonly Seen[], i: number): boolean {
  const [before, now] = [all[i - 1], all[i]]
  if (before === undefined || now === undefined || i === all.length - 1) return true
  return (
    before.view.step !== now.view.step ||
    before.view.phase !== now.view.phase ||
    (before.view.reason === null) !== (now.view.reason === null)
  )
}

/** The newest at or before this moment. */
export function seenAt(seen: readonly Seen[], second: number): View | null {
  let [low, high] = [0, seen.length - 1]
  while (low < high) {
    const middle = Math.ceil((low + high) / 2)
    if ((seen[middle]?.t_s ?? Infinity) <= second) low = middle
    else high = middle - 1
  }
  return seen[low]?.view ?? null
}

export const lastOf_s = (seen: readonly Seen[]): number => seen.at(-1)?.t_s ?? 0

export function traceOf(seen: readonly Seen[], rail: string): { t_s: number[]; A: (number | null)[] } {
  const A = seen.map(({ view }) => view.rails.find((each) => each.rail === rail)?.amps ?? null)
  return { t_s: seen.map(({ t_s }) => t_s), A }
}

/** What was in force, where it changes. */
export function limitsIn(seen: readonly Seen[], rail: string): LimitPoint[] {
  const points: LimitPoint[] = []
  let last = ''
  seen.forEach(({ t_s, view }, i) => {
    const now = view.rails.find((each) => each.rail === rail)
    const limits = now === undefined ? null : inForce(now.limits, now)
    const key =
      limits === null ? '' : `${limits.lower_A}|${limits.upper_A}|${limits.trip_A}|${limits.ceiling_A}`
    const held = points.at(-1)
    if (key !== last && held !== undefined) points.push({ ...held, t_s })
    if (key !== last || held === undefined || i === seen.length - 1) points.push({ t_s, limits })
    last = key
  })
  return points
}
