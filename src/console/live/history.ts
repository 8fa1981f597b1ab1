import { signal } from '@preact/signals'
import type { RailLimits } from '../../plan/index.js'
import type { LiveView } from '../../service/api/index.js'
import { inForce } from '../../service/api/index.js'

/** What this page has seen of the run under way, for its charts. The record has all of it; this is bounded. */
export interface Seen {
  readonly t_s: number[]
  readonly A: (number | null)[]
  readonly V: (number | null)[]
  readonly lower_A: (number | null)[]
  readonly upper_A: (number | null)[]
  readonly trip_A: (number | null)[]
  readonly ceiling_A: (number | null)[]
}
const most = 12_000
let rails = new Map<string, Seen>()
let of: string | null = null
let measured = new Map<string, number>()
let latest_s = 0
/** Rises with every view kept. */
let kept = 0
/** Rises when the charts are to be drawn anew: together with the figures, since each frame has its price whatever is in it. */
export const drawn = signal(0)
/** A chart shows five minutes: in half a second it moves by about a pixel. */
const draw_ms = 450
let drawn_ms = -Infinity
let later: ReturnType<typeof setTimeout> | undefined
/** Done before a chart is drawn that waited: the computer may have slept meanwhile. */
let lookFirst = (): void => undefined
export function looksFirst(look: () => void): void {
  lookFirst = look
}
export function draw(): void {
  clearTimeout(later)
  const wait_ms = drawn_ms + draw_ms - performance.now()
  if (wait_ms > 0) {
    // What comes last is drawn too, though nothing follows it.
    later = setTimeout(() => {
      lookFirst()
      draw()
    }, wait_ms)
    return
  }
  drawn_ms = performance.now()
  drawn.value = kept
}
/** When each step began, on the run's clock; of the one that was under way when this page came, nothing is known. */
export const stepBegan = new Map<number, number>()
let step: number | null = null
/** Views that this page has not seen for so long leave a gap: nobody knows what was between. */
const gap_ms = 2000
let kept_ms = -Infinity

export const seenOf = (rail: string): Seen | null => rails.get(rail) ?? null

export function keepAnew(live: string | null): void {
  if (live === of) return
  of = live
  rails = new Map()
  measured = new Map()
  latest_s = 0
  step = null
  kept_ms = -Infinity
  stepBegan.clear()
  kept++
}

export function keep(view: LiveView): void {
  // Its clock begins anew once the hook-up is confirmed: what was drawn of before is of another clock.
  if (view.elapsed_s < latest_s - 1) {
    rails = new Map()
    step = null
    stepBegan.clear()
  }
  latest_s = view.elapsed_s
  if (step !== null && step !== view.step) stepBegan.set(view.step, view.elapsed_s)
  step = view.step
  const unseen = performance.now() - kept_ms > gap_ms
  kept_ms = performance.now()
  for (const rail of view.rails) {
    // The same reading told again is no new one: a gap in the readings stays a gap.
    if (rail.measured_ms !== null && measured.get(rail.rail) === rail.measured_ms) continue
    if (rail.measured_ms !== null) measured.set(rail.rail, rail.measured_ms)
    const seen = rails.get(rail.rail) ?? begin()
    rails.set(rail.rail, seen)
    // A little back is of no place in the trace.
    if (view.elapsed_s < (seen.t_s.at(-1) ?? 0)) continue
    const before_s = seen.t_s.at(-1)
    if (unseen && before_s !== undefined) breakOff(seen, before_s)
    seen.t_s.push(view.elapsed_s)
    seen.A.push(rail.amps)
    seen.V.push(rail.volts)
    const limits = inForce(rail.limits, rail)
    for (const key of ['lower_A', 'upper_A', 'trip_A', 'ceiling_A'] as const)
      seen[key].push(limits?.[key] ?? null)
    if (seen.t_s.length > most) rails.set(rail.rail, thinned(seen))
  }
  kept++
}

/** A point of nothing right after the last: no line is drawn across. */
function breakOff(seen: Seen, after_s: number): void {
  seen.t_s.push(after_s + 1e-3)
  for (const key of ['A', 'V', 'lower_A', 'upper_A', 'trip_A', 'ceiling_A'] as const) seen[key].push(null)
}

/** What was measured before this page looked; what it has seen itself stands. */
export function keepBefore(rail: string, points: readonly (readonly [t_s: number, A: number])[]): void {
  const seen = rails.get(rail) ?? begin()
  rails.set(rail, seen)
  const first_s = seen.t_s[0] ?? Infinity
  const earlier = points.filter(([t_s]) => t_s < first_s)
  seen.t_s.unshift(...earlier.map(([t_s]) => t_s))
  seen.A.unshift(...earlier.map(([, A]) => A))
  for (const key of ['V', 'lower_A', 'upper_A', 'trip_A', 'ceiling_A'] as const)
    seen[key].unshift(...earlier.map(() => null))
  kept++
  draw()
}

/** What it was held against then, told later: before a moment this page has not seen any limit itself. */
export function limitsBefore(
  rail: string,
  before_s: number,
  at: (t_s: number) => Pick<RailLimits, 'lower_A' | 'upper_A' | 'trip_A' | 'ceiling_A'> | null,
): void {
  const seen = rails.get(rail)
  if (seen === undefined) return
  for (const [i, t_s] of seen.t_s.entries()) {
    if (t_s >= before_s) break
    const limits = at(t_s)
    for (const key of ['lower_A', 'upper_A', 'trip_A', 'ceiling_A'] as const)
      seen[key][i] = limits?.[key] ?? null
  }
  kept++
  draw()
}

const begin = (): Seen => ({ t_s: [], A: [], V: [], lower_A: [], upper_A: [], trip_A: [], ceiling_A: [] })

/** Of each eight the lowest and the highest current stay: a spike of one sample is evidence. */
function thinned(seen: Seen): Seen {
  const left = begin()
  const half = Math.floor(seen.t_s.length / 2)
  const take = (i: number): void => {
    for (const key of Object.keys(left) as (keyof Seen)[])
      (left[key] as (number | null)[]).push(seen[key][i] ?? null)
  }
  for (let from = 0; from < half; from += 8) {
    let [low, high] = [from, from]
    for (let i = from; i < Math.min(half, from + 8); i++) {
      if ((seen.A[i] ?? Infinity) < (seen.A[low] ?? Infinity)) low = i
      if ((seen.A[i] ?? -Infinity) > (seen.A[high] ?? -Infinity)) high = i
    }
    for (const i of low === high ? [low] : [Math.min(low, high), Math.max(low, high)]) take(i)
  }
  for (let i = half; i < seen.t_s.length; i++) take(i)
  return left
}
