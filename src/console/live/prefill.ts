import { effect } from '@preact/signals'
import { liveHeldShape, storyShape, tracesShape, type Traces } from '../../service/api/index.js'
import { call } from '../api/call.js'
import { heldAt } from '../words/in-force.js'
import { keepBefore, limitsBefore, seenOf } from './history.js'
import { isLive, snapshot } from './state.js'

/**
 * Who opens the page in the middle of a run sees where it came from: the last minutes are taken from the record, once; what they
 * were held against at each moment the service remembers. The record's times are the run's; the view's begin when the hook-up was
 * confirmed.
 */
const behind_s = 150
const columns = 600
let of: string | null = null

effect(() => {
  const now = snapshot.value
  const run = now?.run?.run ?? null
  const elapsed_s = now?.view?.elapsed_s ?? 0
  if (run === null || !isLive.value || elapsed_s < 5 || of === now?.live) return
  of = now?.live ?? null
  void fetchBefore(run, elapsed_s)
})

async function fetchBefore(run: string, elapsed_s: number): Promise<void> {
  const story = await call('run', storyShape, { params: { run } })
  if (!story.ok) return
  const { events } = story.value
  const begun_s = events.find(({ what, data }) => what === 'hook-up' && data['confirmed'] === true)?.t_s
  if (begun_s === undefined) return
  const query = {
    width: columns,
    from_s: begun_s + Math.max(0, elapsed_s - behind_s),
    to_s: begun_s + elapsed_s,
  }
  const traces = await call('traces', tracesShape, { params: { run }, query })
  if (!traces.ok || !isStill(run)) return
  /** Of each rail, from when on this page has seen it itself. */
  const own_s = new Map<string, number>()
  for (const stream of traces.value.streams) {
    if (stream.rail === null || stream.unit !== 'A' || stream.name.startsWith('meter.')) continue
    if (!own_s.has(stream.rail)) own_s.set(stream.rail, seenOf(stream.rail)?.t_s[0] ?? elapsed_s)
    keepBefore(stream.rail, pointsOf(stream, traces.value, begun_s))
  }
  const held = await call('liveHeld', liveHeldShape)
  if (!held.ok || !isStill(run)) return
  for (const [rail, before_s] of own_s) limitsBefore(rail, before_s, heldAt(held.value.rails, rail))
}

const isStill = (run: string): boolean => snapshot.peek()?.run?.run === run

type Point = readonly [t_s: number, A: number]
function pointsOf(
  stream: Traces['streams'][number],
  { from_s, to_s, width }: Traces,
  begun_s: number,
): Point[] {
  if (stream.is === 'readings') return stream.t_s.map((t_s, i) => [t_s - begun_s, stream.value[i] ?? 0])
  const wide_s = (to_s - from_s) / width
  return stream.column.flatMap((column, i): Point[] => {
    const left_s = from_s + column * wide_s - begun_s
    return [stream.first[i], stream.min[i], stream.max[i], stream.last[i]].flatMap((A, k): Point[] =>
      A === undefined ? [] : [[left_s + wide_s * (0.125 + k * 0.25), A]],
    )
  })
}
