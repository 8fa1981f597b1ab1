import { signal } from '@preact/signals'
import type { Plan } from '../../plan/index.js'
import type { RunEvent } from '../../story/index.js'
import type { Told, Wanted } from './core.worker.js'
import { keptWith, type Seen } from './kept.js'

/** A rehearsal in the page: what it has shown so far, second by second, thinner where it is long. */
export interface Rehearsed {
  readonly plan: Plan | null
  readonly seen: readonly Seen[]
  /** The newest of them. */
  readonly events: readonly RunEvent[]
  /** How many there were. */
  readonly told: number
  readonly end: Extract<Told, { kind: 'ended' }> | null
  readonly trouble: string | null
}
const nothing: Rehearsed = { plan: null, seen: [], events: [], told: 0, end: null, trouble: null }
/** More are not read through, and each is a line of the page. */
const most_events = 500
export const rehearsed = signal<Rehearsed>(nothing)
/** The one before, to lay it under the new one. */
export const before = signal<Rehearsed | null>(null)
export const working = signal(false)
let worker: Worker | null = null

export function rehearseInPage(wanted: Wanted): void {
  giveUp()
  if (rehearsed.peek().seen.length > 0) before.value = rehearsed.peek()
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
        seen: keptWith(now.seen, told.seen),
        events: [...now.events, ...told.events].slice(-most_events),
        told: now.told + told.events.length,
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
