import { computed } from '@preact/signals'
import { freshness } from './freshness.js'

/** The clocks of this browser, looked at often enough that a second's silence is seen within the next. */
const look_ms = 100

export const { now_ms, freshAt, connection, sleeps, look, heard, serviceNow_ms } = freshness({
  count_ms: () => performance.now(),
  wall_ms: () => Date.now(),
})
export const stale = computed(() => connection.value !== 'live')

setInterval(look, look_ms)
for (const event of ['visibilitychange', 'focus', 'online', 'offline', 'pageshow', 'resume']) {
  addEventListener(event, look)
  document.addEventListener(event, look)
}
