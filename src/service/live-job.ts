import type { Logger } from 'pino'
import type { Desk } from './desk.js'

/** What the run of a service needs of it. */
export interface LiveJob {
  readonly desk: Desk
  readonly epoch: string
  readonly now_ms: () => number
  readonly env: Readonly<Record<string, string | undefined>>
  readonly log: Logger
  /** A run that no page has watched for so long is run down, as one whose terminal was closed. */
  readonly unwatched_s: number
  /** What the terminal of the service shows too. */
  readonly say: (text: string) => void
  readonly ring: () => void
}
