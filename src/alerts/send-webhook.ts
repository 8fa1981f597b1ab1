import type { Resolved } from './places.js'
import { Refused } from './refused.js'
import type { Sender } from './senders.js'

/** Answers that may be another one later. */
const later = new Set([408, 425, 429])

/** Any HTTP endpoint: the alert as JSON in a POST. Its answer's status counts, its body is not read. */
export function webhookSender({ url, headers }: Extract<Resolved, { kind: 'webhook' }>): Sender {
  return {
    async send(message, signal) {
      const response = await fetch(url, {
        method: 'POST',
        headers: { ...headers, 'content-type': 'application/json' },
        body: JSON.stringify(message),
        // What the headers hold goes to the address that the file names, and nowhere else.
        redirect: 'manual',
        signal,
      }).catch((error: unknown) => {
        throw new Error(reasonOf(error))
      })
      await response.body?.cancel().catch(() => undefined)
      if (response.ok) return
      const text = `it answered ${response.status}`
      if (response.status >= 300 && response.status < 500 && !later.has(response.status))
        throw new Refused(text)
      throw new Error(text)
    },
    close: () => Promise.resolve(),
  }
}

/** `fetch failed` says nothing: what failed stands in its cause. */
function reasonOf(error: unknown): string {
  const cause: unknown = error instanceof Error ? (error.cause ?? error) : error
  if (cause instanceof AggregateError) return reasonOf(cause.errors[0])
  return cause instanceof Error ? cause.message : String(cause)
}
