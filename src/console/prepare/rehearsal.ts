import { signal } from '@preact/signals'
import type { Plan } from '../../plan/index.js'
import type { View } from '../../sequencer/index.js'
import type { RunEvent } from '../../story/index.js'
import type { LimitPoint } from '../charts/limits.js'
import type { Told, Wanted } from './core.worker.js'

/** A rehearsal in the page: what it has shown so far, second by second. */
export interface Rehearsed {
  readonly plan: Plan | null
  readonly views: readonly View[]
  readonly events: readonly RunEvent[]
  readonly end: Extract<Told, { kind: 'ended' }> | null
  readonly trouble: string | null
}
const nothing: Rehearsed = { plan: null, views: [], events: [], end: null, trouble: null }
export const rehearsed = signal<Rehearsed>(nothing)
/** The one before, to lay it under the new one. */
export const before = signal<Rehearsed | null>(null)
export const working = signal(false)
let worker: Worker | null = null

export function rehearseInPage(wanted: Wanted): void {
  giveUp()
  if (rehearsed.peek().views.length > 0) before.value = rehearsed.peek()
  rehearsed.value = nothing
  working.value = true
  const mine = new Worker(new URL('./core.worker.ts', import.meta.url), { type: 'module' })
  worker = mine
  mine.onmessage = ({ data }: MessageEvent<Told>) => {
    if (worker === mine) take(data)
  }
  mine.onerror = () => {
    if (worker === mine) take({ kind: 'trouble', text: 'The rehearsal could not be run in this browser.' })
  }
  mine.postMessage(wanted)
}

export function giveUp(): void {
  worker?.terminate()
  worker = null
  working.value = false
}

function take(told: Told): void {
  const now = rehearsed.peek()
  switch (told.kind) {
    case 'plan':
      rehearsed.value = { ...now, plan: told.plan }
      break
    case 'seen':
      rehearsed.value = {
        ...now,
        views: [...now.views, ...told.views],
        events: [...now.events, ...told.events],
      }
      break
    case 'ended':
      rehearsed.value = { ...now, end: told }
      giveUp()
      break
    case 'trouble':
      rehearsed.value = { ...now, trouble: told.text }
      giveUp()
      break
  }
}

/** Seconds of the rehearsal: its views come once a second, from the first one on. */
export const atSecond = (views: readonly View[], second: number): View | null =>
  views[Math.max(0, Math.min(views.length - 1, Math.round(second)))] ?? null

export function traceOf(views: readonly View[], rail: string): { t_s: number[]; A: (number | null)[] } {
  const A = views.map(({ rails }) => rails.find((each) => each.rail === rail)?.amps ?? null)
  return { t_s: views.map((_, i) => i), A }
}

/** What was in force, where it changes. */
export function limitsIn(views: readonly View[], rail: string): LimitPoint[] {
  const points: LimitPoint[] = []
  let last = ''
  views.forEach(({ rails }, i) => {
    const limits = rails.find((each) => each.rail === rail)?.limits ?? null
    const key =
      limits === null ? '' : `${limits.lower_A}|${limits.upper_A}|${limits.trip_A}|${limits.ceiling_A}`
    const held = points.at(-1)
    if (key !== last && held !== undefined) points.push({ ...held, t_s: i })
    if (key !== last || held === undefined || i === views.length - 1) points.push({ t_s: i, limits })
    last = key
  })
  return points
}
