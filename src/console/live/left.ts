import { now_ms, serviceNow_ms } from './clock.js'

/** Seconds until a moment on the service's clock, by this page's own: it counts on between messages. */
export function leftOf(until_ms: number): number {
  return Math.max(0, (until_ms - serviceNow_ms(now_ms.value)) / 1000)
}
