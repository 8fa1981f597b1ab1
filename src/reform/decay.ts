/* A leakage on its way down, followed without taking any law for granted: power law, exponentials and steps all occur. */

/** Leakage over a stretch of the hold: its middle, s since the volts stood, and its length. */
export interface Block {
  readonly t_s: number
  readonly A: number
  readonly long_s: number
}

const most = 96

/** One more block; the older half is drawn together when there are many, so that days stay small and the last minutes stay fine. */
export function withBlock(blocks: readonly Block[], block: Block): readonly Block[] {
  if (blocks.length < most) return [...blocks, block]
  const half = most / 2
  const old: Block[] = []
  for (let at = 0; at < half; at += 2) {
    const [a, b] = [blocks[at], blocks[at + 1]]
    if (a === undefined || b === undefined) continue
    const long_s = a.long_s + b.long_s
    const part = (x: number, y: number): number => (x * a.long_s + y * b.long_s) / long_s
    old.push({ t_s: part(a.t_s, b.t_s), A: part(a.A, b.A), long_s })
  }
  return [...old, ...blocks.slice(half), block]
}

/** Median of what was read between two times; the nearest block where none lies there. */
export function medianBetween(blocks: readonly Block[], from_s: number, to_s: number): number | null {
  const inside: number[] = []
  // From the newest on: the older ones are never looked at for what flows now.
  for (let at = blocks.length - 1; at >= 0; at--) {
    const block = blocks[at]
    if (block === undefined || block.t_s < from_s) break
    if (block.t_s <= to_s) inside.push(block.A)
  }
  if (inside.length > 0) return medianOf(inside)
  const middle = (from_s + to_s) / 2
  let nearest: Block | null = null
  for (const block of blocks)
    if (nearest === null || Math.abs(block.t_s - middle) < Math.abs(nearest.t_s - middle)) nearest = block
  return nearest?.A ?? null
}

export const median = (values: readonly number[]): number => medianOf(values.slice())

/** The same of a list that may be put into another order. */
function medianOf(own: number[]): number {
  const at = Math.floor(own.length / 2)
  const upper = select(own, at)
  if (own.length % 2 === 1) return upper
  let lower = -Infinity
  for (let i = 0; i < at; i++) lower = Math.max(lower, own[i] ?? lower)
  return (upper + lower) / 2
}

/** The value that would stand at this place if all were sorted; none before it is greater then. Only that much is sorted. */
function select(values: number[], place: number): number {
  let [from, to] = [0, values.length - 1]
  while (from < to) {
    const pivot = values[(from + to) >> 1] ?? 0
    let [low, high] = [from, to]
    while (low <= high) {
      while ((values[low] ?? pivot) < pivot) low++
      while ((values[high] ?? pivot) > pivot) high--
      if (low > high) break
      const kept = values[low] ?? 0
      values[low++] = values[high] ?? 0
      values[high--] = kept
    }
    if (place <= high) to = high
    else if (place >= low) from = low
    else break
  }
  return values[place] ?? Number.NaN
}

/** What flows now: the median of the last tenth of the hold, a minute at least, so that a burst does not count. */
export function now_A(blocks: readonly Block[]): number | null {
  const last = blocks.at(-1)
  if (last === undefined) return null
  return medianBetween(blocks, last.t_s - Math.max(60, 0.1 * last.t_s), last.t_s)
}

export interface Forecast {
  /** d ln I / d ln t over the last doubling of the time, as a fall. */
  readonly slope: number
  /** When it is expected to reach the target, s since the volts stood, by the kindest and the least kind of what was seen. */
  readonly soonest_s: number
  readonly latest_s: number
}

/** No slower than this in the kindest case: decays in print have 0.5 to 1, and steps come after long rests. */
const kindest = 0.45
const least = 0.05

/**
 * When the leakage will be down at `target_A`. Taken from its own last two doublings of time and no law: a power law keeps its
 * slope, exponentials steepen, steps rest and drop; the kindest case allows for all three, the least kind for slowing down.
 */
export function forecast(blocks: readonly Block[], target_A: number): Forecast | null {
  const last = blocks.at(-1)
  const now = now_A(blocks)
  if (last === undefined || now === null || last.t_s < 120) return null
  const t = last.t_s
  const at = (part: number): number | null => medianBetween(blocks, 0.8 * part * t, 1.25 * part * t)
  const half = at(0.5)
  const quarter = at(0.25)
  if (half === null || quarter === null || now <= 0 || half <= 0 || quarter <= 0) return null
  if (now <= target_A) return { slope: Math.log(half / now) / Math.LN2, soonest_s: t, latest_s: t }
  const late = Math.log(half / now) / Math.LN2
  const early = Math.log(quarter / half) / Math.LN2
  const ratio = Math.log(now / Math.max(target_A, 1e-12))
  const reached = (slope: number): number => t * Math.exp(Math.min(20, ratio / Math.max(least, slope)))
  return {
    slope: late,
    soonest_s: reached(1.5 * Math.max(late, early, kindest / 1.5)),
    latest_s: reached(0.7 * Math.min(late, early)),
  }
}

/** It stands above its own lowest for five minutes without a break: no burst lasts so long (our choice). */
export const rising = { sustained_s: 300, factor: 0.2, of_limit: 0.1 } as const

/** The last half minute lies above the first: no oxide that forms does that (a fiftieth, or what the bench tells apart: our choice). */
export function isClimbing(blocks: readonly Block[], noise_A: number): boolean {
  const last = blocks.at(-1)
  if (last === undefined || blocks.length < 4) return false
  const first = median(blocks.slice(0, 2).map(({ A }) => A))
  const late = medianBetween(blocks, last.t_s - 30, last.t_s) ?? first
  return late - first > Math.max(2 * noise_A, 0.02 * first)
}

/** Lowest leakage of this hold by medians of a minute; followed block by block. */
export function lowest_A(before: number | null, blocks: readonly Block[]): number | null {
  const last = blocks.at(-1)
  if (last === undefined) return before
  const minute = medianBetween(blocks, last.t_s - 60, last.t_s)
  return minute === null ? before : before === null ? minute : Math.min(before, minute)
}

/** The whole of the last five minutes lies above the lowest by a fifth, a tenth of the limit, and what the bench tells apart. */
export function isRising(
  blocks: readonly Block[],
  lowest: number | null,
  limit_A: number,
  noise_A: number,
): boolean {
  const last = blocks.at(-1)
  if (last === undefined || lowest === null || last.t_s < 2 * rising.sustained_s) return false
  let recent = 0
  let floor = Infinity
  for (let at = blocks.length - 1; at >= 0; at--) {
    const block = blocks[at]
    if (block === undefined || block.t_s <= last.t_s - rising.sustained_s) break
    recent += 1
    floor = Math.min(floor, block.A)
  }
  if (recent < 3) return false
  return floor - lowest > Math.max(rising.factor * lowest, rising.of_limit * limit_A, 2 * noise_A)
}
