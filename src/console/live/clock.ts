import { computed, signal } from '@preact/signals'

/**
 * Whether what is shown is of now. By this computer's own clock, since a line that has gone quiet says nothing: no message for
 * `quiet_ms`, or messages that took so long on their way that they tell of the past.
 */
const look_ms = 100
const quiet_ms = 800
/** Messages that waited in a line that stood still come in a burst when it moves again, each older than it looks. */
const late_ms = 800

export const now_ms = signal(performance.now())
const heard_ms = signal<number | null>(null)
const late = signal(false)
/** When the newest word that was still fresh was heard, by the clock on the wall. */
export const freshAt = signal<Date | null>(null)
let least_ms = Infinity
let from = ''

/** A clock that stands still while the computer sleeps would call old figures new; the one on the wall goes on. */
const slept = signal(false)
const asleep_ms = 1500
let looked = { by_clock_ms: performance.now(), by_wall_ms: Date.now() }

function look(): void {
  const next = { by_clock_ms: performance.now(), by_wall_ms: Date.now() }
  const apart_ms = next.by_wall_ms - looked.by_wall_ms - (next.by_clock_ms - looked.by_clock_ms)
  if (apart_ms > asleep_ms) slept.value = true
  looked = next
  now_ms.value = next.by_clock_ms
}
setInterval(look, look_ms)
for (const event of ['visibilitychange', 'focus', 'online', 'offline', 'pageshow', 'resume']) {
  addEventListener(event, look)
  document.addEventListener(event, look)
}

/**
 * A message came.
 *
 * @param sent_ms - by the service's own monotonic clock
 * @param boot - which life of the service that clock belongs to
 */
export function heard(sent_ms: number, boot: string): void {
  const at_ms = performance.now()
  if (boot !== from) {
    from = boot
    least_ms = Infinity
  }
  const apart_ms = at_ms - sent_ms
  // Two clocks drift apart by some parts in a hundred thousand: the least difference may creep up that much.
  least_ms = Math.min(
    least_ms + (heard_ms.peek() === null ? 0 : (at_ms - (heard_ms.peek() ?? 0)) * 1e-3),
    apart_ms,
  )
  late.value = apart_ms - least_ms > late_ms
  heard_ms.value = at_ms
  slept.value = false
  now_ms.value = at_ms
  if (!late.value) freshAt.value = new Date()
}

/** The service's clock now, as near as the quickest message tells. Seen from a page it may be late by that message's way. */
export const serviceNow_ms = (at_ms = performance.now()): number =>
  at_ms - (Number.isFinite(least_ms) ? least_ms : 0)

export type Connection = 'waiting' | 'live' | 'stale'
export const connection = computed<Connection>(() => {
  if (heard_ms.value === null) return 'waiting'
  return late.value || slept.value || now_ms.value - heard_ms.value > quiet_ms ? 'stale' : 'live'
})
export const stale = computed(() => connection.value !== 'live')
