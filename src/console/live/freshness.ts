import { batch, computed, type ReadonlySignal, signal } from '@preact/signals'

/**
 * Whether what is shown is of now. By this computer's own clock, since a line that has gone quiet says nothing, and by when each
 * message was sent: those that waited in a line that stood still come in a burst, each older than it looks. So one rule for
 * both: the newest word is older than `stale_ms`, or none came in a while after the page was opened.
 */
const stale_ms = 900
const first_ms = 1500
/** A clock that stands still while the computer sleeps would call old figures new; the one on the wall goes on. */
const asleep_ms = 400

/** Both clocks of this computer: the one that only counts, and the one on the wall. */
export interface Clocks {
  readonly count_ms: () => number
  readonly wall_ms: () => number
}

export type Connection = 'waiting' | 'live' | 'stale'

export interface Freshness {
  readonly now_ms: ReadonlySignal<number>
  /** When the newest word that was still fresh was heard, by the clock on the wall. */
  readonly freshAt: ReadonlySignal<Date | null>
  readonly connection: ReadonlySignal<Connection>
  /** How often this computer has slept. What was under way then is not to be believed: it may have been sent before. */
  readonly sleeps: ReadonlySignal<number>
  /** Looks at the clocks. Before anything is drawn of what came. */
  readonly look: () => void
  /**
   * A message came.
   *
   * @param sentAt_ms - by the service's own monotonic clock
   * @param boot - which life of the service that clock belongs to
   */
  readonly heard: (sentAt_ms: number, boot: string) => void
  /** The service's clock now, as near as the quickest message tells. Seen from a page it may be late by that message's way. */
  readonly serviceNow_ms: (at_ms?: number) => number
}

export function freshness({ count_ms, wall_ms }: Clocks): Freshness {
  const now_ms = signal(count_ms())
  const opened_ms = now_ms.peek()
  const sent_ms = signal<number | null>(null)
  const freshAt = signal<Date | null>(null)
  const sleeps = signal(0)
  /** Sleeps after which something was heard again. */
  const woken = signal(0)
  let heard_ms: number | null = null
  let least_ms = Infinity
  let from = ''
  let looked = { count_ms: now_ms.peek(), wall_ms: wall_ms() }

  const serviceNow_ms = (at_ms = count_ms()): number => at_ms - (Number.isFinite(least_ms) ? least_ms : 0)
  const ageOf = (sentAt_ms: number, at_ms: number): number => serviceNow_ms(at_ms) - sentAt_ms
  const connection = computed<Connection>(() => {
    if (sent_ms.value === null) return now_ms.value - opened_ms > first_ms ? 'stale' : 'waiting'
    return sleeps.value !== woken.value || ageOf(sent_ms.value, now_ms.value) > stale_ms ? 'stale' : 'live'
  })

  return {
    now_ms,
    freshAt,
    connection,
    sleeps,
    serviceNow_ms,
    look() {
      const next = { count_ms: count_ms(), wall_ms: wall_ms() }
      const apart_ms = next.wall_ms - looked.wall_ms - (next.count_ms - looked.count_ms)
      looked = next
      batch(() => {
        if (apart_ms > asleep_ms) sleeps.value += 1
        now_ms.value = next.count_ms
      })
    },
    heard(sentAt_ms, boot) {
      const at_ms = count_ms()
      if (boot !== from) {
        from = boot
        least_ms = Infinity
      }
      const apart_ms = at_ms - sentAt_ms
      // Two clocks drift apart by some parts in a hundred thousand: the least difference may creep up that much.
      least_ms = Math.min(least_ms + (heard_ms === null ? 0 : (at_ms - heard_ms) * 1e-3), apart_ms)
      heard_ms = at_ms
      batch(() => {
        sent_ms.value = sentAt_ms
        woken.value = sleeps.peek()
        if (ageOf(sentAt_ms, at_ms) <= stale_ms) freshAt.value = new Date(wall_ms())
      })
    },
  }
}
